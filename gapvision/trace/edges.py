"""Sub-pixel place of a log's limb against what lies behind it, in linear light.

A log darkens or brightens towards its limb like the square root of the distance, so that the place
of the steepest gradient lies off the limb. Each profile is fitted by a constant background beside
``a + b sqrt(d)`` on the log, both blurred. Where the gap is so narrow that one limb's blur reaches
the other, both are fitted at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from functools import cache

import cv2
import numpy as np

from gapvision.trace.rectified import CELL_MM, Band

LOG_PX = 12.0  # of the log's side that is used
BACK_PX = 10.0  # of the background's side, where the gap is that wide
SEARCH_PX = 5.0
STEP_PX = 0.125
BLUR_PX = 1.0  # lens, sampling and averaging along the line, sd
FREE = 0.015  # of a profile's misfit, against the network's row: bark and shade are no white noise
CLIPPED = 0.96  # linear light above this is burnt out
LEAST_U_PX, MOST_U_PX = 0.05, 2.0
LEAST_PIVOT = 1e-9  # where what a model needs is all burnt out
RUN = 5  # columns of a block's profile
# One edge by itself reads 0.13 px off in a gap of 4 px and 0.47 in one of 3 (blur 0.8 px).
SHUT_PX, TWO_EDGES_PX = 1.0, 8.5  # by the labels, which may be 2 px too wide
BOTH_STEP_PX = 0.25

# A part of the photograph, (x0, y0, x1, y1) in its pixels -> linear light (h, w, 3).
LightOf = Callable[[int, int, int, int], np.ndarray]


@dataclass(frozen=True, eq=False, slots=True)
class EdgeFit:
    """By block (n,): shift of the limb down the picture from the line, px; its u; whether it holds."""

    shift_px: np.ndarray
    u_px: np.ndarray
    good: np.ndarray


def fit_edges(
    linear_bgr: LightOf, band: Band, column: np.ndarray, upper_row: np.ndarray, lower_row: np.ndarray,
    pull_px: tuple[np.ndarray, np.ndarray],
) -> tuple[EdgeFit, EdgeFit]:  # fmt: skip
    """Limbs of the upper and the lower log near two lines of the band.

    ``pull_px`` holds the sd of each line about its limb by block (n,): a prior against other edges
    near by, of which bark and shade have many.
    """
    gap_px = (lower_row - upper_row) * _px_per_cell(band, column, upper_row)
    block = column[1] - column[0] if len(column) > 1 else 4.0
    fits = (
        _fit_one(linear_bgr, band, column, block, upper_row, gap_px, pull_px[0], -1.0),
        _fit_one(linear_bgr, band, column, block, lower_row, gap_px, pull_px[1], 1.0),
    )
    narrow = np.flatnonzero((gap_px > SHUT_PX) & (gap_px < TWO_EDGES_PX))
    if len(narrow) == 0:
        return fits
    middle = 0.5 * (upper_row + lower_row)
    pull = [p[narrow] for p in pull_px]
    both = _fit_both(linear_bgr, band, column[narrow], block, middle[narrow], gap_px[narrow], pull)
    return _put(fits[0], narrow, both[0]), _put(fits[1], narrow, both[1])


def _put(fit: EdgeFit, at: np.ndarray, part: EdgeFit) -> EdgeFit:
    """The fit with some blocks of another."""
    values = [getattr(fit, f.name).copy() for f in fields(fit)]
    for whole, f in zip(values, fields(fit), strict=True):
        whole[at] = getattr(part, f.name)
    return EdgeFit(*values)


def _px_per_cell(band: Band, column: np.ndarray, row: np.ndarray) -> np.ndarray:
    return np.linalg.norm(band.to_image(column, row + 1.0) - band.to_image(column, row), axis=1)


def _fit_one(
    linear_bgr: LightOf, band: Band, column: np.ndarray, block: float, row: np.ndarray,
    gap_px: np.ndarray, pull_px: np.ndarray, into_log: float,
) -> EdgeFit:  # fmt: skip
    """``into_log`` is +1 where the log lies below the line, -1 where above."""
    d, places, basis, squares = _candidates()
    profile = _profiles(linear_bgr, band, column, block, row, into_log * d)
    y = _best_grey(profile, (d < -1.5) & (d > -8), (d > 2) & (d < 10))
    room = np.clip(gap_px - 1.5, 1.5, BACK_PX)[:, None]
    w = (profile.max(2) < CLIPPED) * (d > -room) * (d < LOG_PX)
    misfit, far = _misfit(y, w, basis, squares), 0.5 * (places / pull_px[:, None]) ** 2
    score = FREE * misfit + far
    k = np.clip(np.argmin(score, axis=1), 1, len(places) - 2)
    i = np.arange(len(y))
    a, b, c = score[i, k - 1], score[i, k], score[i, k + 1]
    curve = np.maximum(a - 2 * b + c, 1e-9)
    shift = places[k] + STEP_PX * np.clip(0.5 * (a - c) / curve, -1, 1)
    noisy = misfit + far  # how well the place is known, pixels' noise tells: FREE is for which edge
    u = np.sqrt(STEP_PX**2 / np.maximum(noisy[i, k - 1] - 2 * noisy[i, k] + noisy[i, k + 1], 1e-9))
    good = (k > 1) & (k < len(places) - 2) & (u < MOST_U_PX)
    return EdgeFit(into_log * shift, np.clip(u, LEAST_U_PX, 5.0), good)


def _fit_both(
    linear_bgr: LightOf, band: Band, column: np.ndarray, block: float, row: np.ndarray,
    gap_px: np.ndarray, pull_px: list[np.ndarray],
) -> tuple[EdgeFit, EdgeFit]:  # fmt: skip
    """Limbs of both logs round the middle ``row`` of a narrow gap: its place and its width at once."""
    d, middles, widths, basis, squares = _pairs()
    profile = _profiles(linear_bgr, band, column, block, row, d)
    # A line may be 1 px off: what is the gap's for sure is its middle alone.
    y = _best_grey(profile, np.abs(d) < 1, (np.abs(d) > 5) & (np.abs(d) < 10))
    w = (profile.max(2) < CLIPPED).astype(float)
    misfit = _misfit(y, w, basis, squares).reshape(len(y), len(middles), len(widths))
    half = 0.5 * (widths - gap_px[:, None])[:, None]
    far = sum(
        0.5 * ((middles[:, None] + sign * half) / pull[:, None, None]) ** 2
        for sign, pull in zip((-1.0, 1.0), pull_px, strict=True)
    )
    score = FREE * misfit + far
    at = np.argmin(score.reshape(len(y), -1), axis=1)
    k, m = (np.clip(j, 1, n - 2) for j, n in zip(
        np.unravel_index(at, score.shape[1:]), score.shape[1:], strict=True))  # fmt: skip
    slope, curve, firm = _bowl(score, k, m)
    step = -np.clip((np.linalg.inv(curve) @ slope[..., None])[..., 0], -1, 1)
    place = np.stack([middles[k], widths[m] - gap_px], 1) + BOTH_STEP_PX * step
    _, noisy, known = _bowl(misfit + far, k, m)  # as for one limb, pixels' noise tells how well
    covariance = np.linalg.inv(noisy)
    inside = (at == k * len(widths) + m) & firm & known
    out = []
    for sign in (-0.5, 0.5):
        of = np.array([1.0, sign])
        u = BOTH_STEP_PX * np.sqrt(np.maximum(of @ covariance @ of, 0))
        out.append(EdgeFit(place @ of, np.clip(u, LEAST_U_PX, 5.0), inside & (u < MOST_U_PX)))
    return out[0], out[1]


def _bowl(score: np.ndarray, k: np.ndarray, m: np.ndarray) -> tuple[np.ndarray, ...]:
    """Slope (n, 2) and curvature (n, 2, 2) of score (n, middles, widths) at places k and m, and
    whether it is a bowl there; where it is none, the curvature is 1."""
    i = np.arange(len(score))
    near = {(p, q): score[i, k + p, m + q] for p in (-1, 0, 1) for q in (-1, 0, 1)}
    slope = 0.5 * np.stack([near[1, 0] - near[-1, 0], near[0, 1] - near[0, -1]], 1)
    cross = 0.25 * (near[1, 1] - near[1, -1] - near[-1, 1] + near[-1, -1])
    along = near[1, 0] + near[-1, 0] - 2 * near[0, 0]
    wide = near[0, 1] + near[0, -1] - 2 * near[0, 0]
    curve = np.stack([along, cross, cross, wide], 1).reshape(-1, 2, 2)
    firm = (along > 0) & (along * wide > cross**2)
    return slope, np.where(firm[:, None, None], curve, np.eye(2)), firm


def _misfit(y: np.ndarray, w: np.ndarray, basis: np.ndarray, squares: np.ndarray) -> np.ndarray:
    """Half the chi-square (blocks, places) of profiles y (blocks, k) with weights w at all places.

    All places at once: normal matrices and right sides are linear in the weights. The noise is taken
    from the best of them.
    """
    size = 2 * squares.shape[1] // basis.shape[1] - 1
    normal = (w @ squares).reshape(len(y), -1, basis.shape[1] // size)
    right = ((w * y) @ basis).reshape(len(y), size, -1)
    n = np.maximum(w.sum(1), 1.0)[:, None]
    sse = np.maximum((w * y * y).sum(1)[:, None] - _explained(normal, right), 0) / n
    noise = np.maximum(sse.min(1, keepdims=True), 1e-7)
    return sse / noise * n * 0.5


def _explained(normal: np.ndarray, right: np.ndarray) -> np.ndarray:
    """What models explain of squares (blocks, places): ``b' A^-1 b`` for a right side b (blocks, size,
    places) and a matrix A whose upper triangle is given by rows, by elimination, in place.

    LAPACK would take a matrix at a time, of which there are 50,000, each of three rows.
    """
    rows = [list(r) for r in _rows_of_triangle(normal.transpose(1, 0, 2), right.shape[1])]
    b = list(right.transpose(1, 0, 2))
    total = np.zeros(b[0].shape)
    for k, row in enumerate(rows):
        pivot = row[0] + LEAST_PIVOT
        for i, off in enumerate(row[1:], 1):
            part = off / pivot
            b[k + i] -= part * b[k]
            for j, other in enumerate(row[i:]):
                rows[k + i][j] -= part * other
        total += b[k] ** 2 / pivot
    return total


def _rows_of_triangle(upper: np.ndarray, size: int) -> Iterator[list[np.ndarray]]:
    """The rows of an upper triangle, each from its diagonal on."""
    at = 0
    for k in range(size):
        yield list(upper[at : at + size - k])
        at += size - k


@cache
def _candidates() -> tuple[np.ndarray, ...]:
    """Places (k,) of a profile, px from the line and positive on the log; places (m,) of the limb;
    the model there (k, 3 * m) and its products (k, 6 * m)."""
    d = np.arange(-(BACK_PX + SEARCH_PX), LOG_PX + SEARCH_PX + 0.5)
    limbs = np.arange(-SEARCH_PX, SEARCH_PX + 1e-9, STEP_PX)
    basis = np.stack([_basis(d - limb) for limb in limbs], 1)
    return d, limbs, *_flat(basis)


@cache
def _pairs() -> tuple[np.ndarray, ...]:
    """The same about the middle of a narrow gap, with its middles and widths, px; the width changes
    fastest."""
    d = np.arange(-(LOG_PX + SEARCH_PX), LOG_PX + SEARCH_PX + 0.5)
    middles = np.arange(-2.5, 2.5 + 1e-9, BOTH_STEP_PX)
    widths = np.arange(0.5, TWO_EDGES_PX + 2.5 + 1e-9, BOTH_STEP_PX)
    shapes = []
    for middle in middles:
        for width in widths:
            upper, lower = _basis(middle - 0.5 * width - d), _basis(d - middle - 0.5 * width)
            gap = 1 - upper[:, 1] - lower[:, 1]
            shapes.append(np.column_stack([gap, upper[:, 1:], lower[:, 1:]]))
    return d, middles, widths, *_flat(np.stack(shapes, 1))


def _flat(basis: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Models (k, places, size) and the products of their columns, each once, as matrices of k rows whose
    columns are the places of the first, then of the next."""
    i, j = np.triu_indices(basis.shape[2])
    by_column = basis.transpose(0, 2, 1)
    products = by_column[:, i] * by_column[:, j]
    return by_column.reshape(len(basis), -1), products.reshape(len(basis), -1)


