"""Whether a card is bent: its corners, in all photographs that show it, against a plane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from gapvision.errors import CardNotFound
from gapvision.photo.pose import card_pose
from gapvision.scene import card
from gapvision.scene.camera import Lens, rotation
from gapvision.scene.photo_rows import CardSighting, PhotoRows

SURE = 4.2  # standard uncertainties of one curvature: 1 in 10,000, Student's t of 51
SURE_TO_REFUSE = 6.0  # of all three: root of chi-square
NONSENSE_MM = 200.0  # a card bent to this radius follows a log; its pose is off by 14 degrees
NAIL_TO_MIDDLE_MM = 48.0  # of the board, along the paper

U_PRINCIPAL = 0.01  # of the picture's long side: phones' principal points; judgement
LEAST_U_K1 = 0.005  # k2, and what else one coefficient leaves, seen over one card; judgement
U_BEND = 0.01  # 1/mm, of curvatures: a spring where hidden corners leave one unknown
LEAST_NOISE_PX = 0.05  # corners are not believed to be read better
TURNED_NOISE_PX = 0.3  # more than flat or bent cards leave: begun in a wrong valley
STARTS = np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]]) / 150.0  # 1/mm, along x and y
ROUNDS, SETTLED = 12, 1e-7  # 1/mm
POSE = 10  # of a photograph's unknowns: turn, place, log focal length, k1, principal point
BEND_STEP = 1e-6  # 1/mm


@dataclass(frozen=True, slots=True)
class CardView:
    """A card's sighting in one photograph, what is known of its lens, and the picture's size."""

    sighting: CardSighting
    lens: Lens
    size: tuple[int, int]


@dataclass(frozen=True, eq=False, slots=True)
class Bend:
    """How far a card is from flat.

    ``curvature`` (3,) is 1/mm: along the card's x, along its y, and the twist between them, positive
    where its middle stands out; ``covariance`` (3, 3). ``noise_px`` is what the corners miss the bent
    card by, per axis.
    """

    curvature: np.ndarray
    covariance: np.ndarray
    noise_px: float

    @property
    def sigmas(self) -> float:
        """Root of the chi-square of all three curvatures: of flat cards 1.5 in the median."""
        return float(np.sqrt(self.curvature @ np.linalg.solve(self.covariance, self.curvature)))

    @property
    def sure(self) -> np.ndarray:
        """The curvatures (3,) of which flat cards hardly ever show as much; 0 for the others."""
        u = np.sqrt(np.diag(self.covariance))
        return np.where(np.abs(self.curvature) > SURE * u, self.curvature, 0.0)

    @property
    def radius_mm(self) -> float:
        """Of the tightest bend that is sure; infinite where none is."""
        most = float(np.abs(np.linalg.eigvalsh(_tensor(self.sure))).max())
        return 1 / most if most else np.inf

    @property
    def upright(self) -> bool:
        """Whether it is bent about an upright line rather than a level one, as a log would."""
        return bool(abs(self.sure[0]) > abs(self.sure[1]))

    @property
    def lean_rad(self) -> float:
        """How far its board is turned from plumb, if it hangs plumb at the nail and bends from there."""
        return float(abs(self.sure[1])) * NAIL_TO_MIDDLE_MM

    @property
    def depth_mm(self) -> float:
        """How far the board's middle stands out before its edges, or a corner before the others."""
        x, y, twist = np.abs(self.sure)
        half = 0.5 * card.COLUMNS * card.SQUARE_MM, 0.5 * card.ROWS * card.SQUARE_MM
        return float(max(x * half[0] ** 2 / 2, y * half[1] ** 2 / 2, twist * half[0] * half[1]))


