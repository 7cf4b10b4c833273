"""Random joints of two logs seen by ideal cameras: rays and noise, no pictures.

Nothing here uses the program's sections, splines or sight rays: a log is a surface in polar
coordinates round a bowed axis, its outline the envelope of projected points of that surface, its
clearance the difference of two interpolated heights. Lengths in mm, world as in `gapvision.scene.camera`
with the first card's nail at station 0.

    joint = draw_joint(rng, PROTOCOLS["heights"])
    fitted = fit(joint)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from gapvision.joint.first_joint import first_joint
from gapvision.joint.fit import fit_joint
from gapvision.joint.model import FittedPhoto, Joint
from gapvision.photo.pose import place_cards
from gapvision.scene.camera import Lens
from gapvision.scene.card import corner_points_mm, outline_mm
from gapvision.scene.photo_rows import CardSighting, OutlineRows, PhotoRows
from gapvision.scene.priors import Beliefs, Priors
from gapvision.trace.rows import ROUGH_MM

FOCAL_PX, SIZE = 2912.0, (4032, 3024)
HALF_STRETCH_MM = 550.0
BEYOND_MM = 120.0  # fitted past the stretch, as the program does
NAILS_MM = (0.0, 480.0)
STATION_STEP_MM = 10.0
POINT_STEP_MM = 12.0
HIGH = 0.22  # of the distance
LEAST_GAP_PX = 3.0
FIELD_PX = 40.0  # nothing is traced nearer to the picture's edge
SURFACE_STEP_MM, SURFACE_STEP_RAD = 6.0, 0.01  # outlines are true to 0.01 mm
GRID_MM = 0.25  # across the wall, for the true clearance


@dataclass(frozen=True, slots=True)
class Protocol:
    """How a joint is photographed: the lens's heights in distances, and what else is known."""

    heights: tuple[float, ...]
    cards: int = 2
    diameters: bool = True


