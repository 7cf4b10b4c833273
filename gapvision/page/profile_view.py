"""Gap and groove along the log as a drawing, and as readings place by place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gapvision.answer.picture.axis import Columns, Mm, Scale, axis_number, round_levels
from gapvision.answer.verdict_text import cover_text, set_to_text
from gapvision.joint.photo_results import place_at
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.phrases import joined, place_text, quantity_text, where_text
from gapvision.quantity import K95, Quantity, runs

# Units of the drawing, which is scaled to the screen: about px of a phone held upright.
WIDTH, LEFT, RIGHT = 360, 44, 354
FIRST_TITLE, TITLE_ROOM, PLOT_HEIGHT, APART = 16, 8, 118, 30
BELOW = 60  # the cards, and the mark of what decides
LEVELS = 4
ROOM = 0.15  # below the wanted cover, so that its dashes stand clear of the axis
NOT_SEEN = "not seen"


@dataclass(frozen=True, slots=True)
class Plot:
    """One curve: paths of the drawing, its levels as (y, number), and where the wanted cover lies."""

    title: str
    title_y: float
    top: float
    height: float
    levels: tuple[tuple[float, str], ...]
    curves: tuple[str, ...]
    bands: tuple[str, ...]
    wanted_y: float | None = None


@dataclass(frozen=True, slots=True)
class ProfileView:
    """A profile as the screen draws and reads it.

    ``readings`` hold a row for each station: x, a y for each plot (null where not seen), what is told
    there in large letters, and the line below it.
    """

    plots: tuple[Plot, ...]
    readings: tuple[tuple, ...]
    unseen: tuple[tuple[float, float], ...]
    cards: tuple[tuple[float, int], ...]
    decides_x: float | None
    start: int
    words: str
    legend: str
    bottom: float
    height: float
    top: float = FIRST_TITLE + TITLE_ROOM
    width: float = WIDTH
    left: float = LEFT
    right: float = RIGHT


def profile_view(m: Measurement, units: str) -> ProfileView:
    """The profile of an answer; the groove only where there is a setting.

    Parameters
    ----------
    m : Measurement
    units : {"mm", "in"}
    """
    p, has_setting = m.profile, m.verdict.has_setting
    x = _columns(p.station_mm)(p.station_mm)
    gap_levels = _levels(p.gap_mm, p.gap_u_mm, np.array([0.0]), units)
    gap = _plot(f"Gap ({units})", p.gap_mm, p.gap_u_mm, x, gap_levels, FIRST_TITLE, units)
    plots, rows = [gap[0]], [gap[1](p.gap_mm)]
    if has_setting:
        below = m.cover_mm - ROOM * np.nanmax(p.groove_width_mm - m.cover_mm)
        levels = _levels(p.groove_width_mm, p.groove_width_u_mm, np.array([below]), units)
        title = f"Groove when set to {set_to_text(m, units)} ({units})"
        title_y = gap[0].top + PLOT_HEIGHT + APART
        groove = _plot(
            title, p.groove_width_mm, p.groove_width_u_mm, x, levels, title_y, units, m.cover_mm
        )
        plots.append(groove[0])
        rows.append(groove[1](p.groove_width_mm))
    bottom = plots[-1].top + PLOT_HEIGHT
    columns = _columns(p.station_mm)
    place = m.deciding_place if has_setting else m.widest_place
    return ProfileView(
        tuple(plots),
        _readings(m, units, x, rows),
        tuple(_unseen(p.gap_mm, x)),
        tuple(
            (float(columns(c.station_mm)), c.number)
            for c in m.cards
            if c.side == "outside" and LEFT <= columns(c.station_mm) <= RIGHT
        ),
        float(columns(place.station_mm)) if has_setting else None,
        int(np.argmin(np.abs(p.station_mm - place.station_mm))),
        _words(m, units),
        _legend(m, units),
        bottom,
        bottom + (BELOW if has_setting else 28),
    )


def _columns(station_mm: np.ndarray) -> Columns:
    first, last = station_mm[[0, -1]]
    scale = (RIGHT - LEFT - 8) / ((last - first) or 1.0)

    def columns(at: Mm) -> Mm:
        return np.round(LEFT + 4 + (at - first) * scale, 1)

    return columns


def _levels(value: np.ndarray, u: np.ndarray, beside: np.ndarray, units: str) -> np.ndarray:
    ends = np.r_[value - K95 * u, value + K95 * u, beside]
    return round_levels(ends, LEVELS, units)


def _plot(
    title: str, value: np.ndarray, u: np.ndarray, x: np.ndarray, levels: np.ndarray,
    title_y: float, units: str, wanted: float | None = None,
) -> tuple[Plot, Scale]:  # fmt: skip
    top = title_y + TITLE_ROOM
    floor, ceiling = levels[[0, -1]]

    def row(mm: Mm) -> Mm:
        share = np.clip((mm - floor) / (ceiling - floor), 0.0, 1.0)
        return np.round(top + PLOT_HEIGHT * (1.0 - share), 1)

    shown = runs(np.isfinite(value))
    low, high = row(value - K95 * u), row(value + K95 * u)
    curves = tuple(_path(x[s], row(value[s])) for s in shown)
    bands = tuple(
        _path(np.r_[x[s], x[s][::-1]], np.r_[low[s], high[s][::-1]]) + "Z"
        for s in runs(np.isfinite(low + high))
    )
    marks = tuple((float(row(mm)), axis_number(mm, units)) for mm in levels)
    wanted_y = None if wanted is None else float(row(wanted))
    return Plot(title, title_y, top, PLOT_HEIGHT, marks, curves, bands, wanted_y), row


def _path(x: np.ndarray, y: np.ndarray) -> str:
    return "M" + "L".join(f"{a:g} {b:g}" for a, b in zip(x, y, strict=True))


def _unseen(value: np.ndarray, x: np.ndarray) -> list[tuple[float, float]]:
    """Left end and width of each stretch that no photograph shows."""
    out = []
    for run in runs(~np.isfinite(value)):
        left, right = x[max(run.start - 1, 0)], x[min(run.stop, len(x) - 1)]
        out.append((float(left), float(np.round(right - left, 1))))
    return out


def _readings(m: Measurement, units: str, x: np.ndarray, rows: Sequence[np.ndarray]) -> tuple:
    p, out = m.profile, []
    for i, station in enumerate(p.station_mm):
        where = joined(where_text(place_at(m.cards, float(station)), units))
        seen = bool(np.isfinite(p.gap_mm[i]))
        told = _told(m, i, units) if seen else (f"Gap {NOT_SEEN}", "")
        ys = [float(row[i]) if seen else None for row in rows]
        out.append((float(x[i]), ys, where, *map(joined, told)))
    return tuple(out)


def _told(m: Measurement, i: int, units: str) -> tuple[str, str]:
    """The gap at a station, and the groove there with what is needed for it."""
    p = m.profile
    gap = f"Gap {_with_half_width(p.gap_mm[i], p.gap_u_mm[i], units)}"
    if not m.verdict.has_setting:
        return gap, ""
    groove = _with_half_width(p.groove_width_mm[i], p.groove_width_u_mm[i], units)
    return gap, f"Groove {groove}"


def _with_half_width(value: float, u: float, units: str) -> str:
    return quantity_text(Quantity(float(value), float(u), float(K95 * u)), units)


def _words(m: Measurement, units: str) -> str:
    """The drawing in words, for those who do not see it."""
    gap = m.profile.gap_mm[np.isfinite(m.profile.gap_mm)]
    low, high = (format_length(float(mm), units) for mm in (gap.min(), gap.max()))
    widest = place_text(m.widest_place, units)
    text = f"Gap along the log: {low} to {high}, widest {widest}."
    if m.verdict.has_setting:
        groove = format_length(m.narrowest_groove.value_mm, units)
        text += f" Groove: narrowest {groove}, {place_text(m.narrowest_place, units)}."
    return text


def _legend(m: Measurement, units: str) -> str:
    parts = ["The band holds the truth 95 times in 100."]
    if m.verdict.has_setting:
        parts.append(f"Dashes: the cover wanted, {cover_text(m, units)}.")
    if not np.isfinite(m.profile.gap_mm).all():
        parts.append(f"Hatched: {NOT_SEEN}.")
    return " ".join(parts)