def card_bends(views: Sequence[PhotoRows], lenses: Sequence[Lens]) -> dict[int, Bend]:
    """The bend of every card by number, each from all photographs that show it.

    ``lenses`` are those before the fit: a bent card bends a fitted lens.
    """
    by_card: dict[int, list[CardView]] = {}
    for view in views:
        for s in view.sightings:
            by_card.setdefault(s.number, []).append(CardView(s, lenses[view.lens], view.size))
    return {number: card_bend(seen) for number, seen in by_card.items()}


def without_bent(
    sightings: tuple[CardSighting, ...], lens: Lens, size: tuple[int, int], label: str
) -> tuple[tuple[CardSighting, ...], tuple[int, ...]]:
    """The cards of one photograph whose pose means something, and the numbers of the others.

    Raises
    ------
    CardNotFound
        Where no other is left.
    """
    bends = {s.number: card_bend([CardView(s, lens, size)]) for s in sightings}
    bent = tuple(
        n for n, b in bends.items() if b.sigmas > SURE_TO_REFUSE and b.radius_mm < NONSENSE_MM
    )
    if sightings and len(bent) == len(sightings):
        raise CardNotFound(
            "card-bent",
            f"{label}: card {bent[0]} is bent, to a radius of some "
            f"{round(bends[bent[0]].radius_mm, -1):.0f} mm, so that it tells neither plumb nor scale; "
            "glue it to something stiff and flat, hang it free from one nail, so that it does not lie "
            "against the log, and photograph again.",
        )
    return tuple(s for s in sightings if s.number not in bent), bent


def card_bend(views: Sequence[CardView]) -> Bend:
    """The bend of one card, one and the same in all photographs of it.

    Notes
    -----
    Least squares over all corners: in each photograph a pose, and focal length, k1 and principal point
    with their priors, since a lens bends pictures too; three curvatures in common. The noise is what
    is left, so that a shaken card is not taken for a bent one. See docs/model.md.
    """
    return _of_one(views[0]) if len(views) == 1 else _best_fit(views)


@lru_cache(maxsize=32)
def _of_one(view: CardView) -> Bend:
    """Asked of each photograph, and again of the joint where it alone shows the card."""
    return _best_fit([view])


def _best_fit(views: Sequence[CardView]) -> Bend:
    flat = _fit(views, np.zeros(3))
    if flat.noise_px < TURNED_NOISE_PX:
        return flat
    others = (_fit(views, np.append(start, 0.0)) for start in STARTS[1:])
    return min((flat, *others), key=lambda b: b.noise_px)


def bent_points(points_mm: np.ndarray, curvature: np.ndarray) -> np.ndarray:
    """Points (..., n, 3) of a flat card's (n, 3), as they lie when it is bent about its board's middle.

    Lengths along the paper stay: in each principal direction it is an arc. ``curvature`` (..., 3) may be
    several.
    """
    middle = card.corner_points_mm()[:, :2].mean(0)
    values, axes = np.linalg.eigh(_tensor(curvature))
    values = values[..., None, :]
    s = (points_mm[:, :2] - middle) @ axes
    turned = values * s / np.pi
    along = s * np.sinc(turned)
    out = -0.5 * values * (s * np.sinc(turned / 2)) ** 2
    on_paper = along @ np.swapaxes(axes, -1, -2) + middle
    return np.concatenate([on_paper, out.sum(-1, keepdims=True)], -1)


def _tensor(curvature: np.ndarray) -> np.ndarray:
    """Curvatures (..., 3) as matrices (..., 2, 2)."""
    return np.asarray(curvature)[..., [[0, 2], [2, 1]]]


