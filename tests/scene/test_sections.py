"""Sections' closed forms against published segments and direct minimisation."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.segments import sagitta
from helpers.simulator import CONES, PROTOCOLS, draw_joint
from scipy.optimize import brentq, minimize_scalar
from shapely import MultiPoint, Point, affinity

from gapvision.scene.sections import Sections

TRUTH = Path(__file__).parents[1] / "truth"


def rows(name: str) -> list[dict[str, str]]:
    with (TRUTH / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def stacked(gap: float, r_l: float, r_u: float, offset: float = 0.0) -> Sections:
    """Two circles, crowns ``gap`` apart in height, axes ``offset`` apart across the wall."""
    return Sections(*(np.array([v], float) for v in (-7.0, 3.0, r_l, gap - 7.0, 3.0 + offset, r_u)))


def random_sections(n: int) -> Sections:
    rng = np.random.default_rng(11)
    h_l, z_l = rng.uniform(-40, 40, n), rng.uniform(-20, 20, n)
    return Sections(
        h_l, z_l, rng.uniform(100, 230, n), h_l + rng.uniform(4, 60, n),
        z_l + rng.normal(0, 20, n), rng.uniform(100, 230, n),
    )  # fmt: skip


def part(sections: Sections, at) -> Sections:
    return Sections(*(getattr(sections, k)[at] for k in Sections.__slots__))


@pytest.fixture(scope="module")
def many():
    return random_sections(40)


def circle(sections: Sections, log: str, z: float) -> float:
    """Height of the lower log's upper, or the upper log's lower, surface: x^2 + y^2 = r^2."""
    h, at, r = (float(getattr(sections, k + log)[0]) for k in ("h_", "z_", "r_"))
    up = 1.0 if log == "l" else -1.0
    return h - up * r + up * (r**2 - (z - at) ** 2) ** 0.5


def clearance(sections: Sections, z: float) -> float:
    return circle(sections, "u", z) - circle(sections, "l", z)


@pytest.mark.parametrize("row", rows("segments.csv"), ids=lambda r: r["origin"])
def test_sagitta_of_published_segments(row):
    radius, chord, height, tolerance = (
        float(row[k]) for k in ("radius", "chord", "height", "tolerance")
    )
    assert sagitta(radius, chord) == pytest.approx(height, abs=tolerance)
    needed = float(stacked(25.0, radius, radius).setting_needed(chord)[0])
    assert needed == pytest.approx(25.0 + 2 * height, abs=2 * tolerance + 1e-6)


@pytest.mark.parametrize(
    "row",
    rows("settings.csv"),
    ids=lambda r: f"{r['diameter_lower']}-{r['diameter_upper']}-{r['cover']}",
)
def test_setting_of_the_worked_table(row):
    lower, upper, cover, rise, tolerance = (
        float(row[k]) for k in ("diameter_lower", "diameter_upper", "cover", "rise", "tolerance")
    )
    s = stacked(21.0, lower / 2, upper / 2)
    assert float(s.setting_needed(cover)[0]) - 21.0 == pytest.approx(rise, abs=tolerance)


def test_both_published_segments_as_one_joint():
    """Radius 75 under a chord of 120 is 30 high (American House Carpenter, art. 518); so two are 60."""
    assert float(stacked(12.0, 75, 75).setting_needed(120.0)[0]) == pytest.approx(72.0, abs=1e-6)


def test_gap_is_the_least_clearance(many):
    for i in range(len(many.h_l)):
        s = part(many, slice(i, i + 1))
        least = minimize_scalar(
            lambda z, s=s: clearance(s, z), bounds=(-90, 90), method="bounded",
            options={"xatol": 1e-7},
        )  # fmt: skip
        assert float(s.gap()[0]) == pytest.approx(least.fun, abs=1e-6)
        assert float(s.narrowest_z()[0]) == pytest.approx(least.x, abs=1e-3)


def test_gap_is_the_best_see_through(many):
    """Duality: what a sight line of the best slope sees of the gap is the least plumb clearance."""
    for i in range(0, len(many.h_l), 5):
        s = part(many, slice(i, i + 1))
        z = float(s.narrowest_z()[0]) + np.linspace(-60, 60, 12001)
        lower = np.array([circle(s, "l", v) for v in z])
        upper = np.array([circle(s, "u", v) for v in z])

        def shut(slope, z=z, lower=lower, upper=upper):
            return np.max(lower - slope * z) - np.min(upper - slope * z)

        best = minimize_scalar(shut, bounds=(-0.4, 0.4), method="bounded")
        assert float(s.gap()[0]) == pytest.approx(-best.fun, abs=1e-4)  # the z grid's 0.01 mm step


def test_best_see_through_of_ovals_is_their_clearance():
    """The duality holds for any convex sections: here ovals, against the simulator's own truth."""
    simulated = draw_joint(
        np.random.default_rng(17), PROTOCOLS["level"], replace(CONES, oval=0.03, offset_mm=20.0)
    )
    truth = simulated.truth
    angle = np.arange(-0.8, 0.8, 1e-3)
    slope = np.linspace(-0.25, 0.25, 501)
    lower = simulated.lower.surface(truth.station_mm, angle)[:, :, 1:, None]
    upper = simulated.upper.surface(truth.station_mm, np.pi - angle)[:, :, 1:, None]
    top = (lower[:, :, 0] - slope * lower[:, :, 1]).max(1)
    bottom = (upper[:, :, 0] - slope * upper[:, :, 1]).min(1)
    # 0.001 of slope off the best shuts the gap by 165 mm times its square.
    np.testing.assert_allclose((bottom - top).max(1), truth.gap_mm, atol=1e-3)


