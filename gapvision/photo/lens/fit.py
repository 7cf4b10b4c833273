"""Corners of the uncut sheet -> Calibration: focal length, principal point, distortion.

The sheet is one rigid plane with the two cards at known places. OpenCV's `calibrateCamera` gives the
start, a robust least squares (scipy) the answer; which coefficients are worth having is decided by
predicting photographs that were left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares

from gapvision.errors import NotCalibrated
from gapvision.photo.lens.calibration import (
    Calibration,
    Known,
    PhotoFit,
    is_uneven,
    named,
)
from gapvision.scene import card
from gapvision.scene.photo_rows import CardSighting

NAMES = ("focal_px", "k1", "k2", "cx_px", "cy_px", "aspect")
# From the simplest on: the first that predicts about as well as the best is taken.
MODELS = {
    "none": ("focal_px",),
    "k1": ("focal_px", "k1"),
    "k1, k2": ("focal_px", "k1", "k2"),
    "k1, principal point": ("focal_px", "k1", "cx_px", "cy_px"),
    "k1, k2, principal point": ("focal_px", "k1", "k2", "cx_px", "cy_px"),
}
LEAST_PHOTOS = 5
LEAST_CORNERS = 20  # in one photograph: six numbers of pose and something left to judge
# A photograph is poor where its corners miss by so many times the usual photograph's, and by more
# than well-found corners ever do (px).
POOR_TIMES, POOR_PX = 3.0, 0.3
NO_SHEET_PX = 5.0  # corners of a flat uncut sheet never miss by so much, whatever the lens
LOSS_SD = 3.0  # corners farther off than this many standard deviations lose weight
LARGEST_RELATIVE_U = 0.015  # Exif alone knows the focal length to 2 %


@dataclass(frozen=True, eq=False, slots=True)
class SheetView:
    """The sheet in one photograph: points (n, 3) mm in the sheet's frame, their places (n, 2) px."""

    file: str
    points_mm: np.ndarray
    corner_px: np.ndarray


@dataclass(frozen=True, eq=False, slots=True)
class _Fit:
    """One least squares: numbers by name, poses (photographs, 6), covariance of the free numbers."""

    free: tuple[str, ...]
    values: np.ndarray  # in the order of NAMES
    poses: np.ndarray
    covariance: np.ndarray
    sd_px: float

    def u(self, name: str) -> float:
        return float(np.sqrt(self.covariance[self.free.index(name), self.free.index(name)]))


def sheet_view(file: str, sightings: Sequence[CardSighting], sheet: Sequence[int]) -> SheetView:
    """The corners of one photograph on the sheet that carries these cards.

    Parameters
    ----------
    sightings : sequence of CardSighting
    sheet : sequence of int
        The sheet's card numbers, the upper first.

    Notes
    -----
    The sheet's frame is the upper card's with y down, as OpenCV has a board.
    """
    points = []
    for s in sightings:
        place = list(sheet).index(s.number)
        points.append(card.corner_points_mm()[s.corner_id] - [0, place * card.CARD_HEIGHT_MM, 0])
    return SheetView(
        file,
        np.concatenate(points) * [1.0, -1.0, 1.0],
        np.concatenate([s.corner_px for s in sightings]),
    )


