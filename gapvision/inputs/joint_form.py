"""What a joint's own folder says of it: ``joint.toml`` beside the photographs, its names first.

`gapvision sort` writes it with the slip's names; whatever else is known of the joint is filled in by hand.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from gapvision.errors import MeasurementError
from gapvision.files import write_new
from gapvision.inputs.form_values import (
    bad_form,
    card_on_of,
    cards_of,
    check_keys,
    diameter_of,
    files_of,
    length_of,
    read_toml,
    text_of,
)
from gapvision.inputs.joint_name import JointName, parse_joint_name
from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import units_written

FORM = "joint.toml"
NAMES = ("building", "wall", "log")
_LENGTHS = ("cover", "from", "to", "wall_thickness")
_DIAMETERS = ("upper_diameter", "lower_diameter")
KEYS = (*NAMES, *_LENGTHS, *_DIAMETERS, "card_on", "inside", "inside_cards")

TEMPLATE = """\
# Of this joint. To state more, take the # away and write what you know. A number is mm;
# a text may be any length: "11 1/2in".
building = {building}
wall = {wall}
log = {log}
# cover = 76
# upper_diameter = "290,310"   # left and right end, seen from outside; or one number
# lower_diameter = 320
# from = -700                  # left notch, from the nail of the lowest-numbered outside card
# to = 700                     # right notch
# card_on = "lower"            # or "free"
# inside = ["in1.jpg"]         # photographs from the inner side, or a folder of them, in this folder
# inside_cards = [5, 6]        # or: the cards that hang inside
# wall_thickness = 330
"""


@dataclass(frozen=True, slots=True)
class JointForm:
    """A joint's form: its names, "" where not stated, and what else was stated, by key, lengths in mm.

    ``inches`` tells whether a length was written in inches or feet.
    """

    path: Path
    name: JointName
    stated: Mapping[str, Any]
    inches: bool


def load_joint_form(folder: Path) -> JointForm | None:
    """The form in a joint's folder; None where there is none.

    Raises
    ------
    MeasurementError
        ``no-file`` or ``bad-form``, with the key that is wrong.
    """
    path = folder / FORM
    if not path.exists():
        return None
    values = read_toml(path)
    check_keys(path, values, KEYS)
    try:
        return JointForm(path, _name(values), _stated(folder, values), _inches(values))
    except (TypeError, ValueError) as error:
        raise bad_form(path, str(error).rstrip(".")) from None


def write_joint_form(folder: Path, joint: JointName) -> None:
    """Write the form with a joint's names into its folder; one that is there stays as it is.

    Raises
    ------
    MeasurementError
        ``other-joint`` where the form there names another joint, as where two names make one folder;
        ``bad-form`` or ``not-written``.
    """
    there = load_joint_form(folder)
    if there is None:
        names = {key: json.dumps(name, ensure_ascii=False) for key, name in asdict(joint).items()}
        write_new(folder / FORM, TEMPLATE.format(**names).encode(), "the form", overwrite=False)
    elif there.name != joint:
        raise MeasurementError(
            "other-joint",
            f"{there.path} says {there.name.title or 'no names'}, and the slip says {joint.title}: "
            "move that folder away, or correct the form.",
        )


def with_form(options: MeasureOptions, form: JointForm) -> MeasureOptions:
    """The options with what a form states of its joint in their place."""
    s = form.stated
    cards = {key: s[key] for key in ("inside_cards", "wall_thickness_mm") if key in s}
    ends = {key: s[key] for key in ("from_mm", "to_mm") if key in s}
    own = ("cover_mm", *_DIAMETERS, "card_on", "inside")
    return replace(
        options,
        cards=replace(options.cards, **cards),
        stretch=replace(options.stretch, **ends),
        **{key: s[key] for key in own if key in s},
    )


def _name(values: Mapping[str, Any]) -> JointName:
    typed = [text_of(key, values.get(key, "")) for key in NAMES]
    kept = parse_joint_name(*(name or "-" for name in typed))  # as the archive writes names
    return JointName(*(k if t else "" for t, k in zip(typed, asdict(kept).values(), strict=True)))


def _stated(folder: Path, values: Mapping[str, Any]) -> dict[str, Any]:
    """What is stated beside the names, under the names of the options' fields."""
    stated: dict[str, Any] = {
        f"{key}_mm": length_of(key, values[key]) for key in _LENGTHS if key in values
    }
    stated |= {key: diameter_of(key, values[key]) for key in _DIAMETERS if key in values}
    if "card_on" in values:
        stated["card_on"] = card_on_of(values["card_on"])
    if "inside" in values:
        stated["inside"] = files_of(folder, "inside", values["inside"])
    if "inside_cards" in values:
        stated["inside_cards"] = cards_of(values["inside_cards"])
    return stated


def _inches(values: Mapping[str, Any]) -> bool:
    texts = (values.get(key) for key in (*_LENGTHS, *_DIAMETERS))
    return any(isinstance(text, str) and "in" in units_written(text) for text in texts)
