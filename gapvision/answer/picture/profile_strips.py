"""Gap and groove width by station, each with the band that holds the truth 95 times in 100."""

from __future__ import annotations

import numpy as np

from gapvision.answer.picture.axis import Columns, Mm, Scale, axis_number, round_levels
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
    Strip,
    blank,
    boxed,
    hatch,
    legend,
    line,
    mark,
    polygon,
    text,
    text_width,
)
from gapvision.answer.verdict_text import cover_text, set_to_text
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.phrases import quantity_text
from gapvision.quantity import K95, runs

PLOT_TOP_PX, PLOT_HEIGHT_PX = 112, 340  # the room above holds the title
SAME_PLACE_MM = 30.0  # marks nearer than this would lie on each other

Row = Scale  # from values


def gap_strip(m: Measurement, columns: Columns, units: str, height: int = PLOT_HEIGHT_PX) -> Strip:
    """The gap with its widest and its deciding place, and with the notches deepened."""
    levels = round_levels(np.append(gap_ends(m), 0.0), 5, units)
    strip, row = gap_plot(m, f"Gap between the logs ({units})", columns, units, levels, height)
    lowered = _lowered(m)
    if m.decision is not None and lowered is not None:
        line(strip, np.c_[columns(m.decision.station_mm), row(lowered)], LOWERED_COLOUR, 5)
    point = columns(m.widest_place.station_mm), row(m.widest_gap.value_mm) - 24
    _beside(strip, point, quantity_text(m.widest_gap, units), WIDEST_COLOUR)
    return strip


def gap_plot(
    m: Measurement, title: str, columns: Columns, units: str, levels: np.ndarray, height: int
) -> tuple[Strip, Row]:
    """The gap with the marks of both places, and the way from a gap to its row."""
    p, deciding = m.profile, m.deciding_place.station_mm
    strip, row = plot(title, p.station_mm, p.gap_mm, p.gap_u_mm, columns, units, levels, height)
    deciding_line(strip, m, columns, PLOT_TOP_PX)
    if m.verdict.has_setting:
        gap = np.interp(deciding, p.station_mm, p.gap_mm)
        mark(strip, (columns(deciding), row(gap) + 22), "diamond")
    widest = columns(m.widest_place.station_mm), row(m.widest_gap.value_mm) - 19
    mark(strip, widest, "triangle")
    return strip, row


def gap_ends(m: Measurement) -> np.ndarray:
    """All gaps that `gap_strip` draws, mm: both ends of the band, the widest and the lowered."""
    low, high = _band(m.profile.gap_mm, m.profile.gap_u_mm)
    lowered = _lowered(m)
    return np.r_[low, high, m.widest_gap.value_mm, [] if lowered is None else lowered]


def groove_strip(
    m: Measurement, columns: Columns, units: str, height: int = PLOT_HEIGHT_PX
) -> Strip:
    """The groove width at the recommended setting, and the wanted cover."""
    p, cover = m.profile, m.cover_mm
    room = cover - 0.4 * np.nanmax(p.groove_width_mm - cover)  # for a number
    low, high = _band(p.groove_width_mm, p.groove_width_u_mm)
    strip, row = plot(
        f"Groove width when set to {set_to_text(m, units)} ({units})",
        p.station_mm,
        p.groove_width_mm,
        p.groove_width_u_mm,
        columns,
        units,
        round_levels(np.r_[low, high, cover, room], 5, units),
        height,
    )
    deciding_line(strip, m, columns, PLOT_TOP_PX)
    line(strip, [(PANEL_LEFT_PX, row(cover)), (PANEL_RIGHT_PX, row(cover))], BLACK, 5, dash=26)
    narrowest = m.narrowest_groove.value_mm
    x = columns(m.narrowest_place.station_mm)
    if _narrowest_elsewhere(m):
        mark(strip, (x, row(narrowest)), "square")
    place = m.deciding_place.station_mm
    deciding = np.interp(place, p.station_mm, p.groove_width_mm)
    mark(strip, (columns(place), row(deciding)), "diamond")
    _beside(strip, (x, strip.height - 52), f"narrowest {format_length(narrowest, units)}", WHITE)
    return strip


