"""Lines drawn by hand that the other photographs contradict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gapvision.joint.model import FittedPhoto, Joint, residuals
from gapvision.joint.seen import near, traced
from gapvision.quantity import runs
from gapvision.scene.photo_rows import OutlineRows
from gapvision.trace.drawn import LOGS
from gapvision.trace.outlines import SEEN
from gapvision.trace.traced_photo import TracedPhoto

# Of the drawn line's own sd; the fit itself, which leans on the others there, is known better than that.
CONTRADICTS_U = 3.0
LEAST_SHARE = 0.5  # of a line's blocks that another photograph must show, or nothing contradicts it


@dataclass(frozen=True, slots=True)
class DrawnOff:
    """A line drawn in the i-th photograph and how far, mm, it lies off what the others show.

    Positive ``off_mm`` is into the gap.
    """

    photo: int
    log: str
    from_mm: float
    to_mm: float
    off_mm: float


def drawn_off(
    pairs: Sequence[tuple[TracedPhoto, FittedPhoto]], joint: Joint
) -> tuple[DrawnOff, ...]:
    """The drawn lines that contradict the other photographs, the farthest first.

    Notes
    -----
    In the fit a drawn line weighs little beside traced ones, so that the joint follows the others where
    they show that log there; what the drawn line misses it by is the contradiction.
    """
    out = []
    for k, (photo, fitted) in enumerate(pairs):
        if photo.drawn is None:
            continue
        for log, drawn in zip(LOGS, photo.drawn.lines, strict=True):
            line = getattr(photo.trace, log)
            miss, station = residuals(
                fitted.camera, OutlineRows(log, line.xy_px, np.ones(len(line.xy_px))), joint
            )
            others = [traced(p, log, joint) for _, p in pairs if p is not fitted]
            shown = near(station, np.concatenate([np.empty(0), *others]))
            for run in runs(drawn.by_hand & (line.state == SEEN)):
                if shown[run].mean() < LEAST_SHARE:
                    continue
                here = np.flatnonzero(shown[run]) + run.start
                off = float(np.median(miss[here] * photo.trace.mm_per_px[here]))
                if abs(off) > CONTRADICTS_U * photo.drawn.correction.u_mm:
                    low, high = float(station[run].min()), float(station[run].max())
                    out.append(DrawnOff(k, log, low, high, off))
    return tuple(sorted(out, key=lambda x: -abs(x.off_mm)))
