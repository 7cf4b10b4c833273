"""Draws that agree with caliper readings, against numerical integration and rejection sampling."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.simulator import PROTOCOLS, draw_joint, fit
from scipy.stats import multivariate_normal, norm
from studies.coverage_table import band, outcome

from gapvision.joint.by_hand import risk_left
from gapvision.joint.fit import REFINE, fit_joint
from gapvision.joint.readings import (
    ALIKE_MM,
    LEAST_EFFECTIVE,
    PROPOSED,
    GapReading,
    met,
    outlines_off,
    readings_covariance,
)

N = 20_000
REACH_MM = 325.0  # of both radii
MEAN = np.array([10.0, 4.0])  # gap of crowns that stand above each other; their offset
COVARIANCE = np.array([[0.8**2, 0.3 * 0.8 * 18], [0.3 * 0.8 * 18, 18.0**2]])
HEIGHT = np.array([True, False])
STATION = np.linspace(-250, 730, 25)


def gap(height, offset):
    return height + REACH_MM - np.sqrt(REACH_MM**2 - offset**2)


def drawn(readings: tuple[GapReading, ...], n: int = N) -> tuple[np.ndarray, np.ndarray]:
    """Heights and offsets of n draws that agree with readings at the one station."""
    rng = np.random.default_rng(31)
    off = rng.multivariate_normal([0, 0], COVARIANCE, PROPOSED * n)
    gaps = np.repeat(gap(*(MEAN + off).T)[:, None], len(readings), axis=1)
    slope = np.ones((len(readings), 1))
    return (MEAN + met(off, COVARIANCE, HEIGHT, slope, gaps, readings, n, rng)).T


@pytest.mark.parametrize("told", [(10.0, 0.5), (11.5, 0.5), (10.3, 0.02), (9.0, 2.0)])
def test_against_numerical_integration(told):
    """One gap, straight in a height and curved in an offset: moments over a fine grid."""
    height = np.linspace(-5, 5, 4001)[:, None] * 0.8 + MEAN[0]
    offset = np.linspace(-5, 5, 801)[None] * 18 + MEAN[1]
    before = multivariate_normal(MEAN, COVARIANCE).pdf(
        np.stack(np.broadcast_arrays(height, offset), -1)
    )
    after = before * norm(*told).pdf(gap(height, offset))
    after /= after.sum()
    h, d = drawn((GapReading(0.0, *told),))
    # The mean of some 10,000 draws scatters by 1 % of its sd.
    for name, grid, mine, sd in (
        ("height", height, h, 0.8), ("offset", offset, d, 18.0),
        ("gap", gap(height, offset), gap(h, d), told[1]), ("rise", offset**2, d**2, 18.0**2),
    ):  # fmt: skip
        mean = float((after * grid).sum())
        assert mine.mean() == pytest.approx(mean, abs=0.04 * sd), name
        spread = float(np.sqrt((after * (grid - mean) ** 2).sum()))
        assert mine.std() == pytest.approx(spread, rel=0.05), name


def test_two_readings_are_one_of_their_mean():
    twice = (GapReading(0.0, 9.6, 0.6), GapReading(0.0, 10.4, 0.6))
    once = (GapReading(0.0, 10.0, 0.6 / 2**0.5),)
    (h2, d2), (h1, d1) = drawn(twice), drawn(once)
    assert h2.mean() == pytest.approx(h1.mean(), abs=0.03)
    assert (h2.std(), d2.std()) == pytest.approx((h1.std(), d1.std()), rel=0.03)


def test_a_reading_that_no_draw_meets_leaves_many_draws():
    """Above by 15 mm, which only an offset of 5 sd would explain: no few draws stand for all.

    A sharp reading would leave the widest offsets alone; it is doubted, and the answer stays between.
    """
    n = 400
    h, d = drawn((GapReading(0.0, MEAN[0] + 15.0, 0.1),), n)
    assert len(np.unique(d)) > LEAST_EFFECTIVE * n
    assert MEAN[0] + 1.0 < gap(h, d).mean() < MEAN[0] + 14.0
    assert gap(h, d).std() > 0.5


@pytest.fixture(scope="module")
def level():
    return draw_joint(np.random.default_rng([1, 3]), PROTOCOLS["level"])


@pytest.fixture(scope="module")
def photographed(level):
    return fit(level)


def told(simulated, joint, u: float, off: float = 0.0):
    """The joint with one reading of the true gap at what it takes for the widest place."""
    truth = simulated.truth
    k = int(np.argmax(joint.sections(truth.station_mm).gap()))
    reading = GapReading(float(truth.station_mm[k]), float(truth.gap_mm[k]) + off, u)
    return fit_joint(joint, simulated.beliefs(), (reading,), REFINE)


def test_against_rejection_sampling_of_a_fitted_joint(level, photographed):
    """Draws of the photographs kept with the reading's likelihood, gap and setting along the log."""
    joint = told(level, photographed, 0.5)
    (reading,) = joint.readings
    at = np.append(STATION, reading.station_mm)
    rng = np.random.default_rng(32)
    alone = replace(joint, readings=()).draws(at, 40_000, rng)
    likely = np.exp(-0.5 * ((alone.gap()[:, -1] - reading.setting_mm) / reading.u_mm) ** 2)
    kept = rng.uniform(size=len(likely)) < likely
    assert kept.sum() > 4000
    ours = joint.draws(at, 8000, rng)
    for mine, theirs in (
        (ours.gap(), alone.gap()[kept]),
        (ours.setting_needed(76.0), alone.setting_needed(76.0)[kept]),
    ):
        sd = theirs.std(0)
        assert np.all(np.abs(mine.mean(0) - theirs.mean(0)) < 0.08 * sd)
        np.testing.assert_allclose(mine.std(0), sd, rtol=0.06)


