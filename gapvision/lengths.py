"""Lengths as builders write and read them: millimetres, or inches and sixteenths."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

INCH_MM = 25.4  # exact: NIST SP 811, appendix B.8
SIXTEENTH_MM = INCH_MM / 16
CHECK_BAR_MM = 100.0  # of a card printed at true size, between its bar's ticks
_EXACT_INCH_MM = Fraction(254, 10)
U_READING_MM = 0.5  # a caliper held by hand between two round logs; common practice, no source
# A trial line by hand, each a judgement of ours: bubble, pencil and hand while it is scribed, of the
# setting; and one line carried plumb to the rule, of the width.
U_SCRIBED_MM, U_LINE_MM = 0.4, 1.0
ROUNDING_MM = 1e-6  # an exact step is not rounded up for floating-point noise

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


def parse_lengths(text: str, units: str = "mm") -> tuple[float, ...]:
    """Lengths in mm from ``60,75,90``; each as `parse_length` has it."""
    return tuple(parse_length(part, units) for part in text.split(","))


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


def parse_reading(text: str, units: str = "mm", u_mm: float = U_READING_MM) -> Reading:
    """A caliper reading ``41.5@1200``, with its uncertainty ``41.5@1200~0.5``, or ``41.5@widest``.

    ``u_mm`` is taken where the text states no uncertainty.

    Raises
    ------
    ValueError
        Where a part is no length, or the reading or its uncertainty is not above zero.
    """
    value, at, u = _parts(text, "it was read, as 41.5@1200 or 41.5@widest")
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
    trial = isinstance(entry, Trial)
    lengths = (entry.setting_mm, entry.width_mm) if trial else (entry.value_mm,)
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
