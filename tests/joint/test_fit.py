"""The joint fit: exact rays, derivatives, an independent solver, and its stated uncertainty."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from helpers.simulator import CONES, PROTOCOLS, Noise, Protocol, draw_joint, fit, start
from scipy.optimize import least_squares
from studies.coverage_table import band, outcomes

from gapvision.errors import JointNotFitted
from gapvision.joint.equations import normal_equations
from gapvision.joint.fit import _solved, fit_joint
from gapvision.joint.gap import spread
from gapvision.joint.model import through_wall
from gapvision.joint.readings import GapReading
from gapvision.joint.section_priors import section_prior_rows
from gapvision.joint.unknowns import moved, unknowns_of
from gapvision.scene.card import corner_points_mm
from gapvision.scene.priors import Priors

EXACT = Noise(
    outline_px=0, outline_mm=0, corner_px=0, focal=0, k1=0, diameter_mm=0, swing_rad=0,
    u_rough_mm=0.02,
)  # fmt: skip
COVER_MM = 76.0
TWO_LOW = Protocol((-0.05, 0.15))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_exact_rays_of_cones_give_the_truth(seed):
    """Three heights and a known lens: 0.05 mm is a quarter of a good caliper's reading."""
    simulated = draw_joint(np.random.default_rng(seed), PROTOCOLS["heights"], CONES, EXACT)
    truth = simulated.truth
    sections = fit(simulated).sections(truth.station_mm)
    assert np.abs(sections.gap() - truth.gap_mm).max() < 0.05
    assert np.abs(sections.setting_needed(COVER_MM) - truth.needed_mm(COVER_MM)).max() < 0.05
    # Plumb is known from two cards that hang 0.7 deg out, so to 0.5 deg: 3 mm at 330 mm, thrice.
    offset = simulated.upper.z_mm[0] - simulated.lower.z_mm[0]
    assert np.abs(sections.z_u - sections.z_l - offset).max() < 9.0


FINE = Noise(u_rough_mm=0.7)  # rows whose correlation is not paid for: geometry alone decides


def test_mirrored_along_the_wall_the_answer_is_mirrored():
    """The picture flipped left to right, corners renamed: the same joint from right to left."""
    simulated = draw_joint(np.random.default_rng(9), PROTOCOLS["heights"], CONES, EXACT)
    columns = simulated.views[0].size[0] - 1
    flip, shift = np.array([-1.0, 1.0]), np.array([columns, 0.0])
    names = np.arange(30).reshape(3, 10)[:, ::-1].ravel()
    views = [
        replace(
            v,
            sightings=tuple(
                replace(s, number=3 - s.number, corner_id=names[s.corner_id],
                        corner_px=s.corner_px * flip + shift)
                for s in v.sightings
            ),
            outlines=tuple(replace(o, xy_px=o.xy_px * flip + shift) for o in v.outlines),
        )
        for v in simulated.views
    ]  # fmt: skip
    between = 480.0  # of the nails: card 2 becomes card 1, the origin
    stated = {k: lambda x, f=f: f(between - np.asarray(x)) for k, f in simulated.stated.items()}
    mirrored = replace(simulated, views=views, stated=stated)
    station = simulated.truth.station_mm
    gap = fit(mirrored).sections(between - station).gap()
    np.testing.assert_allclose(gap, simulated.truth.gap_mm, atol=0.05)


def test_derivatives_match_numerical_ones():
    """Each camera's, card's and lens's unknown and every fourth of the logs', in units of its standard
    deviation with all others fixed.

    0.02: the touching point's own shift along the log is left out, which is small of second order.
    """
    simulated = draw_joint(np.random.default_rng(4), TWO_LOW)
    state = fit(simulated)
    reading = GapReading(100.0, float(state.sections(np.array([100.0])).gap()[0]) + 0.3, 0.3)
    layout, beliefs = unknowns_of(state), simulated.beliefs()
    rows = section_prior_rows(state, beliefs)
    size = np.full(layout.size, 1e-4)
    size[layout.section_start :] = 0.3
    state = moved(state, size * np.random.default_rng(0).standard_normal(layout.size))

    def equations(at):
        return normal_equations(at, beliefs, rows, 2.0, (reading,))

    normal, gradient = equations(state).normal, equations(state).gradient
    sd = 1 / np.sqrt(np.diag(normal))
    some = [*range(layout.section_start), *range(layout.section_start, layout.size, 4)]
    for i in some:
        step = np.zeros(layout.size)
        step[i] = 0.02 * sd[i]
        up, down = (equations(moved(state, s)).cost for s in (step, -step))
        numerical = 0.5 * (up - down) / (2 * 0.02)  # the cost is twice what the gradient belongs to
        assert gradient[i] * sd[i] == pytest.approx(numerical, abs=0.02), i


