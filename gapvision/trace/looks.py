"""Two looks at the joint: the network on the whole band, then another one on the two lines and beside them.

A band has a cell a millimetre, a photograph usually two pixels there. To find the joint in the band two
millimetres a cell are enough. What is only just to be seen, such as a limb in the dark before a wall of
the same wood, is lost in such cells. So once it is known where the joint lies a strip along it is laid
out in rows of half a millimetre, a network of the same kind that has learned on such strips looks again,
and what both say is brought to the band's cells.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from gapvision.scene.camera import Camera
from gapvision.trace.network import BLOCK, CLOSER, FLOOR, TRACER, Network, read_band
from gapvision.trace.outlines import likely_lines
from gapvision.trace.rectified import CELL_MM, Band, cut_band

MOST_ROWS = 352  # of a strip: a higher one has larger cells
MARGIN_MM = 44.0  # on both sides of the lines
KEPT_MM = 60.0  # likewise, of the band for what follows
AMID = (1.0, 99.0)  # percentiles of the lines: what strays farther is not followed
WHOLE, TINY = 0.999, 1e-9


def first_look(
    band: Band, picture: np.ndarray, expected_mm: float | None
) -> tuple[np.ndarray, np.ndarray]:
    """What the network says of the band, whose picture (rows, columns, 3) is uint8, display-encoded.

    ``expected_mm`` is where the cards' log should end, None where unknown.

    Returns
    -------
    labels : array (4, rows, blocks)
        Probabilities of upper log, gap, lower log, something in front, by blocks of `BLOCK` columns.
    limbs : array (2, rows + 1, blocks)
        Log-probabilities that the upper and the lower limb lie between row r - 1 and row r.
    """
    seen = _brought_to(band, band, TRACER, *read_band(band, picture, expected_mm, TRACER))
    return seen.labels, _logarithms(seen.places)


def second_look(
    bgr: np.ndarray,
    camera: Camera,
    band: Band,
    labels: np.ndarray,
    limbs: np.ndarray,
    card_polygons_mm: list[np.ndarray],
    expected_mm: float | None,
    within: tuple[float, float],
) -> tuple[np.ndarray, np.ndarray]:
    """What `first_look` said, made better along the joint.

    Parameters
    ----------
    bgr : array (h, w, 3), uint8, display-encoded
    labels : array (4, rows, blocks)
    limbs : array (2, rows + 1, blocks)
        From the first look.
    expected_mm : float or None
        Where the cards' log should end.
    within : (float, float)
        Rows between which the lines lie, from `rows_of_lines`.

    Returns
    -------
    labels, limbs
        As they came, or with what was seen closer in their place.
    """
    top = band.top_mm - CELL_MM * within[0] + MARGIN_MM
    bottom = band.top_mm - CELL_MM * within[1] - MARGIN_MM
    cell = max(CLOSER.cell_mm, (top - bottom) / MOST_ROWS)
    if cell > CLOSER.most_mm:
        return labels, limbs
    left = band.left_mm - 0.5 * (CELL_MM - cell)  # cells of both begin at the same place
    right = left + labels.shape[2] * BLOCK * CELL_MM - cell
    strip, picture = cut_band(
        bgr, camera, band.z_mm, (left, right), top, bottom, card_polygons_mm, cell
    )
    near = _brought_to(band, strip, CLOSER, *read_band(strip, picture, expected_mm, CLOSER))
    return _bettered(labels, limbs, near)


def rows_of_lines(band: Band, labels: np.ndarray, limbs: np.ndarray) -> tuple[float, float]:
    """Rows between which both likely lines lie, found in the first look's own cells.

    ``labels`` and ``limbs`` are as `first_look` gives them.
    """
    down, along = TRACER.down, TRACER.along
    rows, blocks = (n // k * k for n, k in zip(labels.shape[1:], (down, along), strict=True))
    own = labels[:, :rows:down, :blocks:along], limbs[:, : rows + 1 : down, :blocks:along]
    seen, hidden = (mask[:rows:down, ::along] for mask in (band.seen, band.hidden))
    lines = likely_lines(replace(band, seen=seen, hidden=hidden), *own)
    first, last = down * (np.percentile(np.concatenate(lines), AMID) + 0.5) - 0.5
    return float(first), float(last)


def about_lines(
    band: Band, labels: np.ndarray, limbs: np.ndarray, within: tuple[float, float]
) -> tuple[Band, np.ndarray, np.ndarray]:
    """Of a band and what is seen in it the rows to some 60 mm past the lines: half of its height."""
    kept = int(KEPT_MM / CELL_MM)
    first = max(int(within[0]) - kept, 0)
    last = min(int(within[1]) + kept, band.seen.shape[0])
    rows = slice(first, last)
    part = replace(
        band, seen=band.seen[rows], hidden=band.hidden[rows], top_mm=band.top_mm - CELL_MM * first
    )
    return part, labels[:, rows], limbs[:, first : last + 1]


@dataclass(frozen=True, eq=False, slots=True)
class _Seen:
    """What was seen, on those of the band's cells that lie within.

    Labels (4, n, blocks) of its rows ``rows``, bool, of which n are True; probabilities ``places``
    (2, m, blocks) of the limbs at ``limb_rows``, bool, likewise.
    """

    labels: np.ndarray
    rows: np.ndarray
    places: np.ndarray
    limb_rows: np.ndarray


def _brought_to(
    band: Band, strip: Band, look: Network, labels: np.ndarray, limbs: np.ndarray
) -> _Seen:
    """Answers on a strip's cells, or on the band's own made larger, on the band's cells."""
    rows, blocks = band.seen.shape[0], band.seen.shape[1] // BLOCK
    cell = strip.cell_mm / CELL_MM
    high = look.down * cell
    first = (band.top_mm - strip.top_mm) / CELL_MM + 0.5 * (1.0 - cell)  # its upper edge
    along = _shares(0.0, look.along * cell * BLOCK, labels.shape[2], blocks, BLOCK)
    along = along[0], (along[1] / along[1].sum(0)).astype(np.float32)
    across = _shares(first, high, labels.shape[1], rows, 1.0)
    within = across[1].sum(0) > WHOLE
    # The limb of index r lies between the middles of the rows r - 1 and r.
    places = _shares(first + 0.5 * (1.0 - high), high, limbs.shape[1], rows + 1, 1.0)
    limb_rows = places[1].sum(0) > WHOLE
    likely = _likely(limbs) / np.float32(high)  # a cell's is shared among the rows that it meets
    return _Seen(
        _put(_put(labels, across, within), along, axis=2), within,
        _put(_put(likely, places, limb_rows), along, axis=2), limb_rows,
    )  # fmt: skip


def _bettered(labels: np.ndarray, limbs: np.ndarray, near: _Seen) -> tuple[np.ndarray, np.ndarray]:
    """A first look's answers with what was seen closer: where in the strip a limb lies, not whether."""
    labels, limbs = labels.copy(), limbs.copy()
    labels[:, near.rows] = near.labels
    before = _likely(limbs[:, near.limb_rows]).sum(1, keepdims=True)
    places = near.places * (before / np.maximum(near.places.sum(1, keepdims=True), TINY))
    limbs[:, near.limb_rows] = _logarithms(places)
    return labels, limbs


def _likely(limbs: np.ndarray) -> np.ndarray:
    """Probabilities of log-probabilities, without what the floor adds to each."""
    return np.maximum(np.exp(limbs) - np.float32(np.exp(FLOOR)), 0.0)


def _logarithms(places: np.ndarray) -> np.ndarray:
    """Log-probabilities of probabilities; no place is less likely than the floor."""
    return np.maximum(np.log(np.maximum(places, np.float32(TINY))), np.float32(FLOOR))


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