def chart_legend(m: Measurement, units: str, *, marks: bool) -> Strip:
    """What band, dashes and hatching mean, and the marks where no other legend tells them."""
    items: list[tuple[Rgb | str, str]] = [
        ("band", "holds the truth 95 times in 100"),
        ("hatching", "not seen"),
    ]
    if m.verdict.has_setting:
        items.insert(1, ("dashes", f"cover wanted, {cover_text(m, units)}"))
    if marks:
        items.append(("triangle", "widest gap"))
    if marks and m.verdict.has_setting:
        items.append(("diamond", "decides the setting"))
    if m.verdict.has_setting and _narrowest_elsewhere(m):
        items.append(("square", "narrowest groove"))
    if _lowered(m) is not None:
        items.append((LOWERED_COLOUR, "gap with the notches deepened"))
    return legend(items)


def deciding_line(strip: Strip, m: Measurement, columns: Columns, top: int) -> None:
    """A dotted line through the deciding place, to follow it from strip to strip; none of no setting."""
    if not m.verdict.has_setting:
        return
    x = columns(m.deciding_place.station_mm)
    line(strip, [(x, top), (x, strip.height)], DECIDING_COLOUR, 5, dash=10)


def _lowered(m: Measurement) -> np.ndarray | None:
    """The gap (n,) once the notches are as deep as advised; None where it is not advised or not told."""
    lowering = m.lowering
    if lowering is None or lowering.ready or not len(lowering.after.gap_mm):
        return None
    return lowering.after.gap_mm


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
    levels_mm: np.ndarray,
    height: int = PLOT_HEIGHT_PX,
) -> tuple[Strip, Row]:
    """A strip with a curve over ``at_mm`` (n,), its band, and the way from a value to its row.

    It reaches from the first to the last of the levels that are ruled and numbered.
    """
    top, bottom = PLOT_TOP_PX, PLOT_TOP_PX + height
    strip = blank(bottom + 14)
    floor, ceiling = levels_mm[[0, -1]]

    def row(value: Mm) -> Mm:
        return bottom - (value - floor) / (ceiling - floor) * height

    for value in levels_mm:
        line(strip, [(PANEL_LEFT_PX, row(value)), (PANEL_RIGHT_PX, row(value))], GREY, 3)
        number = axis_number(value, units)
        text(strip, (PANEL_LEFT_PX - 14, row(value)), number, TICK_PX, anchor="end")
    text(strip, (PANEL_LEFT_PX, 36), title, SUBTITLE_PX, anchor="start", bold=True)
    x = columns(at_mm)
    low, high = (np.clip(row(end), top, bottom) for end in _band(value_mm, u_mm))
    finite = np.isfinite(low + high)
    for run in runs(finite):
        polygon(strip, np.r_[np.c_[x[run], low[run]], np.c_[x[run], high[run]][::-1]], BAND)
    for run in runs(finite):
        line(strip, np.c_[x[run], row(value_mm[run])], BLUE, 6)
    for run in runs(~finite):
        # From the last station seen to the next one, so that no empty sliver is left between.
        left, right = np.sort(x[[max(run.start - 1, 0), min(run.stop, len(x) - 1)]])
        hatch(strip, left, right, top, bottom)
        if right - left > 200:
            boxed(strip, ((left + right) / 2, (top + bottom) / 2), "not seen", TICK_PX, WHITE)
    return strip, row


def _band(value_mm: np.ndarray, u_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The ends of the band that holds the truth 95 times in 100, mm."""
    return value_mm - K95 * u_mm, value_mm + K95 * u_mm


def _beside(strip: Strip, point: Point, words: str, colour: Rgb) -> None:
    """A boxed number right of a point, or left of it where the panel ends."""
    half = text_width(words, TEXT_PX) / 2 + 16
    x = point[0] + half + 30
    if x + half > PANEL_RIGHT_PX:
        x = point[0] - half - 30
    boxed(strip, (x, point[1]), words, TEXT_PX, colour)
