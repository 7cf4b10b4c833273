"""Lengths as builders write and read them: mm, cm and m, or feet, inches and sixteenths."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Units = Literal["mm", "in"]
INCH_MM = 25.4  # exact: NIST SP 811, appendix B.8
SIXTEENTH_MM = INCH_MM / 16
CHECK_BAR_MM = 100.0  # of a card printed at true size, between its bar's ticks
_EXACT_INCH_MM = Fraction(254, 10)
U_READING_MM = 0.5  # a caliper held by hand between two round logs; common practice, no source
# A trial line by hand, each a judgement of ours: bubble, pencil and hand while it is scribed, of the
# setting; and one line carried plumb to the rule, of the width.
U_SCRIBED_MM, U_LINE_MM = 0.4, 1.0
ROUNDING_MM = 1e-6  # an exact step is not rounded up for floating-point noise

_METRIC_MM = {"mm": 1, "cm": 10, "m": 1000}
_NUMBER = re.compile(
    r"""\s*(?P<sign>[-+]?)\s*
    (?: (?: (?P<whole>\d{1,6})(?:\s+|\s*-\s*) )? (?P<num>\d{1,6})/(?P<den>\d{1,6})
      | (?P<decimal>\d{1,6}(?:\.\d{1,6})?|\.\d{1,6}) )
    \s*(?P<unit>mm|cm|m|inches|inch|in\.?|"|''|[\u2033\u201d])?\s*""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)
_FEET = re.compile(
    r"""\s*(?P<sign>[-+]?)\s*(?P<feet>\d{1,6}(?:\.\d{1,6})?|\.\d{1,6})
    \s*(?:ft\.?|feet|foot|'(?!')|[\u2032\u2019])
    (?:\s*-?\s*(?P<inches>[\d.].*?))?\s*""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)
_HINT = "write 75, 75mm, 7.5cm, 3in, 2 1/2in or 6ft 3in"
_PARTS = re.compile(r"[,@~:]|\.\.")  # between the lengths of a list, a reading, a trial, a range


@dataclass(frozen=True, slots=True)
class Diameter:
    """Stated diameters as (station or None, diameter) in mm: one, both ends, or at stations."""

    points: tuple[tuple[float | None, float], ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """A caliper reading, mm; ``station_mm`` None means at the widest place."""

    value_mm: float
    station_mm: float | None
    u_mm: float


@dataclass(frozen=True, slots=True)
class Trial:
    """A trial line: the points' setting and the groove's width that came out, mm, with their u.

    ``station_mm`` None means at the widest place.
    """

    setting_mm: float
    width_mm: float
    station_mm: float | None
    u_setting_mm: float
    u_width_mm: float


def parse_length(text: str, units: str = "mm") -> float:
    """A length in mm from ``75``, ``7.5cm``, ``2 1/2in``, ``1 5/8``, ``20ft``, ``6' 3 1/2"``.

    Parameters
    ----------
    text : str
        A number with or without a unit, or feet and inches; a fraction without a unit is of inches.
    units : {"mm", "in"}
        Where inches, a bare number other than 0 is refused: whether 75 or 2.5 means mm or inches
        is never guessed.

    Raises
    ------
    ValueError
        Where the text is no length, or could mean either unit.

    Examples
    --------
    >>> parse_length("2-1/2"), parse_length("7.5cm"), parse_length("6' 3 1/2\\"")
    (63.5, 75.0, 1917.7)
    """
    if m := _FEET.fullmatch(text):
        inches = _feet(m, text)
    else:
        m = _NUMBER.fullmatch(text)
        if not m or (m["den"] and int(m["den"]) == 0):
            raise ValueError(f"{text.strip()!r} is not a length: {_hint(text)}.")
        unit = (m["unit"] or "").lower()
        if unit in _METRIC_MM and m["den"]:
            raise ValueError(
                f"{text.strip()!r} is not a length: a fraction means inches, write decimals for {unit}."
            )
        if _is_bare(m):
            if units == "in" and float(m["decimal"]):
                bare = text.strip()
                raise ValueError(
                    f"{bare!r} has no unit and --units is in: write {bare}in or {bare}mm."
                )
            unit = "mm"
        if unit in _METRIC_MM:
            mm = Fraction(m["decimal"]) * _METRIC_MM[unit]
            return float(-mm if m["sign"] == "-" else mm)
        inches = _inches(m)
    mm = inches * _EXACT_INCH_MM
    return float(-mm if m["sign"] == "-" else mm)


def units_written(text: str) -> set[str]:
    """The units that a length, or several as options take them, is written in.

    Returns
    -------
    set of str
        Of ``"mm"``, ``"cm"``, ``"m"``, ``"in"`` (feet too), and ``""`` for a bare number other than
        0; what is no length counts as nothing.

    Examples
    --------
    >>> sorted(units_written("1 5/8@1200")), sorted(units_written("41.5mm@widest"))
    (['', 'in'], ['mm'])
    """
    return {unit for part in _PARTS.split(text) if (unit := _unit_of(part)) is not None}


def bare_among_units(text: str, written: set[str]) -> str | None:
    """The first bare number of a text, where units other than mm are written beside it; else None."""
    if not written - {"", "mm"}:
        return None
    return next((part.strip() for part in _PARTS.split(text) if _unit_of(part) == ""), None)


def _unit_of(text: str) -> str | None:
    if _FEET.fullmatch(text):
        return "in"
    m = _NUMBER.fullmatch(text)
    if not m or (_is_bare(m) and not float(m["decimal"])):
        return None
    unit = (m["unit"] or "").lower()
    return unit if unit in _METRIC_MM or _is_bare(m) else "in"


def _is_bare(m: re.Match[str]) -> bool:
    return not m["unit"] and not m["den"]


def _inches(m: re.Match[str]) -> Fraction:
    """What a match of `_NUMBER` without a metric unit is, without its sign."""
    if m["decimal"]:
        return Fraction(m["decimal"])
    return int(m["whole"] or 0) + Fraction(int(m["num"]), int(m["den"]))


def _feet(m: re.Match[str], text: str) -> Fraction:
    """Feet, or whole feet and less than twelve inches, in inches, without their sign."""
    feet = Fraction(m["feet"])
    if m["inches"] is None:
        return 12 * feet
    beside = _NUMBER.fullmatch(m["inches"])
    if beside and _in_inches(beside) and _inches(beside) < 12 and feet.denominator == 1:
        return 12 * feet + _inches(beside)
    raise ValueError(
        f"{text.strip()!r} is not a length: write whole feet and less than 12 inches, as 6ft 3in."
    )


def _in_inches(m: re.Match[str]) -> bool:
    """Whether a match of `_NUMBER` is a number of inches: a bare one too, beside feet."""
    return (m["unit"] or "").lower() not in _METRIC_MM and not (m["den"] and int(m["den"]) == 0)


def _hint(text: str) -> str:
    """What to write instead of what is no length."""
    if m := re.fullmatch(r"\s*([-+]?\d+),(\d{1,2}\s*(?:mm|cm|m|in|ft)?)\s*", text, re.ASCII):
        return f"write a point, not a comma: {m[1]}.{m[2]}"
    if "," in text:
        return "write a point, not a comma"
    if m := re.fullmatch(r"\s*([-+]?\d+)\s+(\d+)\s*", text, re.ASCII):
        return f"two numbers need a unit each, as {m[1]}ft {m[2]}in"
    return _HINT


def _check_units(text: str, units: str) -> None:
    """Refuse ``29,5cm``: the comma of a decimal, or 29 mm beside 5 cm? And ``4.5cm@30`` likewise."""
    written = units_written(text)
    bare = bare_among_units(text, written)
    if bare is not None and units == "mm":  # of inches `parse_length` says so
        unit = next(u for u in ("in", "cm", "m") if u in written)
        point = "; a decimal has a point, no comma" if "," in text else ""
        raise ValueError(
            f"{text!r}: {bare} has no unit and another has: write {bare}{unit} or {bare}mm{point}."
        )


def parse_lengths(text: str, units: str = "mm") -> tuple[float, ...]:
    """Lengths in mm from ``60,75,90``; each as `parse_length` has it."""
    _check_units(text, units)
    return tuple(parse_length(part, units) for part in text.split(","))


def parse_diameter(text: str, units: str = "mm") -> Diameter:
    """Diameters from ``300``, ``290,310`` (left and right end) or ``290@-750,310@750``.

    The ends are those of the measured stretch as seen from outside; stations may be negative.

    Raises
    ------
    ValueError
        Where a part is no length, or stations are given for some parts only.
    """
    _check_units(text, units)
    points: list[tuple[float | None, float]] = []
    for part in text.split(","):
        value, has_station, at = part.partition("@")
        station = parse_length(at, units) if has_station else None
        points.append((station, parse_length(value, units)))
    placed = [p for p in points if p[0] is not None]
    if placed and (len(placed) < len(points) or len({p[0] for p in points}) < len(points)):
        raise ValueError(f"{text!r}: give every diameter a station of its own, or none.")
    if not placed and len(points) > 2:
        raise ValueError(f"{text!r}: more than two diameters need stations, as 290@-750,310@750.")
    return Diameter(tuple(points))


def parse_ends(text: str, units: str = "mm") -> Diameter:
    """Diameters from ``300`` or ``290,310``, where no station can be named yet.

    Raises
    ------
    ValueError
        Where a part is no length or has a station.
    """
    diameter = parse_diameter(text, units)
    if any(station is not None for station, _ in diameter.points):
        raise ValueError(f"{text!r}: give one diameter, or two for the left and the right end.")
    return diameter


def parse_reading(text: str, units: str = "mm", u_mm: float = U_READING_MM) -> Reading:
    """A caliper reading ``41.5@1200``, with its uncertainty ``41.5@1200~0.5``, or ``41.5@widest``.

    ``u_mm`` is taken where the text states no uncertainty.

    Raises
    ------
    ValueError
        Where a part is no length, or the reading or its uncertainty is not above zero.
    """
    value, at, u = _parts(text, "it was read, as 41.5@1200 or 41.5@widest")
    _check_units(text, units)
    value_mm = parse_length(value, units)
    u_mm = u_mm if u is None else parse_length(u, units)
    if value_mm <= 0 or u_mm <= 0:
        raise ValueError(f"{text!r}: a reading and its uncertainty must be above zero.")
    return Reading(value_mm, _station(at, units), u_mm)


def parse_trial(text: str, units: str = "mm") -> Trial:
    """A trial line ``49:78@310``: points set to 49, groove 78 wide at station 310, or ``@widest``.

    ``49:78@310~2`` states the standard uncertainty of the width.

    Raises
    ------
    ValueError
        Where a part is missing or is no length, or a length is not above zero.

    Notes
    -----
    The points, and both ends of the width, are read to a millimetre or a sixteenth of an inch: a
    rectangular distribution, ``u = step / sqrt(12)`` (JCGM 100:2008, F.2.2.1). To it come the
    judgements `U_SCRIBED_MM` and, at both lines, `U_LINE_MM`.
    """
    pair, at, u = _parts(text, "it was measured, as 49:78@310 or 49:78@widest")
    setting, has_width, width = pair.partition(":")
    if not has_width:
        raise ValueError(f"{text!r}: give the points' setting and the width, as 49:78@310.")
    _check_units(text, units)
    setting_mm, width_mm = parse_length(setting, units), parse_length(width, units)
    read_mm = (1.0 if units == "mm" else SIXTEENTH_MM) / math.sqrt(12)
    u_line_mm = math.hypot(read_mm, U_LINE_MM)
    u_mm = math.sqrt(2) * u_line_mm if u is None else parse_length(u, units)
    if min(setting_mm, width_mm, u_mm) <= 0:
        raise ValueError(f"{text!r}: setting, width and uncertainty must be above zero.")
    u_setting_mm = math.hypot(read_mm, U_SCRIBED_MM)
    return Trial(setting_mm, width_mm, _station(at, units), u_setting_mm, u_mm)


def _parts(text: str, where: str) -> tuple[str, str, str | None]:
    """What was measured, the station and the uncertainty, None where it is not stated."""
    body, has_u, u = text.partition("~")
    value, _, at = body.partition("@")
    if not at.strip():
        raise ValueError(f"{text!r}: say where {where}.")
    return value, at, u if has_u else None


def _station(text: str, units: str) -> float | None:
    """A station, None for the widest place."""
    return None if text.strip().lower() == "widest" else parse_length(text, units)


def format_length(mm: float, units: str = "mm") -> str:
    """``47 mm``, ``47.5 mm``, or inches to the nearest sixteenth as ``1 7/8 in``; NaN is unknown."""
    if math.isnan(mm):
        return "unknown"
    if units == "mm":
        tenths = round(mm, 1) + 0.0  # never -0
        return f"{tenths:.0f} mm" if tenths == round(tenths) else f"{tenths:.1f} mm"
    n = round(abs(mm) / SIXTEENTH_MM)
    whole, rest = divmod(n, 16)
    f = Fraction(rest, 16)
    parts = [str(whole)] * (whole > 0 or not rest) + [f"{f.numerator}/{f.denominator}"] * (rest > 0)
    return ("-" if mm < 0 and n else "") + " ".join(parts) + " in"


def format_entry(entry: Reading | Trial, units: str = "mm") -> str:
    """A reading or a trial line as one types it, without its uncertainty."""
    lengths = [entry.setting_mm, entry.width_mm] if isinstance(entry, Trial) else [entry.value_mm]
    at = entry.station_mm
    where = "widest" if at is None else _bare(at, units)
    return f"{':'.join(_bare(x, units) for x in lengths)}@{where}"


def _bare(mm: float, units: str) -> str:
    """A length as one types it: mm without a unit."""
    text = format_length(round(mm, 1), units)
    return text.removesuffix(" mm") if units == "mm" else text.replace(" in", "in")


def round_up(mm: float, units: str = "mm", step_mm: float | None = None) -> float:
    """The next millimetre or sixteenth of an inch that is not less, in mm; or the next ``step_mm``."""
    step = step_mm or (1.0 if units == "mm" else SIXTEENTH_MM)
    return math.ceil((mm - ROUNDING_MM) / step) * step
