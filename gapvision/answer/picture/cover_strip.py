"""The setting against the cover: a strip of the picture where other covers were asked for."""

from __future__ import annotations

import numpy as np

from gapvision.answer.picture.axis import Columns, Mm, axis_number, round_levels
from gapvision.answer.picture.drawing import (
    BLACK,
    PANEL_LEFT_PX,
    PANEL_RIGHT_PX,
    TEXT_PX,
    TICK_PX,
    WHITE,
    Strip,
    blank,
    boxed,
    line,
    mark,
    stack,
    text,
    text_width,
)
from gapvision.answer.picture.profile_strips import plot
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.quantity import K95

MARGIN_PX = 110  # of the panel, left free beside the smallest and the largest cover
ABOVE_PX = 52  # a number over its mark
BOX_PX = 40  # of a number, beside its text


def cover_strip(measurement: Measurement, units: str) -> Strip:
    """Setting by cover with its band, and what the points are set to; empty where none was asked."""
    if measurement.decision is None or not measurement.decision.covers.asked:
        return blank(0)
    rows = measurement.decision.covers.rows
    cover = np.array([r.cover_mm for r in rows])
    setting = np.array([r.setting.value_mm for r in rows])
    half = np.array([r.setting.U95_mm for r in rows])
    span = (PANEL_RIGHT_PX - PANEL_LEFT_PX - 2 * MARGIN_PX) / max(float(np.ptp(cover)), 1.0)

    def columns(cover_mm: Mm) -> Mm:
        return PANEL_LEFT_PX + MARGIN_PX + (cover_mm - cover[0]) * span

    title = f"Setting for other covers, and what to set ({units})"
    room = float(np.max(setting + half) + 0.35 * (np.ptp(setting) + 4.0))  # for the numbers
    levels = round_levels(np.r_[setting - half, setting + half, room], 5, units)
    strip, row = plot(title, cover, setting, half / K95, columns, units, levels)
    axis = blank(70)
    line(axis, [(PANEL_LEFT_PX, 0), (PANEL_RIGHT_PX, 0)], BLACK, 4)
    text(axis, (PANEL_LEFT_PX - 14, 36), "cover", TICK_PX, anchor="end")
    bottom = strip.height - 14
    wide = max(text_width(format_length(r.set_to_mm, units), TEXT_PX) for r in rows) + BOX_PX
    told = _told(cover, measurement.cover_mm, columns, wide)
    for r in rows:
        x = columns(r.cover_mm)
        if r.cover_mm == measurement.cover_mm:
            line(strip, [(x, row(r.setting.value_mm)), (x, bottom)], BLACK, 5, dash=26)
        mark(strip, (x, row(r.setting.value_mm)), "square")
        line(axis, [(x, 0), (x, 14)], BLACK, 4)
        if r.cover_mm not in told:
            continue
        at = row(r.setting.value_mm + r.setting.U95_mm) - ABOVE_PX
        boxed(strip, (x, at), format_length(r.set_to_mm, units), TEXT_PX, WHITE)
        text(axis, (x, 40), axis_number(r.cover_mm, units), TICK_PX)
    return stack([strip, axis])


def _told(cover_mm: np.ndarray, wanted_mm: float, columns: Columns, wide_px: float) -> set[float]:
    """The covers that are numbered: the wanted one, and from the left those clear of others."""
    told = {wanted_mm}
    for cover in cover_mm:
        if all(abs(columns(cover) - columns(other)) >= wide_px for other in told):
            told.add(float(cover))
    return told
