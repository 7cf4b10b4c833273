"""Steps in a traced line that no log has: where it goes over to something else's edge."""

from __future__ import annotations

import numpy as np

from gapvision.trace.outlines import SEEN, TracedOutline
from gapvision.trace.rectified import CELL_MM

SIDE, BETWEEN = 9, 5  # blocks: the line's level over 36 mm, on both sides of 20 mm
LEAST_SEEN = 6  # of a side's blocks
# Of the photographs of 64 rendered joints that no training saw, 14 lines have a larger step: 11 were
# 2.4 to 7 mm off their logs on one side of it, three were right. Humps and waves reach 6.9 mm, and over
# one joint with a real hollow of 5 mm it is 7 to 9.
STEP_MM = 7.1
# But at least two other photographs that show the log there tell a real step from a wrong line: over 26
# lines what they step by against the joint of all and against the truth differs by 1.5 mm at most; under
# this they are 2.7 mm off or less on either side, over it 2.9 or more.
CONFIRMED_MM = 3.0
CONFIRMERS = 2
WIDE_SIDE = 12  # blocks: the joint, which is smooth, takes a step more slowly


def largest_step(
    line: TracedOutline, mm_per_px: np.ndarray, miss_px: np.ndarray, others: np.ndarray,
    by_hand: np.ndarray | None = None,
) -> tuple[float, int] | None:  # fmt: skip
    """The largest step of a line over `STEP_MM` that other photographs do not show too.

    Parameters
    ----------
    line : TracedOutline
        Of n blocks.
    mm_per_px : array, shape (n,)
    miss_px : array, shape (n,)
        How far the line lies off the joint fitted to all photographs.
    others : array, shape (n,)
        How many other photographs show that log there.
    by_hand : array, shape (n,), optional
        Where the line was drawn by hand, bool: what a person drew on both sides of a step is one.

    Returns
    -------
    (height in mm, block), or None without one.
    """
    seen = line.state == SEEN
    step = _steps(np.where(seen, CELL_MM * line.row, np.nan), SIDE)
    against = _steps(np.where(seen, miss_px * mm_per_px, np.nan), WIDE_SIDE)
    step[(others >= CONFIRMERS) & (against < CONFIRMED_MM)] = 0.0
    if by_hand is not None:
        step[_within(by_hand)] = 0.0
    if not (step > STEP_MM).any():
        return None
    at = int(np.nanargmax(step))
    return float(step[at]), at


def _within(by_hand: np.ndarray) -> np.ndarray:
    """Blocks (n,) at which both sides of a step would be drawn by hand."""
    whole = 2 * SIDE + BETWEEN
    padded = np.pad(by_hand, whole // 2)
    return np.all(np.lib.stride_tricks.sliding_window_view(padded, whole), axis=1)


def _steps(values: np.ndarray, side: int) -> np.ndarray:
    """Between the medians on both sides of each place (n,); NaN where a side has too few values."""
    out = np.full(len(values), np.nan)
    if len(values) < 2 * side + BETWEEN:
        return out
    sides = np.lib.stride_tricks.sliding_window_view(values, side)
    level = np.full(len(sides), np.nan)
    enough = np.isfinite(sides).sum(1) >= LEAST_SEEN
    level[enough] = np.nanmedian(sides[enough], axis=1)
    middle = side + BETWEEN // 2
    out[middle : len(values) - middle] = np.abs(
        level[side + BETWEEN :] - level[: -(side + BETWEEN)]
    )
    return out