def _fit(views: Sequence[CardView], start: np.ndarray) -> Bend:
    """Gauss-Newton from one start, each photograph's own unknowns eliminated."""
    states = [_first(v) for v in views]
    bend, noise = start, 0.1
    normal = np.eye(3)
    for k in range(ROUNDS):
        normal, left = np.eye(3) / U_BEND**2, -bend / U_BEND**2
        solved, squares, count = [], 0.0, 0
        for view, state in zip(views, states, strict=True):
            a, b, miss, weight = _equations(view, state, bend, noise)
            shared = a[:POSE, POSE:]
            solved.append(np.linalg.solve(a[:POSE, :POSE], np.column_stack([shared, b[:POSE]])))
            normal += a[POSE:, POSE:] - shared.T @ solved[-1][:, :3]
            left += b[POSE:] - shared.T @ solved[-1][:, 3]
            squares += float((weight * miss**2).sum())
            count += miss.size - 6
        step = np.clip(np.linalg.solve(normal, left), -U_BEND, U_BEND)
        bend = bend + step
        states = [s + x[:, 3] - x[:, :3] @ step for s, x in zip(states, solved, strict=True)]
        if k > 1:  # the first rounds still hold the plane's misfit
            noise = max(LEAST_NOISE_PX, float(np.sqrt(squares / max(count - 3, 1))))
            if np.abs(step).max() < SETTLED:
                break
    return Bend(bend, np.linalg.inv(normal), noise)


def _first(view: CardView) -> np.ndarray:
    """A flat card's pose and the lens as believed."""
    camera = card_pose(view.sighting, view.lens, view.size)
    turn = cv2.Rodrigues(camera.camera_from_world)[0].ravel()
    place = -camera.camera_from_world @ camera.centre_mm
    return np.concatenate([turn, place, [0.0, view.lens.k1, 0.0, 0.0]])


def _lain(view: CardView, bend: np.ndarray) -> np.ndarray:
    """The seen corners (..., n, 3) of the card as it lies when it is bent by (..., 3), true mm."""
    s = view.sighting
    return bent_points(card.corner_points_mm()[s.corner_id], bend) * s.print_scale


def _seen(
    view: CardView, state: np.ndarray, points_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pixels (n, 2) of points (n, 3), their change (2 n, 10) with the state, and with the points (2 n, 3)."""
    turn, place, (log_focal, k1, *principal) = state[:3], state[3:6], state[6:]
    focal = view.lens.focal_px * np.exp(log_focal)
    cx, cy = (np.array(view.size, float) - 1) / 2 + principal
    k = np.array([[focal, 0, cx], [0, focal, cy], [0, 0, 1]])
    px, j = cv2.projectPoints(points_mm, turn, place, k, np.array([k1, 0, 0, 0]))
    of_state = np.column_stack([j[:, :6], focal * (j[:, 6] + j[:, 7]), j[:, 10], j[:, 8:10]])
    return px[:, 0], of_state, j[:, 3:6] @ rotation(turn)


def _equations(
    view: CardView, state: np.ndarray, bend: np.ndarray, noise: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Normal equations (13, 13) and (13,) of one photograph, its misses (n, 2) and their weights."""
    points, *moved = _lain(view, np.vstack([bend, bend + BEND_STEP * np.eye(3)]))
    seen, of_state, of_points = _seen(view, state, points)
    miss = view.sighting.corner_px - seen
    lifted = np.repeat((np.array(moved) - points) / BEND_STEP, 2, axis=1)  # a point has two rows
    jacobian = np.column_stack([of_state, (of_points * lifted).sum(-1).T])
    # A corner that is wrongly read pulls with the force of three standard deviations, no more.
    pull = 1 / np.maximum(1, np.hypot(*miss.T) / (3 * noise))
    weight = np.repeat(pull[:, None], 2, axis=1)
    weighed = (weight.ravel() / noise**2)[:, None] * jacobian
    a, b = weighed.T @ jacobian, weighed.T @ miss.ravel()
    lens, u_place = view.lens, U_PRINCIPAL * max(view.size)
    u = lens.u_focal_px / lens.focal_px, max(lens.u_k1, LEAST_U_K1), u_place, u_place
    for k, uk, believed in zip(range(6, POSE), u, (0.0, lens.k1, 0.0, 0.0), strict=True):
        a[k, k] += 1 / uk**2
        b[k] += (believed - state[k]) / uk**2
    return a, b, miss, weight
