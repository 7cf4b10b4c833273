"""The wood beside a card, laid out in millimetres: whether two photographs show the same log there.

A card hung on another log has other checks, knots and stains at its sides. They lie in the card's own
frame, so that neither the camera's place nor the phone matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from gapvision.scene.camera import Camera

# The patch in the card's frame, mm and samples: half its width, and from above the nail to below it.
HALF_WIDTH, ABOVE, BELOW = 381, 90, -110
STEP = 5  # mm; the camera is asked for so many, the rest lies between
USUAL_RADIUS_MM = 160.0  # of the log's face, which falls back above and below the nail
BEHIND_MM = 9.0  # of the face behind the card's front: backing, pin, and what it stands off
# The card, its backing and its shadow: they are alike on any log.
CARD_HALF, CARD_TOP, CARD_FOOT = 141, 14, -110
COARSE_MM, FINE_MM = (
    10.0,
    1.2,
)  # light that changes more slowly, and grain finer, than this is left out
MOST_LOG_CONTRAST = 0.3  # a white tag or a black check counts no more than this
BLOCK_WIDTH, BLOCK_HEIGHT = 90, 28
SHIFT_X, SHIFT_Y = 8, 10  # mm: a card that swung, a face of another curve
SEEN_PART = 0.8  # of a block

FEWEST_BLOCKS = 8  # of 24 beside a card that is far from the picture's edge
FEWEST_TO_SUSPECT = 4  # as beside a card near the edge, or seen from near by
LEAST_CONTRAST = 0.008  # sd of the logarithm of grey values; in less is only noise
SAME, OTHER, PERHAPS_OTHER, UNKNOWN = "same", "other", "perhaps-other", "unknown"

Flattened = tuple[np.ndarray, np.ndarray]  # the wood's contrast, and where there is any


@dataclass(frozen=True, slots=True)
class Likeness:
    """How alike the wood beside one card is in two photographs.

    ``mean`` and ``best`` are correlations over ``blocks`` places: the mean by contrast, and that of the
    most alike quarter.
    """

    mean: float
    best: float
    blocks: int

    @property
    def verdict(self) -> str:
        """`SAME`, `OTHER`, `PERHAPS_OTHER` or `UNKNOWN`.

        Notes
        -----
        Sun through leaves, another on each of two photographs, lowers ``mean`` more than ``best``.
        docs/results.md has how often either errs.
        """
        if self.blocks < FEWEST_TO_SUSPECT:
            return UNKNOWN
        if self.blocks < FEWEST_BLOCKS:
            unlike = self.mean < PERHAPS_MEAN and self.best < OTHER_BEST
            return PERHAPS_OTHER if unlike else UNKNOWN
        if self.mean > SAME_MEAN or (self.mean > SAME_LEAST and self.best > SAME_BEST):
            return SAME
        if self.mean < OTHER_MEAN:
            return OTHER if self.best < OTHER_BEST else PERHAPS_OTHER
        return PERHAPS_OTHER if self.mean < PERHAPS_MEAN and self.best < PERHAPS_BEST else UNKNOWN


# Of other logs 95 in 100 reach a mean of 0.39 and a best of 0.62, of the same log under leaves 90 in 100
# are over 0.46 and 0.69.
SAME_MEAN, SAME_LEAST, SAME_BEST = 0.57, 0.46, 0.76
OTHER_MEAN, OTHER_BEST = 0.35, 0.54
PERHAPS_MEAN, PERHAPS_BEST = 0.46, 0.7


def wood_beside(bgr: np.ndarray, camera: Camera) -> np.ndarray:
    """The wood round a card, one sample a mm, uint8 (rows downwards, columns); 0 outside the picture.

    Parameters
    ----------
    bgr : array (h, w, 3), uint8 or uint16
        Upright photograph, display-encoded.
    camera : Camera
        In the card's own frame, as `pose.card_pose` gives it.

    Notes
    -----
    The face is taken for a cylinder of usual radius about the nail's height: what another curve shifts
    is within what `likeness` searches.
    """
    y = ABOVE - np.arange(0.0, ABOVE - BELOW + STEP, STEP)
    x = np.arange(0.0, 2 * HALF_WIDTH + STEP, STEP) - HALF_WIDTH
    back = BEHIND_MM + USUAL_RADIUS_MM - np.sqrt(USUAL_RADIUS_MM**2 - y**2)
    grid = np.stack(np.broadcast_arrays(x, y[:, None], -back[:, None]), -1)
    px = camera.project(grid).astype(np.float32)
    x0, y0 = np.clip(np.floor(px.min((0, 1))) - 1, 0, camera.size).astype(int)
    x1, y1 = np.clip(np.ceil(px.max((0, 1))) + 2, 0, camera.size).astype(int)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return np.zeros((ABOVE - BELOW + 1, 2 * HALF_WIDTH + 1), np.uint8)
    part = bgr[y0:y1, x0:x1]
    if part.dtype != np.uint8:
        part = (part >> 8).astype(np.uint8)
    grey = np.maximum(cv2.cvtColor(part, cv2.COLOR_BGR2GRAY), 1)
    at = _every_mm(px - np.array([x0, y0], np.float32))
    return cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=0)


def _every_mm(coarse: np.ndarray) -> np.ndarray:
    """Pixels by mm from those by `STEP` mm, between which they are straight to a hundredth."""
    rows = np.arange(ABOVE - BELOW + 1, dtype=np.float32) / STEP
    columns = np.arange(2 * HALF_WIDTH + 1, dtype=np.float32) / STEP
    column, row = np.meshgrid(columns, rows)
    return cv2.remap(coarse, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def flattened(wood: np.ndarray) -> Flattened:
    """What `likeness` compares: contrast against the near surroundings, float32, and where there is any."""
    seen = cv2.erode((wood > 0).astype(np.float32), np.ones((3, 3)))
    seen[
        ABOVE - CARD_TOP : ABOVE - CARD_FOOT + 1,
        HALF_WIDTH - CARD_HALF : HALF_WIDTH + CARD_HALF + 1,
    ] = 0
    level = np.log(np.maximum(wood, 8).astype(np.float32)) * seen
    near = np.maximum(cv2.GaussianBlur(seen, (0, 0), COARSE_MM), 1e-3)
    flat = (level - cv2.GaussianBlur(level, (0, 0), COARSE_MM) / near) * seen
    flat = np.clip(flat, -MOST_LOG_CONTRAST, MOST_LOG_CONTRAST)
    return cv2.GaussianBlur(flat, (0, 0), FINE_MM) * seen, seen


def likeness(one: Flattened, other: Flattened) -> Likeness:
    """How alike two photographs show the wood beside a card, each as `flattened` gives it."""
    (flat_a, seen_a), (flat_b, seen_b) = one, other
    met, weights = [], []
    for top, left in _places():
        here = np.s_[top : top + BLOCK_HEIGHT, left : left + BLOCK_WIDTH]
        round_ = np.s_[
            top - SHIFT_Y : top + BLOCK_HEIGHT + SHIFT_Y,
            left - SHIFT_X : left + BLOCK_WIDTH + SHIFT_X,
        ]
        if min(seen_a[here].mean(), seen_b[round_].mean()) < SEEN_PART:
            continue
        contrast = min(float(flat_a[here].std()), float(flat_b[here].std()))
        if contrast < LEAST_CONTRAST:
            continue
        met.append(
            float(cv2.matchTemplate(flat_b[round_], flat_a[here], cv2.TM_CCOEFF_NORMED).max())
        )
        weights.append(contrast)
    if not met:
        return Likeness(0.0, 0.0, 0)
    best = np.sort(met)[-max(3, len(met) // 4) :]
    return Likeness(float(np.average(met, weights=weights)), float(best.mean()), len(met))


def _places() -> list[tuple[int, int]]:
    """Upper left corner of each block, left and right of the card."""
    right = HALF_WIDTH + CARD_HALF + 9
    lefts = (SHIFT_X, SHIFT_X + BLOCK_WIDTH + 22, right, right + BLOCK_WIDTH + 5)
    tops = range(SHIFT_Y + 2, ABOVE - BELOW + 1 - BLOCK_HEIGHT - SHIFT_Y + 1, BLOCK_HEIGHT)
    return [(top, left) for top in tops for left in lefts]
