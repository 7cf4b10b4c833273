"""What the photographs cannot tell at some stretch of the joint, as the photograph or reading to add.

Why each is so: docs/model.md, "Closed forms" (duality) and "The model".
"""

from __future__ import annotations

import numpy as np

from gapvision.advice.caution import Caution, capped
from gapvision.advice.findings import (
    HEIGHTS_APART,
    LONG_MM,
    STEEPER,
    STEEPEST,
    WIDE_U95_MM,
    Findings,
    slope_range,
    slopes,
    stretches,
    traced,
)
from gapvision.quantity import K95

HELD = 0.95  # of the draws: the place that decides lies in what is named
BLUR_MM = 200.0  # draws this near each other mean one place
MERGE_MM, LEAST_MM = 150.0, 200.0  # of stretches that could decide: one photograph serves both
NEARLY_ALL = 0.6

SHORT_MM = 60.0  # shorter stretches are not worth a photograph
# Of half the cover: touched this far out the radius is measured; this near the crown even a stated
# diameter leaves the groove's edge to the circle.
ENOUGH, TOO_LITTLE = 0.8, 0.5
# Radius fitted over stated, and the excess in u; ovality of 3 % gives 1.09.
FLAT, FLAT_U = 1.12, 2.4


def undecided(f: Findings) -> list[Caution]:
    """The stretches that could decide, with the photographs to take there.

    Where those that one height alone shows hold less than half of it, the rest is badly known too.
    """
    named = could_decide(f)
    if sum(_share(f, *c.stretch_mm) for c in named) >= 0.5:
        return named
    likely = _likely(f)
    several = likely & (slope_range(slopes(f.photos), traced(f)[0]) >= HEIGHTS_APART)
    return named + wide(f, several if named and several.any() else likely)


def could_decide(f: Findings) -> list[Caution]:
    """On a long log: the stretches to photograph from above and below, for they may decide.

    Notes
    -----
    Errors common to the whole log do not move the place that decides, so that not each station's
    uncertainty counts but how often, over the draws, the largest need is there: named are the
    likeliest places that together hold it in 95 of 100 draws. To them come those whose need with its
    u reaches the largest less its own, for a wrongly labelled outline is an error of one place. What
    was seen from several heights is known.
    """
    t = slopes(f.photos)
    known = np.ptp(t) >= HEIGHTS_APART and f.setting.U95_mm <= WIDE_U95_MM
    if f.length_mm <= LONG_MM or known:
        return []
    open_ = _likely(f) & (slope_range(t, traced(f)[0]) < HEIGHTS_APART)
    found = [_padded(f, s) for s in stretches(f, open_, MERGE_MM)]
    facts = {"height_mm": STEEPER * f.distance_mm}
    if sum(b - a for a, b in found) > NEARLY_ALL * f.length_mm:
        return [Caution("could-decide", found[0][0], found[-1][1], facts=facts)]
    found.sort(key=lambda s: -_share(f, *s))
    return capped([
        Caution(
            "could-decide", a, b,
            facts=facts | {"stand_mm": 0.5 * (a + b), "in_steps": b - a > f.distance_mm},
        )
        for a, b in found
    ])  # fmt: skip


def _likely(f: Findings) -> np.ndarray:
    step = float(f.station_mm[1] - f.station_mm[0])
    n = max(1, 2 * int(BLUR_MM / 2 / step) + 1)
    if n > len(f.decides):
        return f.shown.copy()
    dense = np.convolve(f.decides, np.ones(n), "same")
    order = np.argsort(-dense, kind="stable")
    count = int(np.searchsorted(np.cumsum(f.decides[order]), HELD)) + 1
    out = np.zeros(len(dense), bool)
    out[order[:count]] = True
    need, u = f.profile.setting_needed_mm, f.profile.setting_needed_u_mm
    out |= np.nan_to_num(need + u, nan=-np.inf) >= np.nanmax(need - u)
    return out & f.shown


def _share(f: Findings, a: float, b: float) -> float:
    return float(f.decides[(f.station_mm >= a) & (f.station_mm <= b)].sum())


def _padded(f: Findings, stretch: tuple[float, float]) -> tuple[float, float]:
    a, b = stretch
    more = max(0.0, 0.5 * (LEAST_MM - (b - a)))
    return max(a - more, float(f.station_mm[0])), min(b + more, float(f.station_mm[-1]))


