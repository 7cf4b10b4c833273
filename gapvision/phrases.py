"""Lengths, places and lists as the answers say them to people, and write them for programs."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

from gapvision.lengths import INCH_MM, Reading, Trial, format_entry, format_length, round_up
from gapvision.quantity import K95, Place, Quantity

WIDTH = 80  # columns of the narrowest terminal in common use
# Nobody finds a place on bark, or holds a phone, more exactly.
PLACE_MM, STAND_MM = {"mm": 10.0, "in": INCH_MM / 2}, {"mm": 50.0, "in": 2 * INCH_MM}
NO_BREAK = "\u00a0"
_TIED = re.compile(
    r"(?<=\d) (?=(?:mm|cm|m|in|ft|px|s|degrees?|times|%)\b|%|\d+/\d)|(?<=±) | (?=±)|"
    r"(?<=\d) (?=to \d)|(?<=\d to) (?=\d)|(?<=\bcard) (?=\d)|(?<=\bcards) (?=\d)|"
    r"(?<= in) (?=100\b)|(?<=--reading) "
)
DECIMALS = 4  # a sixteenth of an inch is 1.5875 mm


# What an entry measured by hand looks like where it was mistaken, by the codes of `inputs.mistakes`.
MISTAKES = {
    "one-face": "the width of one face only",
    "exchanged": "setting and width exchanged",
    "inches-as-mm": "inches entered as mm",
    "mm-as-inches": "mm entered as inches",
    "width-inches-as-mm": "a width in inches entered as mm",
    "width-mm-as-inches": "a width in mm entered as inches",
    "setting-inches-as-mm": "a setting in inches entered as mm",
    "setting-mm-as-inches": "a setting in mm entered as inches",
}


# --- for people -----------------------------------------------------------------------------------


def mistake_text(code: str) -> str:
    """What a mistaken entry looks like; a code that is not known, as of a later program, stands itself."""
    return MISTAKES.get(code, code)


def mistake_code(text: str) -> str:
    """The code of what `mistake_text` said."""
    return next((code for code, said in MISTAKES.items() if said == text), text)


def cure_text(meant: Reading | Trial | None, units: str) -> str:
    """What to do about a mistaken entry; where nobody knows what was meant, of a trial line."""
    if meant is None:
        return "measure from the line on one face to the line on the other, and enter that"
    return f"write {format_entry(meant, units)}"


def place_text(place: Place, units: str = "mm") -> str:
    """Where a place is, as a person finds it: ``310 mm right of card 2, seen from outside``."""
    sides = "" if place.near_card is None or at_nail(place, units) else ", seen from outside"
    return f"{where_text(place, units)}{sides}"


def where_text(place: Place, units: str = "mm") -> str:
    """Likewise, where left and right are said to be as seen from outside already."""
    if place.near_card is None or place.offset_mm is None:
        return f"{along_text(place.station_mm, units)} along the log"
    if at_nail(place, units):
        return f"at card {place.near_card}"
    off = place.offset_mm
    return f"{along_text(abs(off), units)} {hand_of(off)} of card {place.near_card}"


def at_nail(place: Place, units: str = "mm") -> bool:
    """Whether a place lies as near to its card's nail as places are told."""
    return place.offset_mm is not None and round(place.offset_mm / PLACE_MM[units]) == 0


def hand_of(offset_mm: float) -> str:
    """On which side of its card a place lies, seen from outside."""
    return "right" if offset_mm > 0 else "left"


def stretch_text(a: Place, b: Place, units: str = "mm") -> str:
    """From where to where: ``from 40 to 380 mm right of card 2``, or by both ends' cards."""
    ends = [where_text(p, units) for p in (a, b)]
    if ends[0] == ends[1]:
        return ends[0]
    offsets = [p.offset_mm for p in (a, b) if p.offset_mm is not None and not at_nail(p, units)]
    hands = {hand_of(off) for off in offsets}
    alike = a.near_card is not None and a.near_card == b.near_card
    if alike and len(offsets) == 2 and len(hands) == 1:
        near, far = sorted(abs(off) for off in offsets)
        unit = f" {units}"
        return (
            f"from {along_text(near, units).removesuffix(unit)} to {along_text(far, units)} "
            f"{hands.pop()} of card {a.near_card}"
        )
    return f"from {ends[0].removeprefix('at ')} to {ends[1].removeprefix('at ')}"


def along_text(mm: float, units: str) -> str:
    """A distance along the log as one finds it with a tape: to 10 mm or half an inch."""
    return _rounded(mm, units, PLACE_MM[units])


