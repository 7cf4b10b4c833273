"""The fitted joint: cameras, cards and both logs' sections; what a sight ray misses them by."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from gapvision.joint.readings import PROPOSED, GapReading, met, outlines_off
from gapvision.scene.camera import Camera, Lens
from gapvision.scene.hung_card import HungCard
from gapvision.scene.photo_rows import OutlineRows, PhotoRows
from gapvision.scene.sections import Sections
from gapvision.scene.spline import Spline

KNOT_H_MM, KNOT_S_MM = 60.0, 150.0  # crowns' heights; their radii and places across the wall

LEAST_RADIUS_MM = 40.0


@dataclass(frozen=True, eq=False, slots=True)
class FittedPhoto:
    """One photograph in the joint.

    ``shift_px`` (2,) is the common shift of the lower and of the upper outline; ``residual_px`` what
    each outline's rows miss by, by log, and ``corner_px`` each card's corners, rms by number.
    """

    rows: PhotoRows
    camera: Camera
    shift_px: np.ndarray = field(default_factory=lambda: np.zeros(2))
    residual_px: dict[str, np.ndarray] = field(default_factory=dict)
    corner_px: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False, slots=True)
class Joint:
    """Photographs, cards, sections and their covariance.

    Readings by hand are in the best fit as straight rows. The draws know them as they are: what the
    photographs alone tell of the sections (``section_factor`` about the best fit moved by
    ``section_shift``) is weighed by them. ``replace(joint, readings=())`` draws without them.
    """

    photos: tuple[FittedPhoto, ...]
    lenses: tuple[Lens, ...]
    cards: tuple[HungCard, ...]
    spline_h: Spline
    spline_s: Spline
    coefficients: dict[str, np.ndarray]  # h_l, z_l, r_l, h_u, z_u, r_u
    section_factor: np.ndarray | None = None  # draws of the coefficients: this @ standard normals
    cost: float = float("nan")
    readings: tuple[GapReading, ...] = ()
    section_shift: np.ndarray | None = None  # where there are readings: from the best fit

    def observing(self, rows: Iterable[PhotoRows]) -> Joint:
        """The same joint with other rows of its photographs."""
        photos = zip(self.photos, rows, strict=True)
        return replace(self, photos=tuple(replace(p, rows=r) for p, r in photos))

    def distance_mm(self, photo: FittedPhoto) -> float:
        """Of a photograph's camera from the logs, across the wall."""
        return float(abs(photo.camera.centre_mm[2] - np.mean(self.coefficients["z_l"])))

    def lookup(
        self, name: str, up: np.ndarray, first: np.ndarray, weights: np.ndarray
    ) -> np.ndarray:
        """Values (n,) of the splines ``name`` (``h_``, ``z_``, ``r_``), each of its log, as `UP` has it."""
        lower, upper = self.coefficients[name + "l"], self.coefficients[name + "u"]
        begins = np.where(up > 0, 0, len(lower))
        return lookup(np.concatenate([lower, upper]), begins + first, weights)

    def sections(self, station_mm: np.ndarray) -> Sections:
        """Both logs' circles at stations."""
        return Sections(*self._values(station_mm, self.coefficients))

    def draws(self, station_mm: np.ndarray, n: int, rng: np.random.Generator) -> Sections:
        """Circles at stations in n Monte Carlo draws of the fit, arrays (n, stations)."""
        proposed = PROPOSED * n if self.readings else n
        factor = self._factor
        noise = rng.standard_normal((proposed // 2, factor.shape[1])) @ factor.T
        noise = np.concatenate([noise, -noise])  # antithetic: the mean of linear terms is exact
        if not self.readings:
            return Sections(*self._values(station_mm, self._parts(noise)))
        parts = self._parts(self._met_by_readings(noise, n, rng))
        drawn = Sections(*self._values(station_mm, parts))
        off = outlines_off(self.readings, self._needed_at_readings(parts), np.asarray(station_mm))
        return replace(drawn, h_u=drawn.h_u + off)

    def _met_by_readings(self, noise: np.ndarray, n: int, rng: np.random.Generator) -> np.ndarray:
        """Of draws (d, coefficients) of the photographs n that agree with the readings too."""
        at = np.array([r.station_mm for r in self.readings])
        needed = self._needed_at_readings(self._parts(noise))
        is_height = np.concatenate(
            [np.full(len(c), name[0] == "h") for name, c in self.coefficients.items()]
        )
        weights = self.spline_h.matrix(at)
        slope = np.concatenate([-weights, weights], 1)  # lower crown, upper crown
        covariance = self._factor @ self._factor.T
        return met(noise, covariance, is_height, slope, needed, self.readings, n, rng)

    def _needed_at_readings(self, parts: dict[str, np.ndarray]) -> np.ndarray:
        """Setting (d, k) that draws need at the readings' stations for their covers."""
        at, cover = (
            np.array([getattr(r, k) for r in self.readings]) for k in ("station_mm", "cover_mm")
        )
        return Sections(*self._values(at, parts)).setting_needed(cover)

    def _parts(self, noise: np.ndarray) -> dict[str, np.ndarray]:
        """Coefficients (d, n) by name, of draws about what the photographs tell."""
        if self.section_shift is not None:
            noise = self.section_shift + noise
        parts, at = {}, 0
        for name, c in self.coefficients.items():
            parts[name] = c + noise[:, at : at + len(c)]
            if name[0] == "r":  # a wide prior's tail must not turn a log inside out
                parts[name] = np.maximum(parts[name], LEAST_RADIUS_MM)
            at += len(c)
        return parts

    @property
    def _factor(self) -> np.ndarray:
        if self.section_factor is None:
            raise ValueError("a joint is drawn from after its fit, and this one is not fitted")
        return self.section_factor

    def _values(self, station_mm: np.ndarray, parts: dict[str, np.ndarray]) -> list[np.ndarray]:
        mh, ms = self.spline_h.matrix(station_mm), self.spline_s.matrix(station_mm)
        return [parts[k] @ (mh if k[0] == "h" else ms).T for k in SECTION_NAMES]


SECTION_NAMES = ("h_l", "z_l", "r_l", "h_u", "z_u", "r_u")
UP = {"lower": 1.0, "upper": -1.0}  # where a log lies, seen from its side of the gap


def touch(
    directions: np.ndarray, up: np.ndarray, joint_z: np.ndarray, joint_r: np.ndarray
) -> np.ndarray:
    """z where each ray grazes its log: half a log behind the card, and more for a sloping ray."""
    slope = directions[:, 1] / directions[:, 2]
    return joint_z - up * joint_r * slope / np.sqrt(1 + slope**2)


@dataclass(frozen=True, eq=False, slots=True)
class Graze:
    """How sight rays (n,) pass their logs, and what the derivatives of their miss need.

    ``miss_px`` is positive into the gap. (``n_y``, ``n_z``) is the ray's normal across the wall, ``up``
    +1 on the lower log and -1 on the upper; ``depth`` leads along ``directions`` (n, 3) to the log, at
    ``station_mm``. ``height`` and ``section`` are the splines' first coefficient and weights there.
    """

    miss_px: np.ndarray
    station_mm: np.ndarray
    up: np.ndarray
    px_per_mm: np.ndarray
    n_y: np.ndarray
    n_z: np.ndarray
    depth: np.ndarray
    directions: np.ndarray
    height: tuple[np.ndarray, np.ndarray]
    section: tuple[np.ndarray, np.ndarray]


def graze(camera: Camera, outline: OutlineRows, joint: Joint) -> Graze:
    """How the sight rays of an outline's points pass the joint's log.

    Notes
    -----
    Seen along the logs a sight ray is a line; it grazes a circle of radius r round (y, z) where its
    distance from the centre is r. The miss, in mm, is brought to px by focal length over depth. By
    the envelope theorem the station may be taken where the ray passes the touching point.
    """
    d = camera.directions(outline.xy_px)
    up = np.full(len(d), UP[outline.log])
    return graze_rays(d, up, camera.centre_mm, camera.focal_px, joint)


def graze_rays(
    d: np.ndarray, up: np.ndarray, centre_mm: np.ndarray, focal_px: float | np.ndarray, joint: Joint
) -> Graze:
    """The same of rays with directions d (n, 3), of one camera or of several, past either log.

    ``up`` (n,) is the log's as in `UP`; ``centre_mm`` (3,) or (n, 3) and ``focal_px``, a number or (n,),
    are the cameras'.
    """
    c = np.moveaxis(centre_mm, -1, 0)
    z = np.where(up > 0, *(float(np.mean(joint.coefficients[name])) for name in ("z_l", "z_u")))
    for _ in range(2):
        section = joint.spline_s.weights(c[0] + d[:, 0] * (z - c[2]) / d[:, 2])
        z = touch(d, up, joint.lookup("z_", up, *section), joint.lookup("r_", up, *section))
    depth = (z - c[2]) / d[:, 2]
    station = c[0] + d[:, 0] * depth
    height, section = joint.spline_h.weights(station), joint.spline_s.weights(station)
    radius = joint.lookup("r_", up, *section)
    norm = np.hypot(d[:, 1], d[:, 2])
    n_y = np.abs(d[:, 2]) / norm
    n_z = -d[:, 1] / norm * np.sign(d[:, 2])
    axis = joint.lookup("h_", up, *height) - up * radius
    clear = up * (n_y * (c[1] - axis) + n_z * (c[2] - joint.lookup("z_", up, *section))) - radius
    px_per_mm = focal_px / depth
    return Graze(clear * px_per_mm, station, up, px_per_mm, n_y, n_z, depth, d, height, section)


def lookup(coefficients: np.ndarray, first: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """A spline's values (n,) from the first of four coefficients (n,) and their weights (n, 4)."""
    return np.vecdot(coefficients[first[:, None] + np.arange(4)], weights)


def residuals(camera: Camera, outline: OutlineRows, joint: Joint) -> tuple[np.ndarray, np.ndarray]:
    """Miss of each traced point (n,) px, positive into the gap, and its station (n,) mm."""
    passed = graze(camera, outline, joint)
    return passed.miss_px, passed.station_mm


def through_wall(joint: Joint) -> tuple[np.ndarray, float] | None:
    """Each nail's share (n,) in the distance from the outside to the inside cards, and that, mm.

    None where all cards hang on one side.
    """
    out = np.array([c.side == "outside" for c in joint.cards])
    if out.all() or not out.any():
        return None
    share = out / out.sum() - ~out / (~out).sum()
    return share, float(share @ [c.nail_mm[2] for c in joint.cards])
