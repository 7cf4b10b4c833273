"""Lengths as builders write and read them: millimetres, or inches and sixteenths."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

INCH_MM = 25.4  # exact: NIST SP 811, appendix B.8
SIXTEENTH_MM = INCH_MM / 16
_EXACT_INCH_MM = Fraction(254, 10)
U_READING_MM = 0.5  # a caliper held by hand between two round logs; common practice, no source
SLACK_MM = 1e-6  # an exact step is not rounded up for floating-point noise

_NUMBER = re.compile(
    r"""\s*(?P<sign>[-+]?)\s*
    (?: (?: (?P<whole>\d{1,6})(?:\s+|\s*-\s*) )? (?P<num>\d{1,6})/(?P<den>\d{1,6})
      | (?P<decimal>\d{1,6}(?:\.\d{1,6})?|\.\d{1,6}) )
    \s*(?P<unit>mm|inches|inch|in\.?|"|''|[\u2033\u201d])?\s*""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)


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


def parse_length(text: str, units: str = "mm") -> float:
    """A length in mm from ``75``, ``75mm``, ``3in``, ``3"``, ``2 1/2in``, ``1 5/8``, ``2-1/2``.

    Parameters
    ----------
    text : str
        A number with or without a unit; a fraction always means inches.
    units : {"mm", "in"}
        Where inches, a bare number other than 0 is refused: whether 75 or 2.5 means mm or inches
        is never guessed.

    Raises
    ------
    ValueError
        Where the text is no length, or could mean either unit.

    Examples
    --------
    >>> parse_length("2-1/2")
    63.5
    """
    m = _NUMBER.fullmatch(text)
    if not m or (m["den"] and int(m["den"]) == 0):
        hint = "write a point, not a comma" if "," in text else "write 75, 75mm, 3in or 2 1/2in"
        raise ValueError(f"{text.strip()!r} is not a length: {hint}.")
    unit = (m["unit"] or "").lower()
    if m["decimal"]:
        value = Fraction(m["decimal"])
        if not unit and units == "in" and value != 0:
            bare = text.strip()
            raise ValueError(f"{bare!r} has no unit and --units is in: write {bare}in or {bare}mm.")
        value *= _EXACT_INCH_MM if unit not in ("", "mm") else 1
    elif unit == "mm":
        raise ValueError(
            f"{text.strip()!r} is not a length: a fraction means inches, write decimals for mm."
        )
    else:
        value = (int(m["whole"] or 0) + Fraction(int(m["num"]), int(m["den"]))) * _EXACT_INCH_MM
    return float(-value if m["sign"] == "-" else value)


def parse_diameter(text: str, units: str = "mm") -> Diameter:
    """Diameters from ``300``, ``290,310`` (left and right end) or ``290@-750,310@750``.

    The ends are those of the measured stretch as seen from outside; stations may be negative.

    Raises
    ------
    ValueError
        Where a part is no length, or stations are given for some parts only.
    """
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


def parse_reading(text: str, units: str = "mm") -> Reading:
    """A caliper reading ``41.5@1200``, with its uncertainty ``41.5@1200~0.5``, or ``41.5@widest``.

    Raises
    ------
    ValueError
        Where a part is no length, or the reading or its uncertainty is not above zero.
    """
    body, has_u, u = text.partition("~")
    value, _, at = body.partition("@")
    if not at:
        raise ValueError(f"{text!r}: say where it was read, as 41.5@1200 or 41.5@widest.")
    value_mm = parse_length(value, units)
    u_mm = parse_length(u, units) if has_u else U_READING_MM
    if value_mm <= 0 or u_mm <= 0:
        raise ValueError(f"{text!r}: a reading and its uncertainty must be above zero.")
    station = None if at.strip().lower() == "widest" else parse_length(at, units)
    return Reading(value_mm, station, u_mm)


def format_length(mm: float, units: str = "mm") -> str:
    """``47 mm``, ``47.5 mm``, or inches to the nearest sixteenth as ``1 7/8 in``."""
    if units == "mm":
        tenths = round(mm, 1) + 0.0  # never -0
        return f"{tenths:.0f} mm" if tenths == round(tenths) else f"{tenths:.1f} mm"
    n = round(abs(mm) / SIXTEENTH_MM)
    whole, rest = divmod(n, 16)
    f = Fraction(rest, 16)
    parts = [str(whole)] * (whole > 0 or not rest) + [f"{f.numerator}/{f.denominator}"] * (rest > 0)
    return ("-" if mm < 0 and n else "") + " ".join(parts) + " in"


def round_up(mm: float, units: str = "mm", step_mm: float | None = None) -> float:
    """The next millimetre or sixteenth of an inch that is not less, in mm; or the next ``step_mm``."""
    step = step_mm or (1.0 if units == "mm" else SIXTEENTH_MM)
    return math.ceil((mm - SLACK_MM) / step) * step
