"""The stations' axis of the picture: from a station to a column, and the numbers along it.

All strips share it, so that a place keeps its column from the photograph down to the numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from gapvision.answer.picture.drawing import (
    BLACK,
    GREY,
    PANEL_LEFT_PX,
    PANEL_RIGHT_PX,
    TICK_PX,
    blank,
    boxed,
    line,
    text,
)
from gapvision.lengths import INCH_MM
from gapvision.measurement import Measurement

MARGIN_PX = 20  # of the panel, left free on either side of the log
LEAST_NUMBER_PX = 145  # from number to number

Columns = Callable[[np.ndarray], np.ndarray]  # stations, mm -> columns, px; or one to one


def even_columns(measurement: Measurement) -> Columns:
    """Evenly spaced columns for the whole log, left to right as the photographs show it."""
    used = [p for p in measurement.photos if p.used]
    ends = [measurement.profile.station_mm, [p.from_mm for p in used], [p.to_mm for p in used]]
    stations = np.concatenate(ends)
    first, last = np.nanmin(stations), np.nanmax(stations)
    if used and all(p.side == "inside" for p in used):
        first, last = last, first
    slope = (PANEL_RIGHT_PX - PANEL_LEFT_PX - 2 * MARGIN_PX) / ((last - first) or 1.0)
    return lambda station_mm: PANEL_LEFT_PX + MARGIN_PX + (station_mm - first) * slope


def station_strip(measurement: Measurement, columns: Columns, units: str) -> np.ndarray:
    """The stations' numbers, and the cards at their nails."""
    strip = blank(134)
    line(strip, [(PANEL_LEFT_PX, 0), (PANEL_RIGHT_PX, 0)], BLACK, 3)
    for station, label in ticks(measurement, columns, measurement.profile.station_mm, units):
        x = columns(station)
        line(strip, [(x, 0), (x, 20 if label else 10)], BLACK, 3)
        text(strip, (x, 24), label, TICK_PX, anchor="mt")
    text(strip, (PANEL_LEFT_PX - 14, 24), units, TICK_PX, anchor="rt")
    text(strip, (PANEL_LEFT_PX - 14, 100), "cards", TICK_PX, anchor="rm")
    free = -np.inf
    for x, number in sorted((columns(c.station_mm), c.number) for c in measurement.cards):
        if PANEL_LEFT_PX <= x <= PANEL_RIGHT_PX:
            line(strip, [(x, 66), (x, 80)], BLACK, 3)
            if x - 32 > free:
                boxed(strip, (x, 100), str(number), TICK_PX, GREY)
                free = x + 32
    return strip


def ticks(
    measurement: Measurement, columns: Columns, station_mm: np.ndarray, units: str
) -> Iterable[tuple[float, str]]:
    """Stations every 100 mm (4 in), with a number where there is room, else an empty one."""
    tick = 100.0 if units == "mm" else 4 * INCH_MM
    every_mm = np.array((2, 5, 10, 20, 50) if units == "mm" else (3, 6, 12, 24)) * tick
    first, last = station_mm.min(), station_mm.max()
    px_per_mm = abs(columns(last) - columns(first)) / max(last - first, 1.0)
    every = next((e for e in every_mm if e * px_per_mm > LEAST_NUMBER_PX), every_mm[-1])
    at_zero = [f" (card {c.number})" for c in measurement.cards if abs(c.station_mm) < 1.0]
    for i in range(int(np.ceil(first / tick)), int(np.floor(last / tick)) + 1):
        numbered = i % round(every / tick) == 0
        label = axis_number(i * tick, units) + "".join(at_zero[:1] if i == 0 else ())
        yield i * tick, label if numbered else ""


def round_step(span_mm: float, most: int, units: str) -> float:
    """The smallest round step that cuts a span into at most so many parts, mm."""
    unit = 1.0 if units == "mm" else INCH_MM
    steps = (1, 2, 5, 10, 20, 50, 100, 200) if units == "mm" else (0.125, 0.25, 0.5, 1, 2, 5)
    return unit * next((step for step in steps if step * unit * most >= span_mm), steps[-1])


def axis_number(value_mm: float, units: str) -> str:
    """A number of an axis, whose unit stands elsewhere."""
    return f"{round(value_mm / (1.0 if units == 'mm' else INCH_MM), 3) + 0.0:g}"