PROTOCOLS = {
    "one-card": Protocol((0.0,), cards=1),
    "level": Protocol((0.0,)),
    "high": Protocol((HIGH,)),
    "two": Protocol((0.0, HIGH)),
    "heights": Protocol((-HIGH, 0.0, HIGH)),
}


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviations of everything between a joint and what is read off its photographs."""

    outline_px: float = 0.5  # white, each point
    outline_mm: float = 0.5  # the same over some 80 mm, new in every photograph
    outline_length_mm: float = 80.0
    corner_px: float = 0.08
    focal: float = 0.027
    k1: float = 0.005
    diameter_mm: float = 3.0
    swing_rad: float = np.radians(0.1)
    u_rough_mm: float = ROUGH_MM  # what the fit is told about each point, beside the white part


@dataclass(frozen=True, slots=True)
class Shape:
    """How far logs are from straight cones; 0 everywhere is a pair of cones."""

    taper: tuple[float, float] = (0.001, 0.006)
    oval: float = 0.03
    bow_mm: float = 4.0  # at 1 m from the middle, sd
    waves: tuple[int, int] = (3, 4)
    wave_mm: tuple[float, float] = (0.5, 3.0)
    bumps: tuple[int, int] = (1, 3)
    offset_mm: float = 13.0  # between the crowns, sd
    slope: float = 0.006
    narrowest_mm: tuple[float, float] = (6.0, 25.0)


@dataclass(frozen=True, slots=True)
class Fault:
    """What is no longer as it was when photograph ``view`` is taken."""

    view: int
    card: int = 1  # the card that `moved_mm` and `swung_rad` are of
    moved_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    swung_rad: tuple[float, float, float] = (0.0, 0.0, 0.0)  # pitch, yaw, roll
    sunk_mm: float = 0.0  # of the upper log, with the cards that hang on it
    focal: float = 1.0  # times the focal length of the others


CONES = Shape(taper=(0.002, 0.004), oval=0.0, bow_mm=0.0, waves=(0, 0), bumps=(0, 0))


@dataclass(eq=False, slots=True)
class Log:
    """One log. Angles run round the axis from its top towards the outside."""

    radius_mm: float
    taper: float
    middle_mm: float
    y_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)  # of the axis: level, slope, bow at 1 m
    z_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    oval: tuple[float, float] = (0.0, 0.0)  # share of the radius, and the angle of its long axis
    waves: list[tuple[float, float, float, int, float]] = field(default_factory=list)
    bumps: list[tuple[float, float, float, float, float]] = field(default_factory=list)

    def mean_radius(self, x: np.ndarray) -> np.ndarray:
        """What a good tape finds."""
        return self.radius_mm + self.taper * (x - self.middle_mm)

    def surface(self, x: np.ndarray, angle: np.ndarray) -> np.ndarray:
        """Points (n, m, 3) of the surface at stations (n,) and angles (m,)."""
        xx, a = x[:, None], angle[None]
        r = self.mean_radius(xx) * (1 + self.oval[0] * np.cos(2 * (a - self.oval[1])))
        for height, length, phase, order, at in self.waves:
            r = r + height * np.sin(2 * np.pi * xx / length + phase) * np.cos(order * (a - at))
        for height, place, sd, at, sd_angle in self.bumps:
            turn = np.angle(np.exp(1j * (a - at)))
            r = r + height * np.exp(-0.5 * ((xx - place) / sd) ** 2 - 0.5 * (turn / sd_angle) ** 2)
        far = (xx - self.middle_mm) / 1000.0
        y, z = (c[0] + 1000.0 * c[1] * far + c[2] * far**2 for c in (self.y_mm, self.z_mm))
        return np.stack([xx + 0 * a + 0 * r, y + r * np.cos(a), z + r * np.sin(a)], -1)


@dataclass(frozen=True, eq=False, slots=True)
class Truth:
    """By station (n,), mm; ``needed_mm`` for a cover and ``width_mm`` at a setting."""

    station_mm: np.ndarray
    z_mm: np.ndarray
    clearance_mm: np.ndarray  # (n, m) over z

    @property
    def gap_mm(self) -> np.ndarray:
        """Least plumb clearance."""
        return self.clearance_mm.min(1)

    def needed_mm(self, cover_mm: float) -> np.ndarray:
        """Least setting whose groove, the run round the closest place, is as wide as the cover."""
        n = int(round(cover_mm / GRID_MM))
        out = []
        for c in self.clearance_mm:
            k = int(np.argmin(c))
            flood = np.concatenate(
                [np.maximum.accumulate(c[k::-1])[::-1], np.maximum.accumulate(c[k + 1 :])]
            )  # the setting at which the run has reached a place
            left, right = (f[max(0, k - n) : k + 1] for f in (flood[:-n], flood[n:]))
            # Left falls and right rises with the groove's place: best where they meet.
            i = int(np.clip(np.searchsorted(right - left, 0.0), 1, len(left) - 1))
            t = (left - right)[i - 1] / ((left - right)[i - 1] - (left - right)[i])
            out.append(left[i - 1] + t * (left[i] - left[i - 1]))
        return np.array(out)

    def width_mm(self, setting_mm: float) -> np.ndarray:
        """Width of the run round the closest place, to the grid's step."""
        out = []
        for c in self.clearance_mm:
            k = int(np.argmin(c))
            right = np.argmax(np.r_[c[k:] >= setting_mm, True])
            left = np.argmax(np.r_[c[k::-1] >= setting_mm, True])
            out.append(max(0, right + left - 1) * GRID_MM)
        return np.array(out)


@dataclass(frozen=True, eq=False, slots=True)
class SimulatedJoint:
    """What the program would have read, and the truth."""

    views: list[PhotoRows]
    lenses: list[Lens]
    stated: dict[str, Callable | None]
    truth: Truth
    lower: Log
    upper: Log
    stretch_mm: tuple[float, float]
    hung_on: str = "upper"

    def beliefs(self, priors: Priors | None = None) -> Beliefs:
        """What a fit of it believes beforehand."""
        return Beliefs(tuple(self.lenses), self.stated, priors or Priors())


