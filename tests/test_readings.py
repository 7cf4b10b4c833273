"""Draws that agree with caliper readings, against numerical integration and rejection sampling."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from coverage_table import band, outcome
from scipy.stats import multivariate_normal, norm
from simulator import PROTOCOLS, draw_joint, fit

from gapvision.fit import REFINE, Priors, fit_joint
from gapvision.readings import LEAST_EFFECTIVE, PROPOSED, GapReading, met

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
    return fit_joint(
        simulated.views, simulated.lenses, joint, simulated.stated, Priors(), (reading,), REFINE
    )


def test_against_rejection_sampling_of_a_fitted_joint(level, photographed):
    """Draws of the photographs kept with the reading's likelihood, gap and setting along the log."""
    joint = told(level, photographed, 0.5)
    (reading,) = joint.readings
    at = np.append(STATION, reading.station_mm)
    rng = np.random.default_rng(32)
    alone = replace(joint, readings=()).draws(at, 40_000, rng)
    likely = np.exp(-0.5 * ((alone.gap()[:, -1] - reading.gap_mm) / reading.u_mm) ** 2)
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
    """Half-width and coverage over 14 joints, the reading's error drawn; the table: DEVELOPERS.md."""
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