def test_a_wall_that_was_measured_is_a_row_of_the_nails():
    """Three cards outside and one inside: their mean depths are 310 +- 10 mm apart."""
    simulated = draw_joint(np.random.default_rng(4), TWO_LOW)
    state = fit(simulated)
    assert through_wall(state) is None
    first, second = state.cards
    inner = replace(second, side="inside", nail_mm=second.nail_mm - [0.0, 0.0, 300.0])
    others = [replace(first, number=n, nail_mm=first.nail_mm + [0, 0, n]) for n in (5, 6)]
    state = replace(state, cards=(first, *others, inner))
    depth = [c.nail_mm[2] for c in state.cards]
    through = np.mean(depth[:3]) - depth[3]
    assert through_wall(state)[1] == pytest.approx(through)
    rows = section_prior_rows(state, simulated.beliefs())
    state = state.observing(replace(v, sightings=()) for v in simulated.views)
    pulled, free = (
        normal_equations(state, simulated.beliefs(Priors(wall_mm=wall)), rows, 1.0)
        for wall in (310.0, None)
    )
    assert pulled.cost - free.cost == pytest.approx(((through - 310.0) / 10.0) ** 2, rel=1e-6)
    at = unknowns_of(state).card + 2
    change = (pulled.gradient - free.gradient)[at : at + 24 : 6] * 100.0 / (through - 310.0)
    np.testing.assert_allclose(change, [1 / 3, 1 / 3, 1 / 3, -1.0], atol=1e-6)


def test_a_caliper_reading_pulls_the_gap_to_it():
    """One reading of 0.05 mm outweighs a level photograph of some mm there, and helps beside it."""
    simulated = draw_joint(np.random.default_rng(12), PROTOCOLS["level"], noise=FINE)
    truth, at = simulated.truth, 40
    reading = GapReading(float(truth.station_mm[at]), float(truth.gap_mm[at]), 0.05)
    with_it = fit_joint(start(simulated), simulated.beliefs(), (reading,))
    without = fit(simulated)
    station = truth.station_mm
    assert float(with_it.sections(station[at : at + 1]).gap()[0]) == pytest.approx(
        truth.gap_mm[at], abs=0.1
    )
    u = [spread(j.draws(station, 400, np.random.default_rng(1)).gap()) for j in (with_it, without)]
    assert np.median(u[0]) < 0.8 * np.median(u[1])


def test_noise_doubled_doubles_the_uncertainty():
    """Three heights leave hardly anything to the priors: u of the gap grows by 1.5 to 2.05."""
    doubled = Noise(
        outline_px=1.0, outline_mm=1.0, corner_px=0.16, u_rough_mm=2 * Noise().u_rough_mm
    )
    u = []
    for noise in (Noise(), doubled):
        joint = fit(draw_joint(np.random.default_rng(6), PROTOCOLS["heights"], CONES, noise))
        draws = joint.draws(np.linspace(-250, 730, 50), 1000, np.random.default_rng(1))
        u.append(np.median(spread(draws.gap())))
    assert 1.5 < u[1] / u[0] < 2.05


def test_what_fits_nothing_is_refused():
    with pytest.raises(JointNotFitted) as caught:
        _solved(np.diag([1.0, 1.0, 1.0, 1.0, -1e-9]), np.ones(5))
    assert caught.value.code == "not-fitted"


def test_a_joint_that_is_not_fitted_has_no_draws():
    """Without its covariance they would all be alike, and nothing uncertain."""
    first = start(draw_joint(np.random.default_rng(1), PROTOCOLS["level"]))
    with pytest.raises(ValueError, match="not fitted"):
        first.draws(np.array([0.0]), 10, np.random.default_rng(1))