def draw_joint(
    rng: np.random.Generator,
    protocol: Protocol,
    shape: Shape | None = None,
    noise: Noise | None = None,
    fault: Fault | None = None,
) -> SimulatedJoint:
    """A random joint, its photographs and what is read off them.

    The same seed gives the same joint with and without a ``fault``.
    """
    shape, noise = shape or Shape(), noise or Noise()
    nails = NAILS_MM[: protocol.cards]
    middle = float(np.mean(nails))
    stretch = middle - HALF_STRETCH_MM, middle + HALF_STRETCH_MM
    lower, upper = (
        _draw_log(rng, shape, middle, np.pi / 2),
        _draw_log(rng, shape, middle, -np.pi / 2),
    )
    _stack(rng, shape, lower, upper, stretch)
    truth = _truth(lower, upper, stretch)
    cards = [_hang(rng, upper, x) for x in nails]
    gap_y = _at(lower, middle, 0.0)[1] + 0.5 * float(np.median(truth.gap_mm))
    focal = FOCAL_PX * (1 + noise.focal * rng.standard_normal())
    k1 = noise.k1 * rng.standard_normal()
    views = []
    for index, height in enumerate(protocol.heights):
        distance = rng.uniform(1100.0, 1900.0)
        place = np.array([middle, gap_y + height * distance, lower.z_mm[0] + distance])
        place = place + rng.normal(0, (30, 20, 0))
        turn = _look(rng, height)
        camera = _Lens(turn, place, FOCAL_PX, k1)
        scene = lower, upper, cards
        if fault is not None and fault.view == index:
            camera, *scene = _faulty(fault, camera, *scene)
        views.append(_photograph(rng, camera, *scene, stretch, noise))
    lens = Lens(focal, max(noise.focal, 1e-5) * focal, 0.0, 0.01)
    stated = {"lower": None, "upper": None}
    if protocol.diameters:
        stated = {
            "lower": _stated(rng, lower, stretch, noise), "upper": _stated(rng, upper, stretch, noise)
        }  # fmt: skip
    return SimulatedJoint(views, [lens], stated, truth, lower, upper, stretch)


def _faulty(fault: Fault, camera: _Lens, lower: Log, upper: Log, cards: list[_Hung]):
    """Camera, logs and cards as they are in the fault's photograph."""
    y, slope, bow = upper.y_mm
    upper = replace(upper, y_mm=(y - fault.sunk_mm, slope, bow))
    sunk = np.array([0.0, -fault.sunk_mm, 0.0])
    cards = [replace(c, nail_mm=c.nail_mm + sunk) for c in cards]
    k = fault.card - 1
    cards[k] = replace(
        cards[k],
        nail_mm=cards[k].nail_mm + fault.moved_mm,
        tilt_rad=cards[k].tilt_rad + fault.swung_rad,
    )
    return replace(camera, focal_px=camera.focal_px * fault.focal), lower, upper, cards


def start(joint: SimulatedJoint, priors: Priors | None = None) -> Joint:
    """The joint before the fit, from the cards alone."""
    placed = place_cards(joint.views, joint.lenses, joint.hung_on)
    low, high = joint.stretch_mm
    photos = [FittedPhoto(v, placed.cameras[i]) for i, v in enumerate(joint.views)]
    reach = low - BEYOND_MM, high + BEYOND_MM
    return first_joint(photos, placed.cards, reach, joint.beliefs(priors))


def fit(joint: SimulatedJoint, priors: Priors | None = None) -> Joint:
    """The fitted joint."""
    return fit_joint(start(joint, priors), joint.beliefs(priors))


def _draw_log(rng, shape: Shape, middle: float, outside: float) -> Log:
    """A log about a station; its place is set by `_stack`. Bumps lie near the joint."""
    log = Log(rng.uniform(125, 195), rng.uniform(*shape.taper) * rng.choice((-1, 1)), middle)
    log.oval = rng.uniform(0, shape.oval), rng.uniform(0, np.pi)
    log.y_mm = 0.0, 0.0, shape.bow_mm * rng.standard_normal()
    log.z_mm = 0.0, 0.0, shape.bow_mm * rng.standard_normal()
    for _ in range(rng.integers(shape.waves[0], shape.waves[1] + 1)):
        log.waves.append(
            (
                rng.uniform(*shape.wave_mm), rng.uniform(300, 1600), rng.uniform(0, 2 * np.pi),
                int(rng.integers(0, 3)), rng.uniform(0, 2 * np.pi),
            )
        )  # fmt: skip
    facing = 0.0 if outside > 0 else np.pi
    for _ in range(rng.integers(shape.bumps[0], shape.bumps[1] + 1)):
        log.bumps.append(
            (
                rng.uniform(-3.0, 5.0), middle + rng.uniform(-1, 1) * HALF_STRETCH_MM,
                rng.uniform(40, 150), facing + rng.normal(0, 0.35), rng.uniform(0.15, 0.35),
            )
        )  # fmt: skip
    return log


