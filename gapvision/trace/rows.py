"""Rows of the fit from one photograph's trace: seen blocks, three together, and what each may be off by."""

from __future__ import annotations

import numpy as np

from gapvision.scene.photo_rows import OutlineRows
from gapvision.trace.network import sight_slope
from gapvision.trace.outlines import SEEN, Trace
from gapvision.trace.traced_photo import TracedPhoto

FIT_BLOCKS = 3  # blocks of an outline that make one row of the fit: 12 mm
# What a surface does between the knots of its crown, sd; counted higher than the real 0.5 to 0.7,
# for it is correlated over some 80 mm and the rows of the fit are 12 mm apart.
ROUGH_MM = 0.9
# In a sweep from one height the crowns' offset is read off what neighbouring photographs differ by, all
# along the log, and there lines that are wrong over some 300 mm, by 0.37 mm (rms, rendered), count as
# much as 1.85 mm of each row would.
SWEEP_ROUGH_MM = 2.2
SWEEP_SPREAD = 0.1  # slopes of sight, rad: two that are farther apart tell the offset well


def rough_mm(slopes: list[float], sides: list[str]) -> float:
    """What a row of the outlines may be off by beside its own noise, sd, mm.

    ``slopes`` are how steeply each photograph looks down on the gap, ``sides`` where it was taken from.
    """
    sweep = len(slopes) > 1 and len({*sides}) == 1 and np.ptp(slopes) < SWEEP_SPREAD
    return SWEEP_ROUGH_MM if sweep else ROUGH_MM


def slope_of(sight: TracedPhoto) -> float:
    """How steeply the photograph looks down on the gap."""
    row = 0.5 * float(np.median(sight.trace.upper.row + sight.trace.lower.row))
    slopes = sight_slope(sight.band)
    return float(np.interp(row, np.arange(len(slopes)), slopes))


def outlines_of(trace: Trace, rough: float) -> tuple[OutlineRows, ...]:
    """Rows of the fit: each outline's seen blocks, a few together, with their uncertainty.

    ``rough`` is from `rough_mm`.
    """
    out = []
    for log, line in (("lower", trace.lower), ("upper", trace.upper)):
        n = len(line.u_px) // FIT_BLOCKS * FIT_BLOCKS
        shape = (n // FIT_BLOCKS, FIT_BLOCKS)
        seen = (line.state[:n] == SEEN).reshape(shape)
        weight = seen / line.u_px[:n].reshape(shape) ** 2
        total = weight.sum(1)
        ok = seen.sum(1) * 2 > FIT_BLOCKS
        xy = (line.xy_px[:n].reshape(*shape, 2) * weight[..., None]).sum(1)
        rough_px = rough / trace.mm_per_px[:n].reshape(shape).mean(1)
        if ok.any():
            u = np.hypot(1 / np.sqrt(total[ok]), rough_px[ok])
            out.append(OutlineRows(log, xy[ok] / total[ok, None], u))
    return tuple(out)