def test_more_heights_know_more():
    """Where little is believed of the crowns' offset beforehand, which one height cannot tell."""
    u = {}
    wide = replace(Priors(), offset_mm=20.0)
    for name in ("level", "two", "heights"):
        joint = fit(draw_joint(np.random.default_rng(7), PROTOCOLS[name], CONES, FINE), wide)
        draws = joint.draws(np.linspace(-250, 730, 50), 400, np.random.default_rng(1))
        u[name] = np.median(spread(draws.gap()))
    assert u["heights"] < u["two"] < 0.6 * u["level"]


@pytest.mark.parametrize(("name", "n"), [("level", 12), ("heights", 10)])
def test_truth_inside_the_stated_half_width(name, n):
    """As often as 95 % allows in 95 of 100 such sets; whole tables: tests/studies/coverage_table.py."""
    all_ = outcomes(PROTOCOLS[name], n, seed=2026)
    least, _ = band(n)
    assert sum(abs(o.setting_error) <= o.setting_u95 for o in all_) >= least
    assert sum(abs(o.gap_error) <= o.gap_u95 for o in all_) >= least


# An independent solver: straight cones as lines with radii, OpenCV's projection for the cards, and
# scipy's least squares with its own numerical derivatives, on the same observations.

RIGID = replace(
    Priors(), bend_mm=1e-3, bow_mm=1e-3, radius_wave_mm=1e-3, swing_rad=1e-6, bias_px=1e-6
)