def _stack(rng, shape: Shape, lower: Log, upper: Log, stretch) -> None:
    """Lay the upper log over the lower one with the wanted offset, slope and narrowest gap."""
    lower.y_mm = -lower.radius_mm, 0.0, lower.y_mm[2]
    upper.y_mm = upper.radius_mm, rng.uniform(-1, 1) * shape.slope, upper.y_mm[2]
    upper.z_mm = shape.offset_mm * rng.standard_normal(), 0.0, upper.z_mm[2]
    lift = rng.uniform(*shape.narrowest_mm) - _truth(lower, upper, stretch).gap_mm.min()
    upper.y_mm = upper.y_mm[0] + lift, *upper.y_mm[1:]


def _truth(lower: Log, upper: Log, stretch) -> Truth:
    x = np.arange(stretch[0], stretch[1] + 1e-6, STATION_STEP_MM)
    angle = np.arange(-0.9, 0.9 + 1e-9, 0.004)
    below, above = lower.surface(x, angle), upper.surface(x, np.pi - angle)
    middle = 0.5 * (lower.z_mm[0] + upper.z_mm[0])
    z = middle + np.arange(-75.0, 75.0 + 1e-9, GRID_MM)
    gap = [
        np.interp(z, b[:, 2], b[:, 1]) - np.interp(z, a[:, 2], a[:, 1])
        for a, b in zip(below, above, strict=True)
    ]
    return Truth(x, z, np.array(gap))


def _at(log: Log, x: float, angle: float) -> np.ndarray:
    return log.surface(np.array([x]), np.array([angle]))[0, 0]


def _stated(rng, log: Log, stretch, noise: Noise):
    """Radius by station, from diameters taped at both ends."""
    ends = log.mean_radius(np.array(stretch)) + noise.diameter_mm / 2 * rng.standard_normal(2)
    return lambda station: (
        np.interp(station, stretch, ends)
        + np.where(
            station < stretch[0], (station - stretch[0]), np.maximum(station - stretch[1], 0.0)
        )
        * (ends[1] - ends[0])
        / (stretch[1] - stretch[0])
    )


@dataclass(frozen=True, slots=True)
class _Hung:
    nail_mm: np.ndarray
    tilt_rad: np.ndarray  # pitch, yaw, roll


def _hang(rng, log: Log, x: float) -> _Hung:
    """A card before the log's proudest spot behind it; turned, its corner touches."""
    tilt = np.radians(rng.normal(0, (0.7, 3.0, 0.5)))
    behind = log.surface(np.linspace(x - 131, x + 131, 25), np.array([np.pi / 2]))
    z = behind[..., 2].max() + rng.uniform(1, 5) + 131 * abs(np.sin(tilt[1]))
    return _Hung(np.array([x, _at(log, x, np.pi / 2)[1], z]), tilt)


def _card_points(card: _Hung, points: np.ndarray, swing: np.ndarray) -> np.ndarray:
    pitch, yaw, roll = card.tilt_rad + swing
    turn = _turn(1, yaw) @ _turn(0, pitch) @ _turn(2, roll)
    return card.nail_mm + points @ turn.T


def _turn(axis: int, angle: float) -> np.ndarray:
    return cv2.Rodrigues(angle * np.eye(3)[axis])[0]


def _look(rng, height: float) -> np.ndarray:
    """Turn from world to camera: at the joint's middle, held a little askew."""
    pitch, yaw, roll = np.radians(rng.normal(0, (1.5, 2.0, 1.5)))
    down = np.arctan(height)
    facing = np.diag([1.0, -1.0, -1.0])
    return _turn(2, roll) @ _turn(0, pitch + down) @ _turn(1, yaw) @ facing


@dataclass(frozen=True, slots=True)
class _Lens:
    """The true camera. OpenCV projects."""

    turn: np.ndarray
    centre_mm: np.ndarray
    focal_px: float
    k1: float

    def see(self, points: np.ndarray) -> np.ndarray:
        c = (np.array(SIZE, float) - 1) / 2
        k = np.array([[self.focal_px, 0, c[0]], [0, self.focal_px, c[1]], [0, 0, 1.0]])
        flat = np.ascontiguousarray(points.reshape(-1, 3))
        xy, _ = cv2.projectPoints(
            flat, cv2.Rodrigues(self.turn)[0], -self.turn @ self.centre_mm, k,
            np.array([self.k1, 0, 0, 0]),
        )  # fmt: skip
        return xy.reshape(*points.shape[:-1], 2)


