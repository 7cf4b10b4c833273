"""A reference joint on paper: what was read by hand beside photographs, one TOML file in their folder."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gapvision.errors import MeasurementError
from gapvision.files import write_new
from gapvision.inputs.form_values import (
    CARD_ON,
    bad_form,
    beside,
    card_on_of,
    cards_of,
    check_keys,
    diameter_of,
    files_of,
    length_of,
    read_toml,
    text_of,
    typed,
)
from gapvision.inputs.options import (
    COVER_MM,
    Cards,
    HandMeasured,
    MeasureOptions,
    Stretch,
    check_options,
)
from gapvision.lengths import (
    CHECK_BAR_MM,
    U_READING_MM,
    Reading,
    Trial,
    parse_reading,
    parse_trial,
)

FORMAT, VERSION = "gapvision-field-test", 1
FORM = "field_test.toml"
U_STATION_MM = 3.0  # of a mark on tape, and of where the caliper then stands; a judgement
TEXTS = ("who", "when", "where", "tools", "notes")
_LENGTHS = ("cover", "from", "to", "printed_bar", "wall_thickness", "u_reading", "u_station")
_DIAMETERS = ("upper_diameter", "lower_diameter")
_FILES = ("photos", "inside")
_ROWS = ("readings", "widest", "trials")
KEYS = frozenset(
    ("format", "version", "camera", "card_on", "inside_cards")
    + TEXTS + _LENGTHS + _DIAMETERS + _FILES + _ROWS
)  # fmt: skip
ROWS_WANTED = {
    "readings": "[station, gap] or [station, gap, u]",
    "widest": "[station, gap] or [station, gap, u]",
    "trials": "[station, setting, width] or [station, setting, width, u]",
}

TEMPLATE = f'''\
# What was measured by hand at this joint; the photographs lie beside this file.
# Numbers are millimetres; a text may be any length, as "1 5/8in". How to measure: docs/field_test.md.
format = "{FORMAT}"
version = {VERSION}

# Optional, in your own words.
who = ""
when = ""
where = ""
tools = ""        # which calipers, read to what
notes = ""

# The joint. Stations count from the nail of the lowest-numbered outside card, right positive, left
# negative, as seen from outside.
cover = 76        # wanted width of the groove
card_on = "upper" # or "lower", or "free"
printed_bar = 100 # what the check bar of the print measures
# from = -700     # inner end of the left notch
# to = 700        # inner end of the right notch
# upper_diameter = "290@-700,310@700"   # taped; or one number
# lower_diameter = 320

# photos = ["."]            # photographs from outside, or folders of them; this folder if not stated
# inside = []               # photographs from the inner side
# inside_cards = [5, 6]     # or: the cards that hang inside
# wall_thickness = 330      # from the outside cards to the inside cards
# camera = "phone.toml"     # a calibration of the phone's lens, beside this file

u_reading = {U_READING_MM}   # standard uncertainty of a reading that states none
u_station = {U_STATION_MM:g}     # and of each station

# station, gap, standard uncertainty (may be left out)
readings = [
#  [-600, 31.5, 0.3],
#  [-450, 33.0, 0.3],
]

# The widest gap found by sliding the calipers along: station, gap, standard uncertainty.
# widest = [310, 41.5, 0.3]

# Trial lines, read after the photographs: station, points set to, width of the groove from line to
# line, standard uncertainty of the width (may be left out).
trials = [
#  [310, 49, 78, 1.5],
]
'''


@dataclass(frozen=True, slots=True)
class FieldTest:
    """A reference joint: what to measure of it without the readings, and what was read by hand.

    ``options`` has nothing measured by hand in it. ``widest`` is a reading with the station where the
    calipers found the widest gap. ``told`` has what was written in words, by key.
    """

    folder: Path
    options: MeasureOptions
    readings: tuple[Reading, ...]
    widest: Reading | None
    trials: tuple[Trial, ...]
    u_station_mm: float
    told: dict[str, str]


def placed_mm(entry: Reading | Trial) -> float:
    """The station of an entry of a form.

    Raises
    ------
    ValueError
        Where it is the widest place, as in no form.
    """
    if entry.station_mm is None:
        raise ValueError("an entry of a field test needs a station")
    return entry.station_mm


def forms_in(folder: Path) -> list[Path]:
    """The form in a folder, or those in the folders in it, in order of name.

    Raises
    ------
    MeasurementError
        ``no-folder`` or ``no-form``.
    """
    if not os.path.isdir(folder):
        text = f"There is no folder {folder}: name the folder with the photographs and {FORM}."
        raise MeasurementError("no-folder", text)
    if (folder / FORM).is_file():
        return [folder / FORM]
    found = sorted(path for path in folder.glob(f"*/{FORM}") if path.is_file())
    if not found:
        text = (
            f"{folder} holds no {FORM}, nor does a folder in it: write an empty one with --template "
            "and fill it in."
        )
        raise MeasurementError("no-form", text)
    return found


def write_template(folder: Path) -> Path:
    """Write the empty form into a folder; the one that is there is never replaced.

    Raises
    ------
    MeasurementError
        ``no-folder``, ``file-exists`` or ``not-written``.
    """
    path = folder / FORM
    if path.exists():
        text = f"The form {path} exists already, and what stands in it is kept: fill in that one."
        raise MeasurementError("file-exists", text)
    write_new(path, TEMPLATE.encode(), "the form", overwrite=False)
    return path


def load_field_test(path: Path) -> FieldTest:
    """What a form says.

    Raises
    ------
    MeasurementError
        ``no-file``, ``bad-form``, ``newer-version`` or ``no-readings``, with the key that is wrong;
        or as `check_options`, with the file's name before it.
    """
    values = _toml(path)
    check_keys(path, values, KEYS)
    try:
        return _field_test(path, values)
    except (TypeError, ValueError) as error:
        raise bad_form(path, str(error).rstrip(".")) from None


def _toml(path: Path) -> dict[str, Any]:
    values = read_toml(path)
    if values.get("format") != FORMAT:
        raise bad_form(path, f'it must say format = "{FORMAT}"')
    if values.get("version") != VERSION:
        text = (
            f"{path} has version {values.get('version')} of the form and this program reads version "
            f"{VERSION}: use a newer program, or write the form anew."
        )
        raise MeasurementError("newer-version", text)
    return values


def _field_test(path: Path, values: dict[str, Any]) -> FieldTest:
    mm = {key: length_of(key, values.get(key)) for key in _LENGTHS}
    u_mm = U_READING_MM if mm["u_reading"] is None else mm["u_reading"]
    u_station_mm = U_STATION_MM if mm["u_station"] is None else mm["u_station"]
    if u_mm <= 0 or u_station_mm < 0:
        raise ValueError("u_reading must be above zero, and u_station not below")
    readings = tuple(_reading(row, u_mm) for row in _rows("readings", values, 2, 3))
    widest = [_reading(row, u_mm) for row in _rows("widest", values, 2, 3)]
    trials = tuple(_trial(row) for row in _rows("trials", values, 3, 4))
    _check_apart("reading", readings)
    _check_apart("trial line", trials)
    if not (readings or widest or trials):
        raise MeasurementError(
            "no-readings",
            f"{path} holds no readings yet: write what was read by hand, as "
            "readings = [[-600, 31.5, 0.3]].",
        )
    options = _options(path.parent, values, mm)
    by_hand = HandMeasured((*readings, *widest), trials)
    try:
        check_options(replace(options, by_hand=by_hand))
    except MeasurementError as error:
        raise MeasurementError(error.code, f"{path}: {error.text}") from None
    told = {key: text_of(key, values[key]) for key in TEXTS if values.get(key)}
    return FieldTest(
        path.parent, options, readings, next(iter(widest), None), trials, u_station_mm, told
    )


def _options(folder: Path, values: dict[str, Any], mm: dict[str, float | None]) -> MeasureOptions:
    inside = files_of(folder, "inside", values.get("inside", []))
    camera = values.get("camera")
    return MeasureOptions(
        photos=files_of(folder, "photos", values.get("photos", ["."])),
        inside=inside,
        cover_mm=COVER_MM if mm["cover"] is None else mm["cover"],
        card_on=card_on_of(values.get("card_on", CARD_ON[0])),
        upper_diameter=diameter_of("upper_diameter", values.get("upper_diameter")),
        lower_diameter=diameter_of("lower_diameter", values.get("lower_diameter")),
        camera=None if camera is None else beside(folder, "camera", text_of("camera", camera)),
        cards=Cards(
            inside_cards=cards_of(values.get("inside_cards", [])),
            printed_bar_mm=CHECK_BAR_MM if mm["printed_bar"] is None else mm["printed_bar"],
            wall_thickness_mm=mm["wall_thickness"],
        ),
        stretch=Stretch(mm["from"], mm["to"]),
    )


# --- rows -----------------------------------------------------------------------------------------


def _rows(key: str, values: dict[str, Any], fewest: int, most: int) -> list[list[object]]:
    """The rows of one kind; ``widest`` is one row by itself."""
    rows = values.get(key, [])
    if key == "widest":
        rows = [rows] if rows else []
    ok = isinstance(rows, list) and all(
        isinstance(row, list) and fewest <= len(row) <= most for row in rows
    )
    if not ok:
        one = "each of the " if key != "widest" else ""
        raise ValueError(f"{one}{key} must be {ROWS_WANTED[key]}")
    return rows


def _reading(row: list[object], u_mm: float) -> Reading:
    station, gap, *u = map(typed, row)
    return parse_reading("~".join([f"{gap}@{station}", *u]), "mm", u_mm)


def _trial(row: list[object]) -> Trial:
    station, setting, width, *u = map(typed, row)
    return parse_trial("~".join([f"{setting}:{width}@{station}", *u]), "mm")


def _check_apart(what: str, entries: Iterable[Reading | Trial]) -> None:
    seen = set()
    for entry in entries:
        at = entry.station_mm
        if at is None:
            raise ValueError(f"a {what} needs a station, not widest")
        if at in seen:
            raise ValueError(f"two {what}s stand at station {at:g}: write their mean once")
        seen.add(at)
