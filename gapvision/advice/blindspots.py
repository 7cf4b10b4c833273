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
    WIDE_U95_MM,
    Findings,
    place,
    slopes,
    speaker,
    spread,
    stretches,
    traced,
)
from gapvision.lengths import format_length
from gapvision.phrases import listed
from gapvision.quantity import K95

HELD = 0.95  # of the draws: the place that decides lies in what is named
BLUR_MM = 200.0  # draws this near each other mean one place
MERGE_MM, LEAST_MM = 150.0, 200.0  # of stretches that could decide: one photograph serves both
NEARLY_ALL = 0.6

SHORT_MM = 60.0  # shorter stretches are not worth a photograph
# Of half the cover: touched this far out the radius is measured; this near the crown even a stated
# diameter leaves the groove's edge to the circle.
ENOUGH, TOO_LITTLE = 0.8, 0.5
STEEPEST = 0.3  # of the distance: past it a usual gap looks shut
FLAT, FLAT_U = (
    1.12,
    2.4,
)  # radius fitted over stated, and the excess in u; ovality of 3 % gives 1.09


def undecided(f: Findings) -> list[Caution]:
    """The stretches that could decide, with the photographs to take there.

    Where those that one height alone shows hold less than half of it, the rest is badly known too.
    """
    if f.decides is None:
        return wide(f, f.shown)
    named = could_decide(f)
    if sum(_share(f, c.from_mm, c.to_mm) for c in named) >= 0.5:
        return named
    likely = _likely(f)
    several = likely & (spread(slopes(f.photos), traced(f)[0]) >= HEIGHTS_APART)
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
    if f.decides is None or f.length_mm <= LONG_MM or known:
        return []
    open_ = _likely(f) & (spread(t, traced(f)[0]) < HEIGHTS_APART)
    found = [_padded(f, s) for s in stretches(f, open_, MERGE_MM)]
    say, d = speaker(f), f.distance_mm
    heights = f"from {say(STEEPER * d)} above and below the gap"
    if sum(b - a for a, b in found) > NEARLY_ALL * f.length_mm:
        a, b = found[0][0], found[-1][1]
        text = (
            f"The setting could be decided nearly anywhere from {say(a)} to {say(b)}: photograph "
            f"all of it {heights}."
        )
        return [Caution("could-decide", text, a, b)]
    found.sort(key=lambda s: -_share(f, *s))
    out = [
        Caution(
            "could-decide",
            f"The setting could be decided from {say(a)} to {say(b)}: photograph this stretch "
            f"{heights}, standing {place(f, 0.5 * (a + b))}{_steps(f, a, b)}.",
            a, b,
        )
        for a, b in found
    ]  # fmt: skip
    return capped(out)


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
    if f.profile is not None:
        need, u = f.profile.setting_needed_mm, f.profile.setting_needed_u_mm
        out |= np.nan_to_num(need + u, nan=-np.inf) >= np.nanmax(need - u)
    return out & f.shown


def _share(f: Findings, a: float, b: float) -> float:
    return float(f.decides[(f.station_mm >= a) & (f.station_mm <= b)].sum())


def _padded(f: Findings, stretch: tuple[float, float]) -> tuple[float, float]:
    a, b = stretch
    more = max(0.0, 0.5 * (LEAST_MM - (b - a)))
    return max(a - more, float(f.station_mm[0])), min(b + more, float(f.station_mm[-1]))


def _steps(f: Findings, a: float, b: float) -> str:
    return " and in steps to both sides" if b - a > f.distance_mm else ""


def near_crown(f: Findings) -> list[Caution]:
    """Stretches seen from several heights, all of which touch a log too near its crown for the cover."""
    if f.radii is None:
        return []
    t, seen = slopes(f.photos), traced(f)[0]
    half = 0.5 * f.options.cover_mm
    steepest = np.where(seen, np.abs(t)[:, None], 0.0).max(0)
    several = spread(t, seen) >= HEIGHTS_APART
    reach, short = {}, {}
    for log, r in f.radii.items():
        reach[log] = r.fitted_mm * steepest / np.hypot(1.0, steepest)
        enough = (ENOUGH if r.stated_mm is None else TOO_LITTLE) * half
        short[log] = several & f.shown & (reach[log] < enough)
    say, out, tape = speaker(f), [], ", and tape the logs' diameters"
    for a, b in stretches(f, np.any(list(short.values()), axis=0), MERGE_MM, SHORT_MM):
        here = (f.station_mm >= a) & (f.station_mm <= b)
        logs = [log for log in f.radii if short[log][here].any()]
        within = max(float(np.median(reach[log][here])) for log in logs)
        radius = np.mean([np.mean(f.radii[log].fitted_mm[here]) for log in logs])
        touching = half / np.sqrt(max(radius**2 - half**2, 1.0))
        height = f.distance_mm * float(np.clip(touching, STEEPER, STEEPEST))
        untaped = any(f.radii[log].stated_mm is None for log in logs)
        text = (
            f"From {say(a)} to {say(b)} the lines of sight touch the {' and the '.join(logs)} log "
            f"only within {say(within)} of the crown, and half the cover is {say(half)}: the "
            f"groove's edges are guessed. Photograph that stretch from {say(height)} above and "
            f"below the gap{tape if untaped else ''}."
        )
        out.append(Caution("near-crown", text, a, b))
    return capped(out)


