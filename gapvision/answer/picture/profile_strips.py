"""Gap and groove width by station, each with the band that holds the truth 95 times in 100."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from gapvision.answer.picture.axis import Columns, axis_number, round_step
from gapvision.answer.picture.drawing import (
    BAND,
    BLACK,
    BLUE,
    DECIDING_COLOUR,
    GREY,
    LOWERED_COLOUR,
    PANEL_LEFT_PX,
    PANEL_RIGHT_PX,
    SUBTITLE_PX,
    TEXT_PX,
    TICK_PX,
    WHITE,
    WIDEST_COLOUR,
    Point,
    Rgb,
    blank,
    boxed,
    dashed,
    hatch,
    legend,
    line,
    mark,
    polygon,
    text,
    text_width,
)
from gapvision.answer.text import cover_text, set_to_text
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.phrases import quantity_text
from gapvision.quantity import K95, runs

PLOT_TOP_PX, PLOT_HEIGHT_PX = 112, 340  # the room above holds the title
SAME_PLACE_MM = 30.0  # marks nearer than this would lie on each other


def gap_strip(measurement: Measurement, columns: Columns, units: str) -> np.ndarray:
    """The gap with its widest and its deciding place."""
    profile, gap = measurement.profile, measurement.widest_gap
    title = f"Gap between the logs ({units})"
    strip, row = plot(
        title, profile.station_mm, profile.gap_mm, profile.gap_u_mm, columns, units, (0.0,)
    )
    if (lowered := _lowered(measurement)) is not None:
        line(
            strip, np.c_[columns(measurement.decision.station_mm), row(lowered)], LOWERED_COLOUR, 4
        )
    deciding_line(strip, measurement, columns, PLOT_TOP_PX)
    place = measurement.deciding_place.station_mm
    deciding = np.interp(place, profile.station_mm, profile.gap_mm)
    if np.isfinite(deciding):
        mark(strip, (columns(place), row(deciding) + 22), "diamond")
    x = columns(measurement.widest_place.station_mm)
    mark(strip, (x, row(gap.value_mm) - 19), "triangle")
    _beside(strip, (x, row(gap.value_mm) - 24), quantity_text(gap, units), WIDEST_COLOUR)
    return strip


def groove_strip(measurement: Measurement, columns: Columns, units: str) -> np.ndarray:
    """The groove width at the recommended setting, and the wanted cover."""
    profile, cover = measurement.profile, measurement.cover_mm
    strip, row = plot(
        f"Groove width when set to {set_to_text(measurement, units)} ({units})",
        profile.station_mm,
        profile.groove_width_mm,
        profile.groove_width_u_mm,
        columns,
        units,
        (cover, cover - 0.4 * np.nanmax(profile.groove_width_mm - cover)),  # room for a number
    )
    deciding_line(strip, measurement, columns, PLOT_TOP_PX)
    dashed(strip, (PANEL_LEFT_PX, row(cover)), (PANEL_RIGHT_PX, row(cover)), BLACK, 4, 26)
    narrowest = measurement.narrowest_groove.value_mm
    x = columns(measurement.narrowest_place.station_mm)
    if _narrowest_elsewhere(measurement):
        mark(strip, (x, row(narrowest)), "square")
    place = measurement.deciding_place.station_mm
    deciding = np.interp(place, profile.station_mm, profile.groove_width_mm)
    if np.isfinite(deciding):
        mark(strip, (columns(place), row(deciding)), "diamond")
    _beside(strip, (x, strip.shape[0] - 52), f"narrowest {format_length(narrowest, units)}", WHITE)
    return strip


def chart_legend(measurement: Measurement, units: str) -> np.ndarray:
    """What band, dashes and hatching mean."""
    items = [
        ("band", "holds the truth 95 times in 100"),
        ("dashes", f"cover wanted, {cover_text(measurement, units)}"),
        ("hatching", "not seen"),
    ]
    if _narrowest_elsewhere(measurement):
        items.append(("square", "narrowest groove"))
    if _lowered(measurement) is not None:
        items.append((LOWERED_COLOUR, "gap with the notches deepened"))
    return legend(items)


def deciding_line(strip: np.ndarray, measurement: Measurement, columns: Columns, top: int) -> None:
    """A dotted line through the deciding place, to follow it from strip to strip."""
    x = columns(measurement.deciding_place.station_mm)
    dashed(strip, (x, top), (x, strip.shape[0]), DECIDING_COLOUR, 4, 10)


def _lowered(m: Measurement) -> np.ndarray | None:
    """The gap (n,) once the notches are as deep as advised; None where lowering is not advised."""
    return (
        None
        if m.decision is None or m.decision.lowering.ready
        else m.decision.lowering.after.gap_mm
    )


def _narrowest_elsewhere(m: Measurement) -> bool:
    apart = m.narrowest_place.station_mm - m.deciding_place.station_mm
    return abs(apart) > SAME_PLACE_MM


def plot(
    title: str,
    at_mm: np.ndarray,
    value_mm: np.ndarray,
    u_mm: np.ndarray,
    columns: Columns,
    units: str,
    include_mm: Iterable[float],
) -> tuple[np.ndarray, Callable[[float], float]]:
    """A strip with a curve over ``at_mm`` (n,), its band, and the way from a value to its row."""
    top, bottom = PLOT_TOP_PX, PLOT_TOP_PX + PLOT_HEIGHT_PX
    strip = blank(bottom + 14)
    low, high = value_mm - K95 * u_mm, value_mm + K95 * u_mm
    seen = np.concatenate([low, high, np.fromiter(include_mm, float)])
    seen = np.maximum(seen[np.isfinite(seen)], 0.0)  # neither a gap nor a groove is negative
    step = round_step(np.ptp(seen), 5, units)
    floor, ceiling = np.floor(seen.min() / step) * step, np.ceil(seen.max() / step) * step
    ceiling = max(ceiling, floor + step)

    def row(value: float) -> float:
        return bottom - (value - floor) / (ceiling - floor) * PLOT_HEIGHT_PX

    for value in np.arange(floor, ceiling + step / 2, step):
        line(strip, [(PANEL_LEFT_PX, row(value)), (PANEL_RIGHT_PX, row(value))], GREY, 2)
        number = axis_number(value, units)
        text(strip, (PANEL_LEFT_PX - 14, row(value)), number, TICK_PX, anchor="rm")
    text(strip, (PANEL_LEFT_PX, 36), title, SUBTITLE_PX, anchor="lm", bold=True)
    x = columns(at_mm)
    finite = np.isfinite(low + high)
    for run in runs(finite):
        edge = np.r_[np.c_[x[run], row(low[run])], np.c_[x[run], row(high[run])][::-1]]
        edge[:, 1] = np.clip(edge[:, 1], top, bottom)
        polygon(strip, edge, BAND)
    for run in runs(finite):
        line(strip, np.c_[x[run], row(value_mm[run])], BLUE, 5)
    for run in runs(~finite):
        # From the last station seen to the next one, so that no empty sliver is left between.
        left, right = np.sort(x[[max(run.start - 1, 0), min(run.stop, len(x) - 1)]])
        hatch(strip, left, right, top, bottom)
        if right - left > 190:
            boxed(strip, ((left + right) / 2, (top + bottom) / 2), "not seen", TICK_PX, WHITE)
    return strip, row


def _beside(strip: np.ndarray, point: Point, words: str, colour: Rgb) -> None:
    """A boxed number right of a point, or left of it where the panel ends."""
    half = text_width(words, TEXT_PX) / 2 + 16
    x = point[0] + half + 30
    if x + half > PANEL_RIGHT_PX:
        x = point[0] - half - 30
    boxed(strip, (x, point[1]), words, TEXT_PX, colour)
