"""What a person typed into the page's forms, as the options of `measure`; each refused by its field."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.inputs.corrections import Correction, corrections_of
from gapvision.inputs.form_values import CARD_ON
from gapvision.inputs.joint_name import JointName, parse_joint_name
from gapvision.inputs.options import (
    COVER_MM,
    Cards,
    HandMeasured,
    MeasureOptions,
    Scriber,
    Stretch,
    check_options,
)
from gapvision.inputs.preferences import Preferences, printed_bar_of
from gapvision.lengths import (
    CHECK_BAR_MM,
    Diameter,
    parse_diameter,
    parse_length,
    parse_reading,
    parse_trial,
)
from gapvision.page.drafts import Draft
from gapvision.page.photographs import Photograph
from gapvision.photo.lens.files import camera_path

NAMES = ("building", "wall", "log")
LENGTHS: Mapping[str, Callable] = {
    "cover": parse_length,
    "upper_diameter": parse_diameter,
    "lower_diameter": parse_diameter,
    "from": parse_length,
    "to": parse_length,
    "wall_thickness": parse_length,
}
FIELDS = (*NAMES, *LENGTHS, "printed_bar", "card_on", "inside_cards", "camera", "units")
LONGEST = 200  # letters of one field


@dataclass(frozen=True, slots=True)
class Entered:
    """A form that was sent: its fields, and what is wrong with which."""

    fields: dict[str, str]
    faults: dict[str, str]

    @property
    def joint(self) -> JointName:
        """Its names, as the archive writes them; only where they are no fault."""
        return parse_joint_name(*(self.fields[name] for name in NAMES))

    @property
    def entries(self) -> dict[str, str]:
        """What is not a name and was not left empty."""
        return {k: v for k, v in self.fields.items() if v and k not in (*NAMES, "units")}


def read_form(form: Mapping[str, object], preferred: Preferences) -> Entered:
    """A joint's form as it was sent, unknown fields left out."""
    fields = {name: str(form.get(name) or "").strip()[:LONGEST] for name in FIELDS}
    fields["units"] = "in" if fields["units"] == "in" else "mm"
    faults = {}
    for name in NAMES:
        try:
            parse_joint_name(*(fields[n] if n == name else "-" for n in NAMES))
        except ValueError as error:
            faults[name] = _sentence(error)
    for name, parse in LENGTHS.items():
        try:
            if fields[name]:
                parse(fields[name], fields["units"])
        except ValueError as error:
            faults[name] = _sentence(error)
    try:
        _cards(fields, preferred)
    except ValueError as error:
        faults["inside_cards"] = _sentence(error)
    if not faults:
        try:
            check_options(asked(fields, (), preferred))
        except MeasurementError as error:
            faults[""] = error.text
    return Entered(fields, faults)


def asked(
    fields: Mapping[str, str], photos: tuple[Path, ...], preferred: Preferences,
    readings: tuple[str, ...] = (), trials: tuple[str, ...] = (),
    corrections: Mapping[str, Correction] | None = None,
) -> MeasureOptions:  # fmt: skip
    """What the fields ask of a measurement.

    Raises
    ------
    ValueError
        Where a field is no length.
    MeasurementError
        ``no-camera-file`` where the calibration that was chosen is gone.
    """
    units = fields.get("units") or preferred.units or "mm"

    def length(name: str) -> float | None:
        return parse_length(fields[name], units) if fields.get(name) else None

    def diameter(name: str) -> Diameter | None:
        return parse_diameter(fields[name], units) if fields.get(name) else None

    cover, stated = preferred.cover_mm or COVER_MM, length("cover")
    return MeasureOptions(
        photos=photos,
        cover_mm=cover if stated is None else stated,
        card_on=fields["card_on"] if fields.get("card_on") in CARD_ON else "upper",
        upper_diameter=diameter("upper_diameter"),
        lower_diameter=diameter("lower_diameter"),
        camera=_camera(fields.get("camera"), preferred),
        units=units,
        cards=_cards(fields, preferred),
        stretch=Stretch(length("from"), length("to")),
        by_hand=HandMeasured(
            tuple(parse_reading(text, units) for text in readings),
            tuple(parse_trial(text, units) for text in trials),
        ),
        scriber=Scriber(preferred.scriber_largest_mm, preferred.scriber_step_mm),
        corrections=corrections or {},
    )


def _camera(name: str | None, preferred: Preferences) -> Path | None:
    """The file of the camera that was chosen by name, else the preferred one."""
    if name:
        return camera_path(name)
    return Path(preferred.camera) if preferred.camera else None


def asked_of(
    draft: Draft,
    photos: tuple[Path, ...],
    preferred: Preferences,
    corrections: Mapping[str, Correction] | None = None,
) -> MeasureOptions:
    """What a draft asks of a measurement of these photographs.

    Raises
    ------
    MeasurementError
        ``bad-entry`` where a field is no length, as in a draft of another program.
    """
    fields = draft.entries | {"units": draft.units}
    try:
        return asked(fields, photos, preferred, draft.readings, draft.trials, corrections)
    except ValueError as error:
        raise MeasurementError("bad-entry", _sentence(error)) from None


def corrected(draft: Draft, given: Iterable[Photograph]) -> dict[str, Correction]:
    """What was changed by hand in a draft's photographs, those that were left out among it.

    Raises
    ------
    MeasurementError
        ``bad-correction``.
    """
    changed, names = {}, {}
    for photo in given:
        names[photo.sha256] = photo.file_name
        changed[photo.sha256] = draft.corrections.get(photo.sha256, {}) | {"dropped": photo.dropped}
    return corrections_of(changed, names)


def _cards(fields: Mapping[str, str], preferred: Preferences) -> Cards:
    text, units = fields.get("inside_cards", ""), fields.get("units") or "mm"
    try:
        numbers = tuple(int(part) for part in text.split(",")) if text else ()
    except ValueError:
        raise ValueError(f"{text!r} are no card numbers: write them as 5,6.") from None
    thickness = fields.get("wall_thickness")
    bar = preferred.printed_bar_mm or CHECK_BAR_MM
    if fields.get("printed_bar"):
        bar = printed_bar_of(fields["printed_bar"], preferred)
    return Cards(numbers, bar, parse_length(thickness, units) if thickness else None)


def _sentence(error: ValueError) -> str:
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}"