class PlainModel:
    """Cameras (6 each), cards' tilts, the second nail, and nine numbers for two cones."""

    def __init__(self, simulated, begin) -> None:
        self.simulated, self.begin = simulated, begin
        self.n = len(simulated.views)

    def guess(self) -> np.ndarray:
        b = self.begin
        poses = [
            np.r_[cv2.Rodrigues(p.camera.camera_from_world)[0].ravel(), p.camera.centre_mm]
            for p in b.photos
        ]
        tilts = [c.tilt_rad for c in b.cards]
        c = b.coefficients
        logs = [c["h_l"][0], 0, c["h_u"][0], 0, c["z_l"][0], c["z_u"][0], 0, 0, 0]
        return np.concatenate([*poses, *tilts, b.cards[1].nail_mm, logs])

    def scales(self) -> np.ndarray:
        pose = [0.01, 0.01, 0.01, 10, 10, 10]
        logs = [1, 0.01, 1, 0.01, 10, 10, 0.01, 5, 5]
        return np.array([*pose * self.n, *[0.02] * 6, 10, 10, 10, *logs])

    def parts(self, p):
        poses = p[: 6 * self.n].reshape(-1, 6)
        tilts = p[6 * self.n : 6 * self.n + 6].reshape(2, 3)
        nails = np.stack([np.zeros(3), p[6 * self.n + 6 : 6 * self.n + 9]])
        return poses, tilts, nails, p[6 * self.n + 9 :]

    def cone(self, logs, log: str):
        """A point of the axis at station 0, the axis's direction, and radius at station 0 and slope."""
        stated = self.simulated.stated[log](np.array([0.0, 100.0]))
        taper = (stated[1] - stated[0]) / 100
        height, rise, z, dz, more, up = (
            (logs[0], logs[1], logs[4], 0.0, logs[7], 1.0) if log == "lower"
            else (logs[2], logs[3], logs[5], logs[6], logs[8], -1.0)
        )  # fmt: skip
        r = stated[0] + more
        return np.array([0, height - up * r, z]), np.array([1, rise - up * taper, dz]), r, taper, up

    def residuals(self, p) -> np.ndarray:
        poses, tilts, nails, logs = self.parts(p)
        lens = self.simulated.lenses[0]
        out = []
        for view, pose in zip(self.simulated.views, poses, strict=True):
            c = (np.array(view.size, float) - 1) / 2
            k = np.array([[lens.focal_px, 0, c[0]], [0, lens.focal_px, c[1]], [0, 0, 1]])
            turn = cv2.Rodrigues(pose[:3])[0]
            for s in view.sightings:
                pitch, yaw, roll = tilts[s.number - 1]
                y, x, z = (
                    cv2.Rodrigues(a * np.eye(3)[i])[0] for a, i in ((yaw, 1), (pitch, 0), (roll, 2))
                )
                points = nails[s.number - 1] + corner_points_mm()[s.corner_id] @ (y @ x @ z).T
                seen = cv2.projectPoints(points, pose[:3], -turn @ pose[3:], k, None)[0][:, 0]
                out.append(robust((seen - s.corner_px).ravel() / s.u_px, 4.0))
            for o in view.outlines:
                out.append(
                    robust(self.miss(o, turn, pose[3:], c, lens.focal_px, logs) / o.u_px, 2.0)
                )
        return np.concatenate([*out, self.beliefs(tilts, nails, logs)])

    def miss(self, outline, turn, centre, middle, focal, logs) -> np.ndarray:
        """Distance between sight line and axis, less the radius where they pass; px."""
        d = np.c_[(outline.xy_px - middle) / focal, np.ones(len(outline.xy_px))] @ turn
        place, along, r, taper, up = self.cone(logs, outline.log)
        normal = np.cross(d, along)
        between = place - centre
        distance = np.abs(normal @ between) / np.linalg.norm(normal, axis=1)
        at = (np.cross(between, d) * normal).sum(1) / (normal**2).sum(1)  # station on the axis
        depth = (np.cross(between, along) * normal).sum(1) / (normal**2).sum(1)
        return (distance - (r + taper * at)) * focal / depth

    def beliefs(self, tilts, nails, logs) -> np.ndarray:
        """The priors that are left when cones are rigid."""
        q = RIGID
        rows = [*(tilts / [q.plumb_rad, q.yaw_rad, q.plumb_rad]).ravel()]
        for tilt, nail in zip(tilts, nails, strict=True):
            behind = logs[5] + logs[6] * nail[0]
            half = float(self.simulated.stated["upper"](nail[:1])[0])
            off = nail[2] - behind - half - q.standoff_mm - 131 * abs(np.sin(tilt[1]))
            rows.append(off / np.hypot(q.u_standoff_mm, q.u_face_mm))
        middle = float(self.begin.spline_s.centres().mean())
        offset = logs[5] + logs[6] * middle - logs[4]
        rows += [logs[7] / q.radius_mm, logs[8] / q.radius_mm, offset / q.offset_mm]
        return np.array([*rows, logs[6] / q.offset_slope])

    def gap(self, p, station) -> np.ndarray:
        """Least clearance of the two cones' circles, on a fine grid across the wall."""
        logs = self.parts(p)[3]
        z = np.linspace(-60, 60, 4001) + 0.5 * (logs[4] + logs[5])
        surface = {}
        for log in ("lower", "upper"):
            place, along, r, taper, up = self.cone(logs, log)
            axis = place + station[:, None] * along
            radius = (r + taper * station)[:, None]
            surface[log] = axis[:, 1:2] + up * np.sqrt(radius**2 - (z - axis[:, 2:3]) ** 2)
        return (surface["upper"] - surface["lower"]).min(1)


def robust(r: np.ndarray, c: float) -> np.ndarray:
    """Residuals whose squares are Cauchy's loss c^2 log(1 + (r / c)^2)."""
    return np.sign(r) * c * np.sqrt(np.log1p((r / c) ** 2))


def test_independent_solver_agrees():
    """Noisy observations of two cones: the same minimum, to a twentieth of its uncertainty."""
    noise = replace(EXACT, outline_px=0.5, corner_px=0.08, diameter_mm=3.0, u_rough_mm=0.02)
    simulated = draw_joint(np.random.default_rng(15), PROTOCOLS["heights"], CONES, noise)
    lenses = [replace(lens, u_focal_px=1e-3, u_k1=1e-7) for lens in simulated.lenses]
    simulated = replace(simulated, lenses=lenses)
    joint = fit(simulated, RIGID)
    model = PlainModel(simulated, start(simulated, RIGID))
    other = least_squares(model.residuals, model.guess(), x_scale=model.scales(), method="trf")
    assert other.success
    station = np.linspace(-250, 730, 9)
    ours, theirs = joint.sections(station).gap(), model.gap(other.x, station)
    u = spread(joint.draws(station, 1000, np.random.default_rng(1)).gap())
    assert np.all(np.abs(ours - theirs) < 0.05 * u + 0.005)