def _silhouette(camera: _Lens, log: Log, underside: bool, stretch, column):
    """Row (n,) px of a log's outline at columns (n,), and the station it touches."""
    x = np.arange(stretch[0] - 300, stretch[1] + 300, SURFACE_STEP_MM)
    angle = np.arange(-0.75, 0.75, SURFACE_STEP_RAD) + (np.pi if underside else 0.0)
    points = log.surface(x, angle)
    xy = camera.see(points)
    sign = -1.0 if underside else 1.0  # outlines bound the gap: highest of the lower, and so on
    rows = np.array([np.interp(column, c[:, 0], sign * c[:, 1]) for c in xy.swapaxes(0, 1)])
    best = rows.argmin(0)
    station = np.array([np.interp(u, xy[:, j, 0], x) for u, j in zip(column, best, strict=True)])
    return sign * rows.min(0), station


def _photograph(
    rng, camera: _Lens, lower: Log, upper: Log, cards, stretch, noise: Noise
) -> PhotoRows:
    sightings, hidden = [], []
    for number, card in enumerate(cards, 1):
        swing = noise.swing_rad * rng.standard_normal(3)
        xy = camera.see(_card_points(card, corner_points_mm(), swing))
        rim = np.c_[outline_mm(), np.zeros(4)]
        hidden.append(camera.see(_card_points(card, rim, swing)).astype(np.float32))
        inside = np.all((xy > FIELD_PX) & (xy < np.array(SIZE) - FIELD_PX), axis=1)
        ids = np.flatnonzero(inside)
        seen = xy[inside] + noise.corner_px * rng.standard_normal((len(ids), 2))
        module = float(np.linalg.norm(xy[9] - xy[0])) / 198.0 * 17.0 / 6.0
        u = max(noise.corner_px, 0.005)
        sightings.append(CardSighting(number, ids, seen, u, np.eye(3), module))
    mm_per_px = (camera.centre_mm[2] - 0.5 * (lower.z_mm[0] + upper.z_mm[0])) / camera.focal_px
    step = POINT_STEP_MM / mm_per_px
    column = np.arange(FIELD_PX, SIZE[0] - FIELD_PX, step)
    row_l, at_l = _silhouette(camera, lower, False, stretch, column)
    row_u, at_u = _silhouette(camera, upper, True, stretch, column)
    outlines = []
    wide = (row_l - row_u) * np.cos(np.arctan(np.gradient(row_l, column))) > LEAST_GAP_PX
    for log, row, at in (("lower", row_l, at_l), ("upper", row_u, at_u)):
        near = (at > stretch[0] - BEYOND_MM + 10) & (at < stretch[1] + BEYOND_MM - 10)
        clear = np.array(
            [all(cv2.pointPolygonTest(h, (float(u), float(v)), False) < 0 for h in hidden)
             for u, v in zip(column, row, strict=True)]
        )  # fmt: skip
        ok = near & clear & wide & (row > FIELD_PX) & (row < SIZE[1] - FIELD_PX)
        slow = _correlated(rng, at[ok], noise.outline_length_mm) * noise.outline_mm / mm_per_px
        v = row[ok] + slow + noise.outline_px * rng.standard_normal(ok.sum())
        u = np.full(ok.sum(), np.hypot(max(noise.outline_px, 0.005), noise.u_rough_mm / mm_per_px))
        if ok.any():
            outlines.append(OutlineRows(log, np.stack([column[ok], v], 1), u))
    return PhotoRows("outside", SIZE, 0, tuple(sightings), tuple(outlines))


def _correlated(rng, at: np.ndarray, length_mm: float) -> np.ndarray:
    """Smooth noise of sd 1 whose correlation over a distance d is exp(-(d/length)^2 / 2)."""
    if len(at) == 0:
        return np.empty(0)
    d = at[:, None] - at[None]
    cov = np.exp(-0.5 * (d / length_mm) ** 2) + 1e-6 * np.eye(len(at))
    return np.linalg.cholesky(cov) @ rng.standard_normal(len(at))


def without_diameters(protocol: Protocol) -> Protocol:
    """The same protocol where nobody has taped the logs."""
    return replace(protocol, diameters=False)
