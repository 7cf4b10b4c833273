"""Where in each column each log's limb lies: log-likelihoods of its row, from a second network.

The first network judges every cell by itself, and a wrong strip of 3 mm beside a limb costs it
little. This one looks at a strip that follows a line of the first and answers for each column with a
distribution over rows: one narrow peak where the limb is plain, two where a far wall's seam or a
shadow's edge may as well be it.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.special import log_softmax

from gapvision.trace.network import network

STRIP_ROWS = 64
COLUMNS = 2  # of the band that make one of the strip's
GRAIN = 8  # the network halves the strip three times
FLOOR = -7.0  # no row is unlikelier: what is not in training happens, too


def strip_rows(base: np.ndarray, sign: float) -> np.ndarray:
    """Band rows (STRIP_ROWS, columns) of the strip about a line: the log first, the gap after it.

    ``sign`` is +1 for the upper log's line and -1 for the lower one's, whose strip is turned over.
    """
    return base + sign * (np.arange(STRIP_ROWS) - STRIP_ROWS / 2 + 0.5)[:, None]


def cut_strip(x: np.ndarray, base: np.ndarray, sign: float) -> np.ndarray:
    """The network's input (6, STRIP_ROWS, columns // COLUMNS) about a line, base (columns,) in rows.

    ``x`` (6, rows, columns) are the first network's planes: colour, blind, height, slope of sight.
    """
    rows = strip_rows(base, sign).astype(np.float32)
    columns = np.broadcast_to(np.arange(rows.shape[1], dtype=np.float32), rows.shape).copy()
    planes = [x[0], x[1], x[2], x[3], sign * x[5]]
    cut = [
        cv2.remap(np.ascontiguousarray(p), columns, rows, cv2.INTER_LINEAR,
                  borderMode=cv2.BORDER_REPLICATE)
        for p in planes
    ]  # fmt: skip
    return by_columns(np.stack([*cut, np.full_like(cut[0], sign)]))


def by_columns(values: np.ndarray) -> np.ndarray:
    """Means over each COLUMNS of the last axis."""
    n = values.shape[-1] // COLUMNS * COLUMNS
    return values[..., :n].reshape(*values.shape[:-1], n // COLUMNS, COLUMNS).mean(-1)


def line_places(x: np.ndarray, lines: list[np.ndarray], block: int) -> np.ndarray:
    """Log-likelihood (2, rows + 1, blocks) that the limb lies between row r - 1 and row r.

    Parameters
    ----------
    x : array (6, rows, columns)
        The first network's input.
    lines : two arrays (columns,)
        Smooth rows along the upper and the lower outline, right within half a strip.
    block : int
        Columns a block.
    """
    rows, columns = x.shape[1:]
    signs = (1.0, -1.0)
    cut = np.stack([cut_strip(x, base, s) for base, s in zip(lines, signs, strict=True)])
    pad = -cut.shape[3] % GRAIN
    net = network("lines.onnx")
    net.setInput(np.pad(cut, ((0, 0), (0, 0), (0, 0), (0, pad)), mode="edge").astype(np.float32))
    score = np.maximum(log_softmax(net.forward()[:, :, : cut.shape[3]], axis=1), FLOOR)
    blocks = columns // block
    per = block // COLUMNS
    out = np.full((2, rows + 1, blocks), FLOOR, np.float32)
    edge = np.arange(rows + 1) - 0.5
    for k, sign in enumerate(signs):
        base = lines[k][: blocks * block].reshape(blocks, block).mean(1)
        mean = score[k][:, : blocks * per].reshape(STRIP_ROWS, blocks, per).mean(-1)
        at = sign * (edge[:, None] - base) + STRIP_ROWS / 2 - 0.5
        inside = (at >= 0) & (at <= STRIP_ROWS - 1)
        low = np.clip(np.floor(at).astype(int), 0, STRIP_ROWS - 2)
        part = np.clip(at - low, 0, 1)
        j = np.arange(blocks)[None]
        value = (1 - part) * mean[low, j] + part * mean[low + 1, j]
        out[k] = np.where(inside, value, FLOOR)
    return out