def fit_lens(
    views: Sequence[SheetView],
    size: tuple[int, int],
    focal_px: float,
    poor: Sequence[tuple[str, str]] = (),
) -> Calibration:
    """The lens from photographs of one sheet, all of one size.

    Parameters
    ----------
    views : sequence of SheetView
    size : (int, int)
        Width and height of the pictures, px.
    focal_px : float
        A first value of the focal length, as from Exif.
    poor : sequence of (file, reason)
        Photographs that were left out before.

    Raises
    ------
    NotCalibrated
        ``too-few``, ``no-sheet``, ``square-on``: with what to do.

    Notes
    -----
    Among the `MODELS` that one takes which is the first whose prediction of left-out photographs is
    within one standard error of the best's. Source of the rule: Hastie, Tibshirani and Friedman,
    The Elements of Statistical Learning, 7.10.

    A standard uncertainty joins two terms. The one is the larger of the covariance's, with the
    misfit of left-out photographs as the corners' uncertainty, and the jackknife's over photographs
    (corners of one photograph err together: the paper is not flat, blur has a direction). The other
    is the farthest that models of about the same merit are from the chosen one.
    """
    poor = list(poor)
    _enough(views, poor)
    first = _fit(views, size, MODELS["k1"], _start(views, size, focal_px))
    if np.median([p.rms_px for p in _photo_fits(views, first)]) > NO_SHEET_PX:
        raise NotCalibrated(
            "no-sheet",
            "The corners do not lie as on one flat uncut sheet; print a sheet of two cards, leave it "
            "uncut, lay or pin it flat, and photograph it again.",
        )
    views, poor = _without_poor(views, first, poor)
    _enough(views, poor)
    first = _fit(views, size, MODELS["k1"], _start(views, size, focal_px))
    stretched = _fit(views, size, (*MODELS["k1"], "aspect"), first)
    _, u_aspect = _left_out(views, stretched)
    aspect = Known(float(stretched.values[NAMES.index("aspect")]), u_aspect["aspect"])
    uneven = is_uneven(aspect)
    fits: dict[str, _Fit] = {}
    misses: dict[str, np.ndarray] = {}
    jack: dict[str, dict[str, float]] = {}
    for name, free in MODELS.items():
        fits[name] = _fit(views, size, (*free, "aspect") if uneven else free, first)
        misses[name], jack[name] = _left_out(views, fits[name])
    alike = _about_the_best(misses)
    model = alike[0]

    def known(of: str, name: str) -> Known:
        here = fits[of].values[NAMES.index(name)]
        others = [abs(fits[m].values[NAMES.index(name)] - here) for m in alike if name in MODELS[m]]
        u = max(jack[of][name], _predicted_u(fits[of], misses[of], name))
        return Known(float(here), float(np.hypot(u, max(others, default=0.0))))

    focal = known("k1", "focal_px")
    if focal.u / focal.value > LARGEST_RELATIVE_U:
        raise NotCalibrated(
            "square-on",
            f"The photographs leave the focal length unsure by {100 * focal.u / focal.value:.1f} %; "
            "photograph the sheet from the left, right, above and below as well, tilted by 20 to 40 "
            "degrees.",
        )
    best = fits[model]
    photos = _photo_fits(views, best)
    free_point = "k1, principal point"
    return Calibration(
        size=size,
        model=model,
        values={n: known(model, n) for n in MODELS[model]},
        focal_px=focal,
        k1=known("k1", "k1"),
        principal_px=(known(free_point, "cx_px"), known(free_point, "cy_px")),
        aspect=aspect,
        misfit_px={m: float(np.sqrt(np.mean(v))) for m, v in misses.items()},
        photos=photos,
        poor=tuple(poor),
        distance_mm=float(np.median(np.linalg.norm(best.poses[:, 3:], axis=1))),
    )


def _enough(views: Sequence[SheetView], poor: Sequence[tuple[str, str]]) -> None:
    if len(views) < LEAST_PHOTOS:
        why = f" ({named(*poor[0])})" if poor else ""
        raise NotCalibrated(
            "too-few",
            f"The sheet is shown well enough in {len(views)} of the photographs, and at least "
            f"{LEAST_PHOTOS} are needed, better a dozen from different directions{why}.",
        )


def _without_poor(
    views: Sequence[SheetView], fit: _Fit, poor: list[tuple[str, str]]
) -> tuple[list[SheetView], list[tuple[str, str]]]:
    """The views without those whose corners miss by far more than the others'."""
    rms = np.array([p.rms_px for p in _photo_fits(views, fit)])
    limit = max(POOR_TIMES * float(np.median(rms)), POOR_PX)
    bad = [
        (v.file, f"its corners miss by {r:.1f} px, shaken or the sheet not flat")
        for v, r in zip(views, rms, strict=True) if r > limit
    ]  # fmt: skip
    return [v for v, r in zip(views, rms, strict=True) if r <= limit], [*poor, *bad]


