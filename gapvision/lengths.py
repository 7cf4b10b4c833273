"""Lengths as builders write and read them: millimetres, or inches and sixteenths."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

INCH_MM = 25.4
SIXTEENTH_MM = INCH_MM / 16
SLACK_MM = 1e-6  # an exact step is not rounded up for floating-point noise

_NUMBER = re.compile(
    r"""\s*(?P<sign>[-+]?)\s*
    (?: (?P<whole>\d+)[\s-]+(?P<num>\d+)/(?P<den>\d+) | (?P<n2>\d+)/(?P<d2>\d+)
      | (?P<decimal>\d+(?:[.,]\d+)?|[.,]\d+) )
    \s*(?P<unit>mm|in|inch|inches|"|''|\u2033)?\s*""",
    re.VERBOSE | re.IGNORECASE,
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


U_READING_MM = 0.5  # a caliper held by hand between two round logs; common practice, no source


def parse_length(text: str, units: str = "mm") -> float:
    """A length in mm from ``75``, ``75mm``, ``3in``, ``3"``, ``2 1/2in``, ``1 5/8``, ``2-1/2``.

    Raises
    ------
    ValueError
        Where the text is no length, or is a bare number while units are inches.

    Examples
    --------
    >>> parse_length("2-1/2")
    63.5
    """
    m = _NUMBER.fullmatch(text)
    if not m or m["den"] in ("0",) or m["d2"] in ("0",):
        raise ValueError(f"{text!r} is not a length; write 75, 75mm, 3in or 2 1/2in.")
    unit = (m["unit"] or "").lower()
    sign = -1.0 if m["sign"] == "-" else 1.0
    if m["decimal"]:
        value = float(m["decimal"].replace(",", "."))
        if not unit and units == "in":
            raise ValueError(
                f"{text!r} has no unit and units are inches; write {text}in or {text}mm."
            )
        return sign * value * (INCH_MM if unit not in ("", "mm") else 1.0)
    if unit == "mm":
        raise ValueError(f"{text!r}: a fraction always means inches; write decimals for mm.")
    if m["whole"]:
        value = float(m["whole"]) + float(Fraction(int(m["num"]), int(m["den"])))
    else:
        value = float(Fraction(int(m["n2"]), int(m["d2"])))
    return sign * value * INCH_MM


def parse_diameter(text: str, units: str = "mm") -> Diameter:
    """Diameters from ``300``, ``290,310`` (left and right end) or ``290@-750,310@750``.

    Raises
    ------
    ValueError
        Where a part is no length, or stations are given for some parts only.
    """
    points: list[tuple[float | None, float]] = []
    for part in text.split(","):
        value, _, at = part.partition("@")
        points.append((parse_length(at, units) if at else None, parse_length(value, units)))
    placed = [p for p in points if p[0] is not None]
    if placed and (len(placed) < len(points) or len({p[0] for p in points}) < len(points)):
        raise ValueError(f"{text!r}: give every diameter a station of its own, or none.")
    if not placed and len(points) > 2:
        raise ValueError(f"{text!r}: more than two diameters need stations, as 290@-750,310@750.")
    return Diameter(tuple(points))


def parse_reading(text: str, units: str = "mm") -> Reading:
    """A caliper reading ``41.5@1200``, with its uncertainty ``41.5@1200~0.5``, or ``41.5@widest``.

    Raises
    ------
    ValueError
        Where a part is no length or the uncertainty is not above zero.
    """
    body, _, u = text.partition("~")
    value, _, at = body.partition("@")
    if not at:
        raise ValueError(f"{text!r}: say where it was read, as 41.5@1200 or 41.5@widest.")
    u_mm = parse_length(u, units) if u else U_READING_MM
    if u_mm <= 0:
        raise ValueError(f"{text!r}: the uncertainty behind ~ must be above zero.")
    station = None if at.strip() == "widest" else parse_length(at, units)
    return Reading(parse_length(value, units), station, u_mm)


def format_length(mm: float, units: str = "mm") -> str:
    """``47 mm``, ``47.5 mm``, or inches to the nearest sixteenth as ``1 7/8 in``."""
    if units == "mm":
        return f"{mm:.0f} mm" if abs(mm - round(mm)) < 0.05 else f"{mm:.1f} mm"
    n = round(abs(mm) / SIXTEENTH_MM)
    whole, rest = divmod(n, 16)
    sign = "-" if mm < 0 and n else ""
    if rest == 0:
        return f"{sign}{whole} in"
    f = Fraction(rest, 16)
    return f"{sign}{f'{whole} ' if whole else ''}{f.numerator}/{f.denominator} in"


def round_up(mm: float, units: str = "mm") -> float:
    """The next millimetre or sixteenth of an inch that is not less, in mm."""
    step = 1.0 if units == "mm" else SIXTEENTH_MM
    return math.ceil((mm - SLACK_MM) / step) * step