def test_a_trial_line_against_rejection_sampling(level, photographed):
    """Widths of one scribing at two places, and a caliper's reading at a third, of the same joint."""
    at = np.array([60.0, 210.0, 420.0])
    best = photographed.sections(at)
    setting = np.append(np.full(2, best.setting_needed(76.0)[:2].mean()), best.gap()[2] + 0.4)
    cover = np.append(best.groove_width(setting)[:2] + np.array([2.0, -1.0]), 0.0)
    assert np.all(cover[:2] > 40.0)
    readings = tuple(
        GapReading(*row)
        for row in zip(at, setting, (0.8, 0.8, 0.5), cover, (0.5, 0.5, 0.0), strict=True)
    )
    joint = fit_joint(photographed, level.beliefs(), readings, REFINE)
    rng = np.random.default_rng(34)
    alone = replace(joint, readings=()).draws(np.append(STATION, at), 60_000, rng)
    miss = alone.setting_needed(np.append(np.zeros(len(STATION)), cover))[:, -3:] - setting
    told = np.array([[0.64, 0.25, 0.0], [0.25, 0.64, 0.0], [0.0, 0.0, 0.25]])
    likely = np.exp(-0.5 * np.sum(miss.T * np.linalg.solve(told, miss.T), 0))
    kept = rng.uniform(size=len(likely)) < likely / likely.max()
    assert kept.sum() > 2000
    mine = joint.draws(np.append(STATION, at), 8000, rng).setting_needed(76.0)
    theirs = alone.setting_needed(76.0)[kept]
    sd = theirs.std(0)
    assert np.all(np.abs(mine.mean(0) - theirs.mean(0)) < 0.1 * sd)
    np.testing.assert_allclose(mine.std(0), sd, rtol=0.07)


def test_what_trial_lines_of_one_setting_share_is_not_averaged_away():
    lines = tuple(GapReading(x, 49.0, 0.8, 76.0, 0.5) for x in (0.0, 100.0, 200.0))
    other = (GapReading(300.0, 52.0, 0.8, 80.0, 0.5), GapReading(300.0, 49.0, 0.5))
    covariance = readings_covariance((*lines, *other))
    np.testing.assert_allclose(covariance[:3, :3], 0.25 + np.diag([0.39] * 3))
    np.testing.assert_allclose(covariance[3:], np.diag([0, 0, 0, 0.64, 0.25])[3:])
    assert np.linalg.cholesky(covariance).shape == (5, 5)