def near_crown(f: Findings) -> list[Caution]:
    """Stretches seen from several heights, all of which touch a log too near its crown for the cover."""
    t, seen = slopes(f.photos), traced(f)[0]
    half = 0.5 * f.options.cover_mm
    steepest = np.where(seen, np.abs(t)[:, None], 0.0).max(0)
    several = slope_range(t, seen) >= HEIGHTS_APART
    reach, short = {}, {}
    for log, r in f.radii.items():
        reach[log] = r.fitted_mm * steepest / np.hypot(1.0, steepest)
        enough = (ENOUGH if r.stated_mm is None else TOO_LITTLE) * half
        short[log] = several & f.shown & (reach[log] < enough)
    out = []
    for a, b in stretches(f, np.any(list(short.values()), axis=0), MERGE_MM, SHORT_MM):
        here = (f.station_mm >= a) & (f.station_mm <= b)
        logs = [log for log in f.radii if short[log][here].any()]
        radius = np.mean([np.mean(f.radii[log].fitted_mm[here]) for log in logs])
        touching = half / np.sqrt(max(radius**2 - half**2, 1.0))
        facts = {
            "logs": logs,
            "within_mm": max(float(np.median(reach[log][here])) for log in logs),
            "half_cover_mm": half,
            "height_mm": f.distance_mm * float(np.clip(touching, STEEPER, STEEPEST)),
            "untaped": any(f.radii[log].stated_mm is None for log in logs),
        }
        out.append(Caution("near-crown", a, b, facts=facts))
    return capped(out)


def wide(f: Findings, likely: np.ndarray) -> list[Caution]:
    """Seen from several heights, and known badly all the same: what would narrow it, and where.

    ``likely`` are the stations (n,), bool, one of which decides.
    """
    if np.ptp(slopes(f.photos)) < HEIGHTS_APART or f.setting.U95_mm <= WIDE_U95_MM:
        return []
    at = f.station_mm[likely]
    a, b = _padded(f, (float(at[0]), float(at[-1])))
    facts = {"u95_mm": f.setting.U95_mm, "height_mm": STEEPER * f.distance_mm}
    return [Caution("wide", a, b, facts=facts)]


def one_photo(f: Findings) -> list[Caution]:
    """Stretches that one photograph alone shows, though there are several heights."""
    t = slopes(f.photos)
    if len(f.photos) < 2 or np.ptp(t) < HEIGHTS_APART:
        return []
    if f.length_mm > LONG_MM:
        return []  # between the stretches that could decide one height is as planned
    seen, _, _ = traced(f)
    alone = (seen.sum(0) == 1) & f.shown & _matters(f) & ~_closed(f)
    out = [
        Caution("one-photo", a, b, facts={"photo": photo.name})
        for i, photo in enumerate(f.photos)
        for a, b in stretches(f, alone & seen[i], SHORT_MM, SHORT_MM)
    ]
    return capped(out)


def gap_shut(f: Findings) -> list[Caution]:
    """Stretches that only level photographs read, for from above and below the gap looks shut."""
    seen, shut, _ = traced(f)
    closed = _closed(f)
    mask, out = closed & f.shown & seen.any(0) & _matters(f), []
    for a, b in stretches(f, mask, SHORT_MM, SHORT_MM):
        here = (f.station_mm >= a) & (f.station_mm <= b) & closed
        photos = [p.name for p, s in zip(f.photos, shut, strict=True) if s[here].mean() > 0.5]
        out.append(Caution("gap-shut", a, b, facts={"photos": photos}))
    return capped(out)


def _closed(f: Findings) -> np.ndarray:
    """Stations that would be seen from several heights if the gap did not look shut."""
    t = slopes(f.photos)
    seen, shut, _ = traced(f)
    return (slope_range(t, seen) < HEIGHTS_APART) & (slope_range(t, seen | shut) >= HEIGHTS_APART)


def hollow(f: Findings) -> list[Caution]:
    """Stretches where a log is much flatter across than stated: a hollow may lie under the flat.

    Notes
    -----
    Lines of sight touch only a section's convex hull. Over a hollow they all touch its two rims, as
    if the log were flat there; that shows only where heights differ, and against a stated diameter.
    """
    several = slope_range(slopes(f.photos), traced(f)[0]) >= HEIGHTS_APART
    out = []
    for log, r in f.radii.items():
        if r.stated_mm is None:
            continue
        over = r.fitted_mm - r.stated_mm
        flat = (r.fitted_mm > FLAT * r.stated_mm) & (over > FLAT_U * r.u_mm) & several & f.shown
        for a, b in stretches(f, flat, MERGE_MM, SHORT_MM):
            out.append(Caution("hollow", a, b, facts={"log": log}))
    return capped(out)


def _matters(f: Findings) -> np.ndarray:
    """Stations whose need, with its uncertainty, reaches the setting's."""
    p = f.profile
    reach = p.setting_needed_mm + K95 * p.setting_needed_u_mm
    return np.nan_to_num(reach, nan=-np.inf) >= f.setting.value_mm - f.setting.U95_mm
