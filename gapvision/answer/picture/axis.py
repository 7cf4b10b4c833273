"""The stations' axis: from a station to a column, and the numbers along it.

All strips share it, so that a place keeps its column from the photograph down to the numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

import numpy as np

from gapvision.answer.picture.drawing import (
    BLACK,
    GREY,
    PANEL_LEFT_PX,
    PANEL_RIGHT_PX,
    TICK_PX,
    Strip,
    blank,
    boxed,
    line,
    text,
)
from gapvision.joint.photo_results import CardResult
from gapvision.lengths import INCH_MM, ROUNDING_MM, SIXTEENTH_MM, format_length

MARGIN_PX = 20  # of the panel, left free on either side of the log
LEAST_NUMBER_PX = 143  # from number to number

Mm = TypeVar("Mm", float, np.ndarray)  # one, or many


class Scale(Protocol):
    """The way from mm to px: of one the one, of many, shape (n,), as many."""

    def __call__(self, mm: Mm, /) -> Mm: ...


Columns = Scale  # from stations


def even_columns(first_mm: float, last_mm: float) -> Columns:
    """Evenly spaced columns for stations from the panel's left to its right."""
    slope = (PANEL_RIGHT_PX - PANEL_LEFT_PX - 2 * MARGIN_PX) / ((last_mm - first_mm) or 1.0)

    def columns(station_mm: Mm) -> Mm:
        return PANEL_LEFT_PX + MARGIN_PX + (station_mm - first_mm) * slope

    return columns


def station_strip(
    station_mm: np.ndarray, cards: Sequence[CardResult], columns: Columns, units: str
) -> Strip:
    """The numbers of stations (n,), and the cards at their nails where there are any."""
    strip = blank(134 if cards else 72)
    line(strip, [(PANEL_LEFT_PX, 0), (PANEL_RIGHT_PX, 0)], BLACK, 4)
    for station, label in ticks(station_mm, cards, columns, units):
        x = columns(station)
        line(strip, [(x, 0), (x, 20 if label else 10)], BLACK, 4)
        text(strip, (x, 42), label, TICK_PX)
    text(strip, (PANEL_LEFT_PX - 14, 42), units, TICK_PX, anchor="end")
    if cards:
        text(strip, (PANEL_LEFT_PX - 14, 102), "cards", TICK_PX, anchor="end")
    free = -np.inf
    for x, number in sorted((columns(c.station_mm), c.number) for c in cards):
        if PANEL_LEFT_PX <= x <= PANEL_RIGHT_PX:
            line(strip, [(x, 66), (x, 80)], BLACK, 4)
            if x - 36 > free:
                boxed(strip, (x, 102), str(number), TICK_PX, GREY)
                free = x + 36
    return strip


def ticks(
    station_mm: np.ndarray, cards: Sequence[CardResult], columns: Columns, units: str
) -> Iterable[tuple[float, str]]:
    """Stations every 100 mm (4 in), with a number where there is room, else an empty one."""
    tick = 100.0 if units == "mm" else 4 * INCH_MM
    every_mm = np.array((2, 5, 10, 20, 50) if units == "mm" else (3, 6, 12, 24)) * tick
    first, last = station_mm.min(), station_mm.max()
    px_per_mm = abs(columns(last) - columns(first)) / max(last - first, 1.0)
    every = next((e for e in every_mm if e * px_per_mm > LEAST_NUMBER_PX), every_mm[-1])
    at_zero = [f" (card {c.number})" for c in cards if abs(c.station_mm) < 1.0]
    for i in range(int(np.ceil(first / tick)), int(np.floor(last / tick)) + 1):
        numbered = i % round(every / tick) == 0
        label = axis_number(i * tick, units) + "".join(at_zero[:1] if i == 0 else ())
        yield i * tick, label if numbered else ""


def round_levels(value_mm: np.ndarray, most: int, units: str) -> np.ndarray:
    """Round values, evenly spaced, that cut the span of others (n,) into at most so many parts, mm.

    The first is at or below the least of them, the last above or at the largest.
    """
    seen = np.maximum(value_mm[np.isfinite(value_mm)], 0.0)  # no gap or groove is negative
    unit = 1.0 if units == "mm" else INCH_MM
    steps = (1, 2, 5, 10, 20, 50, 100, 200) if units == "mm" else (0.125, 0.25, 0.5, 1, 2, 5)
    step = unit * next((s for s in steps if s * unit * most >= np.ptp(seen)), steps[-1])
    first, last = np.floor(seen.min() / step), np.ceil(seen.max() / step)
    return np.arange(first, max(last, first + 1) + 1) * step


def axis_number(value_mm: float, units: str) -> str:
    """A number of an axis, whose unit stands elsewhere; inches as fractions where that is exact."""
    if (
        units == "in"
        and abs(value_mm - SIXTEENTH_MM * round(value_mm / SIXTEENTH_MM)) < ROUNDING_MM
    ):
        return format_length(value_mm, units).removesuffix(" in")
    return f"{round(value_mm / (1.0 if units == 'mm' else INCH_MM), 3) + 0.0:g}"