def test_wrong_outlines_give_way_to_a_reading_there_and_near_by(level, photographed):
    """The gap where it was read, by three independent sources: sections, outlines' error, reading.

    Closed form of the sum s + f, s and f normal: read with variance u^2 it takes the share
    ``(v + r^2) / (v + r^2 + u^2)`` of what the reading differs by. 0.1 mm: the gap's curve and 4000 draws.
    """
    at, far = np.array([240.0]), np.array([640.0])
    alone = photographed.draws(np.append(at, far), 20_000, np.random.default_rng(35)).gap()
    v, mean = alone[:, 0].var(), alone[:, 0].mean()
    r, u, off = 3.0, 0.6, 4.0
    reading = GapReading(240.0, mean + off, u, u_outlines_mm=r)
    joint = replace(photographed, readings=(reading,))
    after = joint.draws(np.append(at, far), 4000, np.random.default_rng(36)).gap()
    share = (v + r**2) / (v + r**2 + u**2)
    assert after[:, 0].mean() - mean == pytest.approx(share * off, abs=0.1)
    # 400 mm on, hardly anything of the outlines' error is left of the change.
    straight = joint.draws(far, 4000, np.random.default_rng(36))
    assert after[:, 1].mean() == pytest.approx(straight.gap().mean(), abs=1e-6)
    assert after[:, 1].mean() - alone[:, 1].mean() < 0.5 * off


@pytest.mark.parametrize("d", [0.0, 60.0, 150.0])
def test_what_one_reading_takes_off_wrong_outlines(d):
    """r^2 / (r^2 + u^2) of its miss, falling off as exp(-(d / L)^2 / 2)."""
    r, u, miss = 2.0, 0.5, 3.0
    reading = GapReading(100.0, 43.0, u, u_outlines_mm=r)
    off = outlines_off((reading,), np.array([[43.0 - miss]]), np.array([100.0 + d]))
    assert off == pytest.approx(r**2 / (r**2 + u**2) * miss * np.exp(-((d / ALIKE_MM) ** 2) / 2))
    assert not outlines_off(
        (GapReading(100.0, 43.0, u),), np.array([[40.0]]), np.array([90.0])
    ).any()
    left = risk_left(np.array([r]), np.array([100.0]), (reading,))
    assert left == pytest.approx(r * u / np.hypot(r, u))


def test_a_reading_of_no_worth_changes_nothing(level, photographed):
    """What the photographs alone tell is kept: the best fit moved back by `section_shift`."""
    joint = told(level, photographed, 1e4, 5.0)
    mine, theirs = (
        j.draws(STATION, 8000, np.random.default_rng(33)).gap() for j in (joint, photographed)
    )
    sd = theirs.std(0)
    assert np.all(np.abs(mine.mean(0) - theirs.mean(0)) < 0.05 * sd)
    np.testing.assert_allclose(mine.std(0), sd, rtol=0.05)
    # A reading that pulls the best fit leaves what the photographs tell where it was, but for what
    # their rows bend over so far a way.
    pulled = replace(told(level, photographed, 0.05, 1.0), readings=())
    alone = pulled.draws(STATION, 8000, np.random.default_rng(33)).gap()
    assert np.all(np.abs(alone.mean(0) - theirs.mean(0)) < 0.3 * sd)


def test_level_photographs_with_a_reading_know_more_and_hold_the_truth():
    """Half-width and coverage over 14 joints, the reading's error drawn; the table: docs/results.md."""
    n, before, after = 14, [], []
    for i in range(n):
        simulated = draw_joint(np.random.default_rng([2, i]), PROTOCOLS["level"])
        joint = fit(simulated)
        before.append(outcome(simulated, joint))
        error = 0.5 * np.random.default_rng([3, i]).standard_normal()
        after.append(outcome(simulated, told(simulated, joint, 0.5, error)))
    narrower = np.median([o.setting_u95 for o in after]) / np.median(
        [o.setting_u95 for o in before]
    )
    assert narrower < 0.75
    least, _ = band(n)
    assert sum(abs(o.setting_error) <= o.setting_u95 for o in after) >= least
    assert sum(abs(o.gap_error) <= o.gap_u95 for o in after) >= least