def wide(f: Findings, likely: np.ndarray) -> list[Caution]:
    """Seen from several heights, and known badly all the same: what would narrow it, and where.

    ``likely`` are the stations (n,), bool, one of which decides.
    """
    if np.ptp(slopes(f.photos)) < HEIGHTS_APART or f.setting.U95_mm <= WIDE_U95_MM:
        return []
    at = f.station_mm[likely]
    a, b = _padded(f, (float(at[0]), float(at[-1])))
    say, u95 = speaker(f), format_length(round(f.setting.U95_mm, 1), f.options.units)
    text = (
        f"The setting is known only to +-{u95}, and is decided from {say(a)} to {say(b)}: photograph "
        f"that stretch once more, level and from {say(STEEPER * f.distance_mm)} above and below the "
        "gap, or put the caliper there and state it by --reading."
    )
    return [Caution("wide", text, a, b)]


def one_photo(f: Findings) -> list[Caution]:
    """Stretches that one photograph alone shows, though there are several heights."""
    t = slopes(f.photos)
    if len(f.photos) < 2 or np.ptp(t) < HEIGHTS_APART:
        return []
    if f.length_mm > LONG_MM:
        return []  # between the stretches that could decide one height is as planned
    seen, _, _ = traced(f)
    alone = (seen.sum(0) == 1) & f.shown & _matters(f) & ~_closed(f)
    say, out = speaker(f), []
    for i, photo in enumerate(f.photos):
        for a, b in stretches(f, alone & seen[i], SHORT_MM, SHORT_MM):
            text = (
                f"Only {photo.name} shows the joint from {say(a)} to {say(b)}, so that its crowns' "
                "offset is not known there: photograph that stretch from the other heights too."
            )
            out.append(Caution("one-photo", text, a, b))
    return capped(out)


def gap_shut(f: Findings) -> list[Caution]:
    """Stretches that only level photographs read, for from above and below the gap looks shut."""
    seen, shut, _ = traced(f)
    closed = _closed(f)
    say, out = speaker(f), []
    mask = closed & f.shown & seen.any(0) & _matters(f)
    for a, b in stretches(f, mask, SHORT_MM, SHORT_MM):
        here = (f.station_mm >= a) & (f.station_mm <= b) & closed
        names = [p.name for p, s in zip(f.photos, shut, strict=True) if s[here].mean() > 0.5] or [
            "the steep photographs"
        ]
        text = (
            f"From {say(a)} to {say(b)} the gap is shut or too narrow in {listed(names)}, and only "
            "the level view reads it: put the caliper there and state it by --reading."
        )
        out.append(Caution("gap-shut", text, a, b))
    return capped(out)


def _closed(f: Findings) -> np.ndarray:
    """Stations that would be seen from several heights if the gap did not look shut."""
    t = slopes(f.photos)
    seen, shut, _ = traced(f)
    return (spread(t, seen) < HEIGHTS_APART) & (spread(t, seen | shut) >= HEIGHTS_APART)


def hollow(f: Findings) -> list[Caution]:
    """Stretches where a log is much flatter across than stated: a hollow may lie under the flat.

    Notes
    -----
    Lines of sight touch only a section's convex hull. Over a hollow they all touch its two rims, as
    if the log were flat there; that shows only where heights differ, and against a stated diameter.
    """
    if f.radii is None:
        return []
    several = spread(slopes(f.photos), traced(f)[0]) >= HEIGHTS_APART
    say, out = speaker(f), []
    for log, r in f.radii.items():
        if r.stated_mm is None:
            continue
        over = r.fitted_mm - r.stated_mm
        flat = (r.fitted_mm > FLAT * r.stated_mm) & (over > FLAT_U * r.u_mm) & several & f.shown
        for a, b in stretches(f, flat, MERGE_MM, SHORT_MM):
            text = (
                f"The {log} log is flatter than its diameter from {say(a)} to {say(b)}: a hollow may "
                "lie under the flat, where no line of sight touches. Lay a straightedge across the "
                "crown there, and put the caliper into the hollow."
            )
            out.append(Caution("hollow", text, a, b))
    return capped(out)


def _matters(f: Findings) -> np.ndarray:
    """Stations whose need, with its uncertainty, reaches the setting's."""
    if f.profile is None:
        return np.ones(len(f.station_mm), bool)
    p = f.profile
    reach = p.setting_needed_mm + K95 * p.setting_needed_u_mm
    return np.nan_to_num(reach, nan=-np.inf) >= f.setting.value_mm - f.setting.U95_mm
