"""A second look at the joint from nearer: the network again, on the two lines and what is beside them.

The band has a cell a millimetre, and a photograph usually two pixels there. What is only just to be
seen, such as a limb in the dark before a wall of the same wood, is lost in such cells. Once it is known
where the joint lies a strip along it is laid out in cells of half a millimetre, a network of the same
kind that has learned on such strips looks again, and what it says is brought back to the band's cells.
"""

from __future__ import annotations

from functools import reduce

import numpy as np

from gapvision.scene.camera import Camera
from gapvision.trace.network import BLOCK, CLOSER, FLOOR, network_input, read_band
from gapvision.trace.outlines import likely_lines
from gapvision.trace.rectified import CELL_MM, Band, cut_band

LEAST_CELL_MM = 0.5
MOST_CELL_MM = 0.75  # what training had; a strip that is higher than so many rows of them is left
MOST_ROWS = 352
MARGIN_MM = 36.0  # on both sides of the lines
AMID = (1.0, 99.0)  # percentiles of the lines: what strays farther is not followed
WHOLE, TINY = 0.999, 1e-9


def look_closer(
    bgr: np.ndarray,
    camera: Camera,
    band: Band,
    labels: np.ndarray,
    limbs: np.ndarray,
    card_polygons_mm: list[np.ndarray],
    expected_mm: float | None,
) -> tuple[np.ndarray, np.ndarray]:
    """The network's answers, made better along the joint.

    Parameters
    ----------
    bgr : array (h, w, 3), uint8, display-encoded
    labels : array (4, rows, blocks)
    limbs : array (2, rows + 1, blocks)
        From `read_band`, of the band.
    expected_mm : float or None
        Where the cards' log should end.

    Returns
    -------
    labels, limbs
        As they came, or with what was seen closer in their place.
    """
    lines = np.concatenate(likely_lines(band, labels, limbs))
    first, last = np.percentile(lines, AMID)
    top = band.top_mm - CELL_MM * first + MARGIN_MM
    bottom = band.top_mm - CELL_MM * last - MARGIN_MM
    cell = max(LEAST_CELL_MM, (top - bottom) / MOST_ROWS)
    if cell > MOST_CELL_MM:
        return labels, limbs
    left = band.left_mm - 0.5 * (CELL_MM - cell)  # cells of both begin at the same place
    right = left + labels.shape[2] * BLOCK * CELL_MM - cell
    strip, picture = cut_band(
        bgr, camera, band.z_mm, (left, right), top, bottom, card_polygons_mm, cell
    )
    expected = None if expected_mm is None else (strip.top_mm - expected_mm) / cell
    near = read_band(network_input(strip, picture, expected), CLOSER)
    return _brought_back(band, strip, labels, limbs, *near)


def _brought_back(
    band: Band,
    strip: Band,
    labels: np.ndarray,
    limbs: np.ndarray,
    near_labels: np.ndarray,
    near_limbs: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Answers on the strip's cells, on the band's where the strip covers them."""
    part = strip.cell_mm / CELL_MM
    down = (band.top_mm - strip.top_mm) / CELL_MM + 0.5  # the middle of the strip's first row
    along = _shares(0.0, part * BLOCK, near_labels.shape[2], labels.shape[2], BLOCK)
    along = along[0], (along[1] / along[1].sum(0)).astype(np.float32)
    across = _shares(down - 0.5 * part, part, near_labels.shape[1], labels.shape[1], 1.0)
    covered = across[1].sum(0) > WHOLE
    labels = labels.copy()
    labels[:, covered] = _put(_put(near_labels, across, covered), along, axis=2)
    # The limb of index r lies between the middles of the rows r - 1 and r.
    places = _shares(down + 0.5 - part, part, near_limbs.shape[1], limbs.shape[1], 1.0)
    covered = places[1].sum(0) > WHOLE
    before, near = (_likely(x) for x in (limbs[:, covered], near_limbs))
    after = _put(_put(near, places, covered), along, axis=2)
    after *= before.sum(1, keepdims=True) / np.maximum(after.sum(1, keepdims=True), TINY)
    limbs = limbs.copy()
    limbs[:, covered] = np.maximum(np.log(np.maximum(after, TINY)), FLOOR)
    return labels, limbs


def _likely(limbs: np.ndarray) -> np.ndarray:
    """Probabilities of log-probabilities, without what the floor adds to each."""
    return np.maximum(np.exp(limbs) - np.float32(np.exp(FLOOR)), 0.0)


def _shares(
    start: float, step: float, count: int, bins: int, width: float
) -> tuple[np.ndarray, np.ndarray]:
    """Which of ``count`` pieces, from ``start`` on, lie in each bin (k, bins), and how much of each."""
    limits = width * np.arange(bins + 1)
    first = np.floor((limits[:-1] - start) / step).astype(int)
    piece = first + np.arange(int(np.ceil(width / step)) + 1)[:, None]
    low = np.maximum(start + step * piece, limits[:-1])
    high = np.minimum(start + step * (piece + 1), limits[1:])
    share = np.where((piece >= 0) & (piece < count), np.maximum(high - low, 0.0), 0.0)
    return np.clip(piece, 0, count - 1), share.astype(np.float32)


def _put(
    values: np.ndarray, shares: tuple[np.ndarray, np.ndarray], of: slice | np.ndarray = slice(None),
    axis: int = 1,
) -> np.ndarray:  # fmt: skip
    """Values (a, b, c) along an axis brought to the bins ``of`` those of `_shares`."""
    weights = (share[of] if axis == 2 else share[of][:, None] for share in shares[1])
    parts = (np.take(values, p[of], axis) * w for p, w in zip(shares[0], weights, strict=True))
    return reduce(np.add, parts)