def stand_text(mm: float, units: str) -> str:
    """How high or far to hold a phone: to 50 mm or two inches."""
    return _rounded(mm, units, STAND_MM[units])


def _rounded(mm: float, units: str, step_mm: float) -> str:
    return format_length(round(mm / step_mm) * step_mm if math.isfinite(mm) else mm, units)


def listed(words: list[str]) -> str:
    """Words joined as in a sentence; of many the first."""
    if len(words) > 3:
        words = [*words[:2], f"{len(words) - 2} more"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def cards_text(numbers: Iterable[int]) -> str:
    """``card 3``, or ``cards 3 and 4``."""
    words = [str(n) for n in numbers]
    return f"card{'s' * (len(words) > 1)} {listed(words)}"


def hours_text(hours: float) -> str:
    """``3 hours``, or ``2 days``."""
    return f"{hours:.0f} hours" if hours < 48 else f"{hours / 24:.0f} days"


def quantity_text(q: Quantity, units: str = "mm") -> str:
    """A length with the half-width that holds the truth 95 times in 100: ``47.2 ± 1.1 mm``."""
    if not math.isfinite(q.value_mm):
        return "unknown"
    if not math.isfinite(q.U95_mm):
        return f"{format_length(q.value_mm, units)} ± unknown"
    if units == "mm":
        return f"{q.value_mm:.1f} ± {q.U95_mm:.1f} mm"
    # Up to the next sixteenth: a half-width of nought would be a lie.
    value = format_length(q.value_mm, "in").removesuffix(" in")
    return f"{value} ± {format_length(round_up(q.U95_mm, 'in'), 'in')}"


def signed_text(mm: float, units: str) -> str:
    """A difference with its sign, in mm, or decimals of an inch: sixteenths are too coarse for it."""
    return f"{mm:+.1f}" if units == "mm" else f"{mm / INCH_MM:+.2f}"


def distance_text(mm: float, units: str) -> str:
    """A distance along the log: nobody marks tenths of a millimetre on bark."""
    whole = units == "mm" and math.isfinite(mm)
    return format_length(float(round(mm)) if whole else mm, units)


def wrap(text: str, lead: str = "", indent: str | None = None) -> list[str]:
    """Lines of at most `WIDTH` columns: the first after ``lead``, the others under its end.

    No line ends between a number and its unit, its ± or its fraction, nor between a card and its number.
    """
    indent = " " * len(lead) if indent is None else indent
    lines = textwrap.wrap(
        joined(text), WIDTH, initial_indent=lead, subsequent_indent=indent, break_on_hyphens=False
    )
    return [line.replace(NO_BREAK, " ") for line in lines]


def joined(text: str) -> str:
    """A text whose lengths, cards and options hold together: with spaces where no line may end."""
    return _TIED.sub(NO_BREAK, text)


# --- for programs ---------------------------------------------------------------------------------


def number_json(value: float | None) -> float | None:
    """A number rounded to `DECIMALS`; None for what is not known."""
    return None if value is None or not math.isfinite(value) else round(float(value), DECIMALS)


def numbers_json(values: Iterable[float]) -> list[float | None]:
    """Each as `number_json` has it."""
    return [number_json(v) for v in values]


def quantity_json(q: Quantity) -> dict[str, float | None]:
    """``value_mm``, ``u_mm`` and ``U95_mm``."""
    return {
        "value_mm": number_json(q.value_mm),
        "u_mm": number_json(q.u_mm),
        "U95_mm": number_json(q.U95_mm),
    }


def place_json(place: Place) -> dict[str, float | None]:
    """``station_mm``, ``near_card`` and ``offset_mm``."""
    return {
        "station_mm": number_json(place.station_mm),
        "near_card": None if place.near_card is None else int(place.near_card),
        "offset_mm": number_json(place.offset_mm),
    }


def number_read(value: float | None) -> float:
    """What `number_json` wrote: NaN for what is not known."""
    return math.nan if value is None else float(value)


def numbers_read(values: Iterable[float | None]) -> list[float]:
    """Each as `number_read` has it."""
    return [number_read(v) for v in values]


def quantity_read(d: Mapping[str, Any]) -> Quantity:
    """What `quantity_json` wrote; where it has no ``U95_mm``, that of a normal distribution."""
    u = number_read(d["u_mm"])
    return Quantity(float(d["value_mm"]), u, number_read(d.get("U95_mm", K95 * u)))


def place_read(d: Mapping[str, Any]) -> Place:
    """What `place_json` wrote."""
    card = d.get("near_card")
    if card is not None and not isinstance(card, int):
        raise TypeError("near_card: no number of a card")
    return Place(float(d["station_mm"]), card, d.get("offset_mm"))