def _basis(d: np.ndarray) -> np.ndarray:
    """Blurred background step, log step and square-root limb at distances d (k, 3)."""
    fine = np.linspace(-4, 4, 65) * BLUR_PX
    kernel = np.exp(-0.5 * (fine / BLUR_PX) ** 2)
    kernel /= kernel.sum()
    at = d[:, None] - fine[None]
    log = ((at > 0) + 0.5 * (at == 0)) @ kernel
    limb = np.sqrt(np.maximum(at, 0)) @ kernel
    return np.stack([1 - log, log, limb], 1)


def _profiles(
    linear_bgr: LightOf, band: Band, column: np.ndarray, block: float, row: np.ndarray,
    offsets: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """Linear light (blocks, k, 3) across the line, averaged along it over one block of columns."""
    along = np.linspace(-0.4, 0.4, RUN) * block
    c = column[:, None] + along[None]
    r = np.interp(c, column, row)
    here = band.to_image(c.ravel(), r.ravel())
    down = band.to_image(c.ravel(), r.ravel() + 1.0 / CELL_MM) - here
    down /= np.linalg.norm(down, axis=1, keepdims=True)
    px = [h[:, None] + offsets * d[:, None] for h, d in zip(here.T, down.T, strict=True)]
    ends = np.array([p[:, [0, -1]].ravel() for p in px])
    low = np.floor(ends.min(1)).astype(int) - 2
    high = np.ceil(ends.max(1)).astype(int) + 3
    w, h = band.camera.size
    x0, y0 = np.clip(low, 0, [w - 2, h - 2])
    x1, y1 = np.clip(high, [x0 + 1, y0 + 1], [w, h])
    part = linear_bgr(x0, y0, x1, y1)
    x, y = ((p - first).astype(np.float32) for p, first in zip(px, (x0, y0), strict=True))
    out = cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return out.reshape(len(column), RUN, len(offsets), 3).mean(1)


def _best_grey(profile: np.ndarray, is_back: np.ndarray, is_log: np.ndarray) -> np.ndarray:
    """The mix of colours that parts log and background best, smoothed along the line, (n, k)."""
    back, log = profile[:, is_back].mean(1), profile[:, is_log].mean(1)
    spread = profile[:, is_log].std(1).mean(0) + 0.01
    mix = (log - back) / spread**2
    mix = cv2.GaussianBlur(mix.astype(np.float32), (1, 0), 1e-6, sigmaY=8.0)
    mix /= np.abs(mix).sum(1, keepdims=True) + 1e-9
    return np.einsum("nkc,nc->nk", profile, mix.astype(np.float64))
