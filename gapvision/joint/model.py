"""The joint as it is fitted: cameras, cards and both logs' sections as splines, and draws of them.

Also how far an outline misses the log that it is the outline of, which the fit makes small.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gapvision.joint.readings import PROPOSED, GapReading, met, outlines_off
from gapvision.scene.camera import Camera, Lens
from gapvision.scene.hung_card import CardState
from gapvision.scene.sections import Sections
from gapvision.scene.spline import Spline
from gapvision.scene.view import Outline

KNOT_H_MM, KNOT_S_MM = 60.0, 150.0  # crowns' heights; their radii and places across the wall

LEAST_RADIUS_MM = 40.0


@dataclass(frozen=True, eq=False, slots=True)
class Joint:
    """The fitted joint: cameras, cards, sections and their covariance.

    Readings by hand are in the best fit as straight rows. The draws know them as they are: what the
    photographs alone tell of the sections (``section_factor`` about the best fit moved by
    ``section_shift``) is weighed by them. ``replace(joint, readings=())`` draws without them.
    """

    cameras: tuple[Camera, ...]
    lens_of: tuple[int, ...]  # index of each camera's lens
    lenses: tuple[Lens, ...]
    cards: tuple[CardState, ...]
    spline_h: Spline
    spline_s: Spline
    coefficients: dict[str, np.ndarray]  # h_l, z_l, r_l, h_u, z_u, r_u
    bias_px: np.ndarray  # (photographs, 2): lower, upper
    section_factor: np.ndarray  # draws of the section coefficients are this @ standard normals
    residual_px: tuple[dict[str, np.ndarray], ...]
    corner_px: tuple[dict[int, float], ...]
    cost: float
    readings: tuple[GapReading, ...] = ()
    section_shift: np.ndarray | None = None  # where there are readings: from the best fit

    def distance_mm(self, photo: int) -> float:
        """Of a photograph's camera from the logs, across the wall."""
        return float(abs(self.cameras[photo].centre_mm[2] - np.mean(self.coefficients["z_l"])))

    def sections(self, station_mm: np.ndarray) -> Sections:
        """Both logs' circles at stations."""
        return Sections(*self._values(station_mm, self.coefficients))

    def draws(self, station_mm: np.ndarray, n: int, rng: np.random.Generator) -> Sections:
        """Circles at stations in n Monte Carlo draws of the fit, arrays (n, stations)."""
        proposed = PROPOSED * n if self.readings else n
        half = (proposed // 2, self.section_factor.shape[1])
        noise = rng.standard_normal(half) @ self.section_factor.T
        noise = np.concatenate([noise, -noise])  # antithetic: the mean of linear terms is exact
        if not self.readings:
            return Sections(*self._values(station_mm, self._parts(noise)))
        parts = self._parts(self._met_by_readings(noise, n, rng))
        drawn = Sections(*self._values(station_mm, parts))
        off = outlines_off(self.readings, self._needed_at_readings(parts), np.asarray(station_mm))
        return replace(drawn, h_u=drawn.h_u + off)

    def _met_by_readings(self, noise: np.ndarray, n: int, rng) -> np.ndarray:
        """Of draws (d, coefficients) of the photographs n that agree with the readings too."""
        at = np.array([r.station_mm for r in self.readings])
        needed = self._needed_at_readings(self._parts(noise))
        is_height = np.concatenate(
            [np.full(len(c), name[0] == "h") for name, c in self.coefficients.items()]
        )
        weights = self.spline_h.matrix(at)
        slope = np.concatenate([-weights, weights], 1)  # lower crown, upper crown
        covariance = self.section_factor @ self.section_factor.T
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

    def _values(self, station_mm, parts):
        mh, ms = self.spline_h.matrix(station_mm), self.spline_s.matrix(station_mm)
        return [parts[k] @ (mh if k[0] == "h" else ms).T for k in SECTION_NAMES]


SECTION_NAMES = ("h_l", "z_l", "r_l", "h_u", "z_u", "r_u")


def touch(directions: np.ndarray, log: str, joint_z, joint_r) -> np.ndarray:
    """z where each ray grazes the log: half a log behind the card, and more for a sloping ray."""
    slope = directions[:, 1] / directions[:, 2]
    lean = joint_r * slope / np.sqrt(1 + slope**2)
    return joint_z - lean if log == "lower" else joint_z + lean


def _graze(camera: Camera, outline: Outline, state: Joint):
    """Residuals (n,) px of an outline and what their derivatives need.

    Notes
    -----
    Seen along the logs a sight ray is a line; it grazes a circle of radius r round (y, z) where its
    distance from the centre is r. The miss, in mm, is brought to px by focal length over depth. By
    the envelope theorem the station may be taken where the ray passes the touching point.
    """
    d = camera.directions(outline.xy_px)
    tag = "l" if outline.log == "lower" else "u"
    up = 1.0 if tag == "l" else -1.0
    c = camera.centre_mm
    z = np.full(len(d), float(np.mean(state.coefficients["z_" + tag])))
    for _ in range(2):
        station = c[0] + d[:, 0] * (z - c[2]) / d[:, 2]
        first_s, w_s = state.spline_s.weights(station)
        z_axis = _lookup(state.coefficients["z_" + tag], first_s, w_s)
        radius = _lookup(state.coefficients["r_" + tag], first_s, w_s)
        z = touch(d, outline.log, z_axis, radius)
    depth = (z - c[2]) / d[:, 2]
    station = c[0] + d[:, 0] * depth
    first_h, w_h = state.spline_h.weights(station)
    height = _lookup(state.coefficients["h_" + tag], first_h, w_h)
    first_s, w_s = state.spline_s.weights(station)
    z_axis = _lookup(state.coefficients["z_" + tag], first_s, w_s)
    radius = _lookup(state.coefficients["r_" + tag], first_s, w_s)
    norm = np.hypot(d[:, 1], d[:, 2])
    n_y = np.abs(d[:, 2]) / norm
    n_z = -d[:, 1] / norm * np.sign(d[:, 2])
    axis = height - up * radius
    clear = up * (n_y * (c[1] - axis) + n_z * (c[2] - z_axis)) - radius
    scale = camera.focal_px / depth
    return clear * scale, {
        "scale": scale, "n_y": n_y, "n_z": n_z, "up": up, "tag": tag, "depth": depth, "d": d,
        "h": (first_h, w_h), "s": (first_s, w_s), "station": station,
    }  # fmt: skip


def _lookup(coefficients: np.ndarray, first: np.ndarray, w: np.ndarray) -> np.ndarray:
    return (coefficients[first[:, None] + np.arange(4)] * w).sum(1)


def residuals(camera: Camera, outline: Outline, joint: Joint) -> tuple[np.ndarray, np.ndarray]:
    """Miss of each traced point (n,) px, positive into the gap, and its station (n,) mm."""
    miss, at = _graze(camera, outline, joint)
    return miss, at["station"]


def through_wall(joint: Joint) -> tuple[np.ndarray, float] | None:
    """Each nail's share (n,) in the distance from the outside to the inside cards, and that, mm.

    None where all cards hang on one side.
    """
    out = np.array([c.side == "outside" for c in joint.cards])
    if out.all() or not out.any():
        return None
    share = out / out.sum() - ~out / (~out).sum()
    return share, float(share @ [c.nail_mm[2] for c in joint.cards])
