"""What wrong outlines may add to the gap: where labels are unsure, where photographs disagree."""

from __future__ import annotations

import numpy as np

from gapvision.findings import NEAR_MM
from gapvision.fit import Joint, residuals
from gapvision.moved import GapShift
from gapvision.outlines import SEEN, UNSURE

CHANCE_U = 2.0  # of a photograph's gap against the others'; more is seldom chance
WRONG_LABEL_MM = 6.0  # half a usual gap
# Of own rendered photographs that the training never saw, outlines with hardly an unsure label were
# 2 to 3 mm off in a tenth of their length and more: 0.02 of `WRONG_LABEL_MM` squared.
LEAST_PART = 0.02


def u_label(sights, views, joint: Joint, station_mm: np.ndarray) -> np.ndarray:
    """What wrongly labelled outlines may add to the gap at stations (n,), sd, mm.

    Notes
    -----
    Where a part p of a photograph's outlines could not be labelled clearly, about as much of the rest
    is taken to be labelled clearly and wrongly, by half a usual gap. Three photographs and more that
    show the same station outvote each other, so that their parts are multiplied. Two do not: each
    alone fixes one of height and crowns' offset, and either's error moves the gap by about half.
    """
    parts = []
    for i, sight in enumerate(sights):
        lines = (sight.trace.upper, sight.trace.lower)
        unsure = sum(int((x.state == UNSURE).sum()) for x in lines)
        clear = sum(int((x.state == SEEN).sum()) for x in lines)
        at = [residuals(joint.cameras[i], o, joint)[1] for o in views[i].outlines]
        if not at:  # it shows nothing of the stretch, and ties others by its cards only
            continue
        low, high = np.concatenate(at).min(), np.concatenate(at).max()
        here = (station_mm > low - NEAR_MM) & (station_mm < high + NEAR_MM)
        part = max(unsure / max(unsure + clear, 1), LEAST_PART)
        parts.append(np.where(here, part, np.nan))
    count = np.isfinite(parts).sum(0)
    product, total = np.nanprod(parts, 0), np.nansum(parts, 0)
    part = np.where(count == 2, total / 4, product)  # without any photograph the product is 1
    return WRONG_LABEL_MM * np.sqrt(part)


def u_shift(shifts: tuple[GapShift, ...]) -> float:
    """What photographs whose gap disagrees with the others' may have moved the joint's gap by, sd, mm.

    As any of them may be the wrong one, the largest move counts.
    """
    moves = [s.moves_mm for s in shifts if s.size > CHANCE_U]
    return min(max(moves, default=0.0), WRONG_LABEL_MM)
