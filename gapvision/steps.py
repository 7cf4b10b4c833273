"""Steps in a traced line that no log has: where it goes over to something else's edge."""

from __future__ import annotations

import numpy as np

from gapvision.band import CELL_MM
from gapvision.outlines import SEEN, Line

SIDE, BETWEEN = 9, 5  # blocks: the line's level over 36 mm, on both sides of 20 mm
LEAST_SEEN = 6  # of a side's blocks
# Of the photographs of 64 rendered joints that no training saw, 14 lines have a larger step: 11 were
# 2.4 to 7 mm off their logs on one side of it, three were right. Humps and waves reach 6.9 mm, and over
# one joint with a real hollow of 5 mm it is 7 to 9.
STEP_MM = 7.1


def largest_step(line: Line) -> tuple[float, int] | None:
    """The largest step of a line over `STEP_MM`, as its height in mm and its block; None without one."""
    rows = np.where(line.state == SEEN, line.row, np.nan)
    if len(rows) < 2 * SIDE + BETWEEN:
        return None
    sides = np.lib.stride_tricks.sliding_window_view(rows, SIDE)
    level = np.full(len(sides), np.nan)
    enough = np.isfinite(sides).sum(1) >= LEAST_SEEN
    level[enough] = np.nanmedian(sides[enough], axis=1)
    step = CELL_MM * np.abs(level[SIDE + BETWEEN :] - level[: -(SIDE + BETWEEN)])
    if not (step > STEP_MM).any():
        return None
    at = int(np.nanargmax(step))
    return float(step[at]), at + SIDE + BETWEEN // 2