def logs_of(s: Sections):
    """Both circles of one station as Shapely's polygons of 16,000 corners (GEOS), z to the right."""
    lower = Point(float(s.z_l[0]), float(s.h_l[0] - s.r_l[0])).buffer(float(s.r_l[0]), 4000)
    upper = Point(float(s.z_u[0]), float(s.h_u[0] + s.r_u[0])).buffer(float(s.r_u[0]), 4000)
    return lower, upper


def first_touch(lower, upper) -> float:
    """How far the upper shape drops until it touches the lower one, by Shapely's own predicate."""
    return brentq(
        lambda drop: 0.5 - lower.intersects(affinity.translate(upper, yoff=-drop)),
        0,
        400,
        xtol=1e-7,
    )


def test_gap_and_groove_against_a_geometry_library(many):
    """The upper log let down by the setting overlaps the lower one in the groove."""
    for i in range(0, len(many.h_l), 10):
        s = part(many, slice(i, i + 1))
        lower, upper = logs_of(s)
        assert float(s.gap()[0]) == pytest.approx(first_touch(lower, upper), abs=1e-4)
        setting = float(s.setting_needed(76.0)[0])
        left, _, right, _ = lower.intersection(affinity.translate(upper, yoff=-setting)).bounds
        assert right - left == pytest.approx(76.0, abs=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_best_see_through_of_convex_shapes_is_how_far_they_drop(seed):
    """Duality on shapes of a geometry library: hulls of random points, in nothing like circles."""
    rng = np.random.default_rng(seed)
    points = rng.normal(0, (90.0, 60.0), (2, 40, 2))
    lower, upper = (MultiPoint(p).convex_hull for p in points)
    upper = affinity.translate(upper, rng.normal(0, 20), lower.bounds[3] - upper.bounds[1] + 30)

    def shut(slope):
        """Least of the lower edge's lead on a sheared upper shape: sight lines become level."""
        low, up = (affinity.affine_transform(p, [1, 0, -slope, 1, 0, 0]) for p in (lower, upper))
        return low.bounds[3] - up.bounds[1]

    slopes = np.linspace(-3, 3, 61)
    near = slopes[int(np.argmin([shut(t) for t in slopes]))]
    best = minimize_scalar(shut, bounds=(near - 0.1, near + 0.1), method="bounded")
    assert -best.fun == pytest.approx(first_touch(lower, upper), abs=1e-3)


def test_needed_setting_is_the_least_that_holds_the_cover(many):
    """Against root finding: both edges of a groove as wide as the cover have one clearance."""
    for i in range(len(many.h_l)):
        s = part(many, slice(i, i + 1))
        middle = float(s.narrowest_z()[0]) - 38.0
        z = brentq(
            lambda z, s=s: clearance(s, z + 76.0) - clearance(s, z), middle - 20, middle + 20
        )
        assert float(s.setting_needed(76.0)[0]) == pytest.approx(clearance(s, z), abs=1e-6)


@pytest.mark.parametrize("cover", [40.0, 76.0, 120.0])
def test_groove_width_undoes_setting_needed(many, cover):
    np.testing.assert_allclose(many.groove_width(many.setting_needed(cover)), cover, atol=1e-6)


def test_no_cover_needs_the_gap(many):
    np.testing.assert_allclose(many.setting_needed(0.0), many.gap(), atol=1e-9)


@pytest.mark.parametrize(("cover", "gain"), [(63.5, 4.69), (76.2, 3.87), (101.6, 2.83)])
def test_cover_for_each_mm_of_setting(cover, gain):
    """2 / (tan a_l + tan a_u), sin a = w / D: two logs of 12 in (304.8 mm), axes one above the other."""
    tan = np.tan(np.arcsin(cover / 304.8))
    s = stacked(20.0, 152.4, 152.4)
    assert float(s.cover_per_setting(cover)[0]) == pytest.approx(1 / tan, rel=1e-12)
    assert round(1 / tan, 2) == gain


def test_cover_for_each_mm_of_setting_is_the_width_s_change(many):
    need = many.setting_needed(76.0)
    change = (many.groove_width(need + 1e-4) - many.groove_width(need - 1e-4)) / 2e-4
    np.testing.assert_allclose(many.cover_per_setting(76.0), change, rtol=1e-5)


@pytest.mark.parametrize("cover", [0.0, 1e-7, 20.0, 76.0, 120.0])
def test_change_of_the_setting_needed_against_differences(many, cover):
    for name, change in many.needed_change(cover).items():
        up, down = (
            replace(many, **{name: getattr(many, name) + e}).setting_needed(cover)
            for e in (1e-4, -1e-4)
        )
        np.testing.assert_allclose(change, (up - down) / 2e-4, atol=2e-7, err_msg=name)


def test_the_crowns_heights_act_one_to_one(many):
    """For any cover, also with the crowns out of line: what `readings.met` is built on."""
    covers = np.linspace(0.0, 120.0, len(many.h_l))
    raised = replace(many, h_u=many.h_u + 7.0, h_l=many.h_l + 2.0)
    np.testing.assert_allclose(
        raised.setting_needed(covers) - many.setting_needed(covers), 5.0, atol=1e-9
    )


def test_groove_is_none_where_the_gap_is_wider(many):
    width = many.groove_width(many.gap() - 0.1)
    np.testing.assert_array_equal(width, 0.0)


def test_groove_just_above_the_gap():
    """W = 2 sqrt(2 (s - g) / K) for a small rise; a micrometre above the gap is near enough."""
    s = stacked(20.0, 140, 190)
    curvature = 1 / 140 + 1 / 190
    width = float(s.groove_width(20.0 + 1e-3)[0])
    assert width == pytest.approx(2 * (2e-3 / curvature) ** 0.5, rel=1e-4)


def test_crowns_offset_narrows_the_gap():
    """Y - sqrt((r_l + r_u)^2 - D^2): a level sight reads D^2 / (2 (r_l + r_u)) less than plumb."""
    straight, aside = stacked(20.0, 140, 190), stacked(20.0, 140, 190, offset=25.0)
    rise = float(aside.gap()[0] - straight.gap()[0])
    assert rise == pytest.approx(330 - (330**2 - 25**2) ** 0.5, abs=1e-9)
    assert rise == pytest.approx(25**2 / 660, rel=0.01)


def test_mirrored_across_the_wall_nothing_changes(many):
    mirrored = Sections(many.h_l, -many.z_l, many.r_l, many.h_u, -many.z_u, many.r_u)
    np.testing.assert_allclose(mirrored.gap(), many.gap())
    np.testing.assert_allclose(mirrored.setting_needed(76.0), many.setting_needed(76.0), atol=1e-7)
    np.testing.assert_allclose(mirrored.groove_width(60.0), many.groove_width(60.0), atol=1e-6)
    np.testing.assert_allclose(mirrored.narrowest_z(), -many.narrowest_z())


def test_slope_is_the_clearance_s_change(many):
    change = (many.clearance(31.0 + 1e-4) - many.clearance(31.0 - 1e-4)) / 2e-4
    np.testing.assert_allclose(many.slope(31.0), change, atol=1e-7)


def test_draws_by_stations_at_once(many):
    square = Sections(*(getattr(many, k).reshape(8, 5) for k in Sections.__slots__))
    for all_, each in (
        (square.gap(), many.gap()),
        (square.setting_needed(76.0), many.setting_needed(76.0)),
        (square.groove_width(55.0), many.groove_width(55.0)),
    ):
        assert all_.shape == (8, 5)
        np.testing.assert_allclose(all_.ravel(), each)
    setting = np.linspace(30, 70, 8)[:, None]
    width = square.groove_width(setting)
    np.testing.assert_allclose(width[3], part(square, 3).groove_width(float(setting[3, 0])))
