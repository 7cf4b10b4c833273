"""Sub-pixel place of a log's limb against what lies behind it, in linear light.

A log darkens or brightens towards its limb like the square root of the distance, so that the place
of the steepest gradient lies off the limb. Each profile is fitted by a constant background beside
``a + b sqrt(d)`` on the log, both blurred.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from gapvision.band import CELL_MM, Band

LOG_PX = 12.0  # of the log's side that is used
BACK_PX = 10.0  # of the background's side, where the gap is that wide
SEARCH_PX = 5.0
STEP_PX = 0.125
BLUR_PX = 1.0  # lens, sampling and averaging along the line, sd
PULL_PX = 4.0  # sd of the labels' line about the limb, a mild prior against far edges
CLIPPED = 0.96  # linear light above this is burnt out
RUN = 5  # columns of a block's profile


@dataclass(frozen=True, eq=False, slots=True)
class EdgeFit:
    """By block (n,): shift of the limb down the picture from the line, px; its u; whether it holds."""

    shift_px: np.ndarray
    u_px: np.ndarray
    good: np.ndarray


def fit_edges(
    linear_bgr, band: Band, column: np.ndarray, upper_row: np.ndarray, lower_row: np.ndarray
) -> tuple[EdgeFit, EdgeFit]:
    """Limbs of the upper and the lower log near two lines of the band."""
    gap_px = (lower_row - upper_row) * _px_per_cell(band, column, upper_row)
    return (
        _fit_one(linear_bgr, band, column, upper_row, gap_px, -1.0),
        _fit_one(linear_bgr, band, column, lower_row, gap_px, 1.0),
    )


def _px_per_cell(band, column, row):
    return np.linalg.norm(band.to_image(column, row + 1.0) - band.to_image(column, row), axis=1)


def _fit_one(linear_bgr, band, column, row, gap_px, into_log) -> EdgeFit:
    """``into_log`` is +1 where the log lies below the line, -1 where above."""
    d, places, basis, squares = _candidates()
    profile = _profiles(linear_bgr, band, column, row, into_log * d)
    y = _best_grey(profile, d)
    weight = (profile.max(2) < CLIPPED).astype(float)
    room = np.clip(gap_px - 1.5, 1.5, BACK_PX)[:, None]
    w = weight * (d > -room) * (d < LOG_PX)
    n = np.maximum(w.sum(1), 1.0)
    # All places at once: normal matrices and right sides are linear in the weights.
    normal = (w @ squares).reshape(len(y), len(places), 3, 3) + 1e-9 * np.eye(3)
    right = ((w * y) @ basis).reshape(len(y), len(places), 3)
    beta = np.linalg.solve(normal, right[..., None])[..., 0]
    explained = (beta * right).sum(-1)
    sse = np.maximum((w * y * y).sum(1)[:, None] - explained, 0) / n[:, None]
    noise = np.maximum(sse.min(1, keepdims=True), 1e-7)
    score = sse / noise * n[:, None] * 0.5 + 0.5 * (places / PULL_PX) ** 2
    k = np.clip(np.argmin(score, axis=1), 1, len(places) - 2)
    i = np.arange(len(y))
    a, b, c = score[i, k - 1], score[i, k], score[i, k + 1]
    curve = np.maximum(a - 2 * b + c, 1e-9)
    shift = places[k] + STEP_PX * np.clip(0.5 * (a - c) / curve, -1, 1)
    u = np.sqrt(STEP_PX**2 / curve)
    good = (k > 1) & (k < len(places) - 2) & (u < 2.0)
    return EdgeFit(into_log * shift, np.clip(u, 0.05, 5.0), good)


@cache
def _candidates() -> tuple[np.ndarray, ...]:
    """Places (k,) of a profile, px from the line and positive on the log; places (m,) of the limb;
    the model there (k, m * 3) and its squares (k, m * 9)."""
    d = np.arange(-(BACK_PX + SEARCH_PX), LOG_PX + SEARCH_PX + 0.5)
    limbs = np.arange(-SEARCH_PX, SEARCH_PX + 1e-9, STEP_PX)
    basis = np.stack([_basis(d - limb) for limb in limbs], 1)
    squares = basis[..., :, None] * basis[..., None, :]
    return d, limbs, basis.reshape(len(d), -1), squares.reshape(len(d), -1)


def _basis(d: np.ndarray) -> np.ndarray:
    """Blurred background step, log step and square-root limb at distances d (k, 3)."""
    fine = np.linspace(-4, 4, 65) * BLUR_PX
    kernel = np.exp(-0.5 * (fine / BLUR_PX) ** 2)
    kernel /= kernel.sum()
    at = d[:, None] - fine[None]
    log = ((at > 0) + 0.5 * (at == 0)) @ kernel
    limb = np.sqrt(np.maximum(at, 0)) @ kernel
    return np.stack([1 - log, log, limb], 1)


def _profiles(linear_bgr, band, column, row, offsets) -> np.ndarray:
    """Linear light (blocks, k, 3) across the line, averaged along it over one block."""
    along = np.linspace(-0.4, 0.4, RUN) * (column[1] - column[0] if len(column) > 1 else 4.0)
    c = column[:, None] + along[None]
    r = np.interp(c, column, row)
    here = band.to_image(c.ravel(), r.ravel())
    down = band.to_image(c.ravel(), r.ravel() + 1.0 / CELL_MM) - here
    down /= np.linalg.norm(down, axis=1, keepdims=True)
    px = here[:, None, :] + offsets[None, :, None] * down[:, None, :]
    low = np.floor(px.reshape(-1, 2).min(0)).astype(int) - 2
    high = np.ceil(px.reshape(-1, 2).max(0)).astype(int) + 3
    w, h = band.camera.size
    x0, y0 = np.clip(low, 0, [w - 2, h - 2])
    x1, y1 = np.clip(high, [x0 + 1, y0 + 1], [w, h])
    part = linear_bgr(x0, y0, x1, y1)
    at = (px - [x0, y0]).astype(np.float32)
    out = cv2.remap(part, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return out.reshape(len(column), RUN, len(offsets), 3).mean(1)


def _best_grey(profile: np.ndarray, d: np.ndarray) -> np.ndarray:
    """The mix of colours that parts log and background best, smoothed along the line, (n, k)."""
    back = profile[:, (d < -1.5) & (d > -8)].mean(1)
    log = profile[:, (d > 2) & (d < 10)].mean(1)
    spread = profile[:, (d > 2) & (d < 10)].std(1).mean(0) + 0.01
    mix = (log - back) / spread**2
    mix = cv2.GaussianBlur(mix.astype(np.float32), (1, 0), 1e-6, sigmaY=8.0)
    mix /= np.abs(mix).sum(1, keepdims=True) + 1e-9
    return np.einsum("nkc,nc->nk", profile, mix.astype(np.float64))