def _matrix(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """OpenCV's camera matrix and distortion of numbers in the order of `NAMES`."""
    f, k1, k2, cx, cy, _ = values
    return np.array([[f, 0, cx], [0, f, cy], [0, 0, 1.0]]), np.array([k1, k2, 0.0, 0.0])


def _start(views: Sequence[SheetView], size: tuple[int, int], focal_px: float) -> _Fit:
    """OpenCV's calibration with one coefficient and the principal point in the middle."""
    middle = (np.array(size, float) - 1) / 2
    values = np.array([focal_px, 0.0, 0.0, *middle, 1.0])
    matrix, coefficients = _matrix(values)
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
    )  # fmt: skip
    _, matrix, coefficients, turns, shifts = cv2.calibrateCamera(
        [v.points_mm.astype(np.float32) for v in views],
        [v.corner_px.astype(np.float32) for v in views],
        size, matrix, coefficients, flags=flags,
    )  # fmt: skip
    values[0], values[1] = matrix[0, 0], np.ravel(coefficients)[0]
    poses = np.concatenate([np.reshape(turns, (-1, 3)), np.reshape(shifts, (-1, 3))], 1)
    return _Fit((), values, poses, np.empty((0, 0)), 1.0)


def _project(
    view: SheetView, values: np.ndarray, pose: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Residuals (2n,) of a view, and derivatives by numbers (2n, 6) and by pose (2n, 6)."""
    matrix, coefficients = _matrix(values)
    stretch = np.array([1.0, values[5], 1.0])
    points = view.points_mm * stretch
    px, by = cv2.projectPoints(points, pose[:3], pose[3:], matrix, coefficients)
    # OpenCV's columns: turn 3, shift 3, fx, fy, cx, cy, k1, k2, ...
    turn = cv2.Rodrigues(pose[:3])[0]
    along_y = view.points_mm[:, 1:2] * turn[:, 1]  # derivative of a point in the camera by aspect
    by_aspect = np.einsum("nij,nj->ni", by[:, 3:6].reshape(-1, 2, 3), along_y).ravel()
    by_values = np.column_stack(
        [by[:, 6] + by[:, 7], by[:, 10], by[:, 11], by[:, 8], by[:, 9], by_aspect]
    )
    return (px[:, 0] - view.corner_px).ravel(), by_values, by[:, :6]


def _fit(
    views: Sequence[SheetView], size: tuple[int, int], free: Sequence[str], start: _Fit
) -> _Fit:
    """Robust least squares of the free numbers and all poses; the others stand as in no model."""
    columns = [NAMES.index(n) for n in free]
    middle = (np.array(size, float) - 1) / 2
    standing = np.where(np.isin(NAMES, free), start.values, [0.0, 0.0, 0.0, *middle, 1.0])
    rows = np.cumsum([0] + [2 * len(v.points_mm) for v in views])

    def unpack(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        values = standing.copy()
        values[columns] = x[: len(columns)]
        return values, x[len(columns) :].reshape(-1, 6)

    def miss(x: np.ndarray) -> np.ndarray:
        values, poses = unpack(x)
        return np.concatenate([_project(*v)[0] for v in _each(views, values, poses)])

    def slope(x: np.ndarray) -> np.ndarray:
        values, poses = unpack(x)
        out = np.zeros((rows[-1], len(x)))
        for i, v in enumerate(_each(views, values, poses)):
            _, by_values, by_pose = _project(*v)
            at = slice(rows[i], rows[i + 1])
            out[at, : len(columns)] = by_values[:, columns]
            first = len(columns) + 6 * i
            out[at, first : first + 6] = by_pose
        return out

    x = np.concatenate([standing[columns], start.poses.ravel()])
    left = miss(x)
    sd = max(1.4826 * float(np.median(np.abs(left))), 1e-4)
    found = least_squares(
        miss, x, slope, loss="cauchy", f_scale=LOSS_SD * sd, x_scale="jac", max_nfev=50
    )
    left = miss(found.x)
    sd = 1.4826 * float(np.median(np.abs(left)))
    normal = found.jac.T @ found.jac
    covariance = np.linalg.pinv(normal, hermitian=True)[: len(columns), : len(columns)] * sd**2
    values, poses = unpack(found.x)
    return _Fit(tuple(free), values, poses, covariance, sd)


def _each(
    views: Sequence[SheetView], values: np.ndarray, poses: np.ndarray
) -> Iterator[tuple[SheetView, np.ndarray, np.ndarray]]:
    return ((v, values, p) for v, p in zip(views, poses, strict=True))


def _left_out(views: Sequence[SheetView], fit: _Fit) -> tuple[np.ndarray, dict[str, float]]:
    """Mean squared miss (photographs,) px^2 of each photograph by the lens of the others, with a pose
    of its own, and the jackknife's standard uncertainty of each free number.

    The lens of the others is one Gauss-Newton step from the lens of all. With S_i a photograph's part
    of the normal matrix of the free numbers, its pose eliminated, and g_i its part of the gradient,
    which sum to nought over all photographs, that step is (S - S_i)^-1 g_i.

    Source of the jackknife: Efron, The Jackknife, the Bootstrap and Other Resampling Plans, 1982, 3.
    """
    n = len(views)
    columns = [NAMES.index(name) for name in fit.free]
    parts = [_part(*v, columns, fit.sd_px) for v in _each(views, fit.values, fit.poses)]
    normal = sum(s for s, _ in parts)
    missed, found = [], []
    for view, pose, (own, gradient) in zip(views, fit.poses, parts, strict=True):
        values = fit.values.copy()
        # What only this photograph tells, as where all others are square on, the others leave alone.
        values[columns] += np.linalg.pinv(normal - own, hermitian=True) @ gradient
        left = _project(view, values, _pose(view, values, pose))[0]
        missed.append(float(np.mean(left**2)))
        found.append(values[columns])
    off = np.array(found) - np.mean(found, 0)
    u = np.sqrt((n - 1) / n * (off**2).sum(0))
    return np.array(missed), dict(zip(fit.free, u.tolist(), strict=True))


def _part(
    view: SheetView, values: np.ndarray, pose: np.ndarray, columns: list[int], sd_px: float
) -> tuple[np.ndarray, np.ndarray]:
    """A photograph's part of the normal matrix and of the gradient, its pose eliminated.

    The matrix has the Cauchy loss's second derivative as weight: its usual weight alone makes steps a
    quarter too short, for weights change along the step too.
    """
    left, by_values, by_pose = _project(view, values, pose)
    z2 = (left / (LOSS_SD * sd_px)) ** 2
    by_values = by_values[:, columns]
    curved = ((1 - z2) / (1 + z2) ** 2)[:, None]
    mixed = by_values.T @ (by_pose * curved)
    with_pose = mixed @ np.linalg.inv(by_pose.T @ (by_pose * curved))
    normal = by_values.T @ (by_values * curved) - with_pose @ mixed.T
    pull = left / (1 + z2)
    return normal, by_values.T @ pull - with_pose @ (by_pose.T @ pull)


def _pose(view: SheetView, values: np.ndarray, start: np.ndarray) -> np.ndarray:
    """A photograph's own pose (6,) with the lens given."""
    return least_squares(
        lambda x: _project(view, values, x)[0], start, lambda x: _project(view, values, x)[2],
        method="lm", x_scale="jac",
    ).x  # fmt: skip


def _about_the_best(misses: dict[str, np.ndarray]) -> list[str]:
    """Models whose prediction is within one standard error of the best's, simplest first."""
    best = min(misses, key=lambda m: misses[m].mean())
    out = []
    for name, miss in misses.items():
        more = miss - misses[best]  # photograph by photograph: a poor one is poor in both
        if more.mean() <= more.std(ddof=1) / np.sqrt(len(more)):
            out.append(name)
    return out


def _predicted_u(fit: _Fit, missed: np.ndarray, name: str) -> float:
    """The covariance's standard uncertainty with the misfit of left-out photographs as noise."""
    return fit.u(name) * max(float(np.sqrt(missed.mean())) / fit.sd_px, 1.0)


def _photo_fits(views: Sequence[SheetView], fit: _Fit) -> tuple[PhotoFit, ...]:
    out = []
    for view, values, pose in _each(views, fit.values, fit.poses):
        left = _project(view, values, pose)[0].reshape(-1, 2)
        out_of_plane = cv2.Rodrigues(pose[:3])[0][2, 2]
        tilt = float(np.arccos(np.clip(abs(out_of_plane), 0, 1)))
        out.append(PhotoFit(view.file, view.corner_px, left, tilt))
    return tuple(out)
