"""Largest of noisy stations, and the profile of a fitted joint."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from helpers.simulator import PROTOCOLS, draw_joint, fit
from scipy.integrate import quad
from scipy.stats import norm

from gapvision.joint import gap
from gapvision.joint.gap import drawn_at, gap_profile, groove_widths

with (Path(__file__).parents[1] / "truth" / "largest_of_n.csv").open(encoding="utf-8") as file:
    LARGEST = {int(r["n"]): float(r["expected_largest"]) for r in csv.DictReader(file)}
DRAWS = 20_000


@pytest.fixture(scope="module")
def simulated():
    return draw_joint(np.random.default_rng(21), PROTOCOLS["two"])


@pytest.fixture(scope="module")
def joint(simulated):
    return fit(simulated)


@pytest.fixture(scope="module")
def profile(simulated, joint):
    return gap_profile(joint, simulated.truth.station_mm, 76.0)


@pytest.mark.parametrize("n", LARGEST)
def test_bias_of_the_largest_is_the_published_one(n):
    """Of n equal stations half of what their largest draw reads high on the average is taken off."""
    expected = quad(lambda x: n * x * norm.pdf(x) * norm.cdf(x) ** (n - 1), -8, 8)[0]
    assert expected == pytest.approx(LARGEST[n], abs=6e-4)  # the table's last digit
    draws = np.random.default_rng(4).standard_normal((DRAWS, n))
    widest, _ = gap.largest(draws - draws.mean(0), np.arange(n), 0.0)
    # The largest of n has sd 0.59 or less: 0.004 in the mean of the draws.
    assert widest.value_mm == pytest.approx(-0.5 * LARGEST[n], abs=0.01)


@pytest.mark.parametrize("n", LARGEST)
def test_largest_of_noisy_stations_reads_less_high(n):
    """Where no station is wider than another the readings' maximum is too wide by the table's bias."""
    rng = np.random.default_rng(5)
    raw, corrected = [], []
    for _ in range(400):
        readings = rng.standard_normal(n)
        draws = readings + rng.standard_normal((400, n))
        raw.append(readings.max())
        corrected.append(gap.largest(draws, np.arange(n), 0.0)[0].value_mm)
    assert np.mean(raw) == pytest.approx(LARGEST[n], abs=3 * 0.59 / 20)
    assert 0 < np.mean(corrected) < 0.85 * np.mean(raw)


def test_one_station_has_no_bias():
    noise = np.random.default_rng(6).normal(0, 0.5, (DRAWS // 2, 1))
    draws = 31.0 + np.concatenate([noise, -noise])
    only, at = gap.largest(draws, np.array([-140.0]), 0.3)
    assert at == -140.0
    assert only.value_mm == pytest.approx(31.0, abs=1e-9)
    assert only.u_mm == pytest.approx(np.hypot(0.5, 0.3), rel=0.02)
    assert only.U95_mm == pytest.approx(1.96 * np.hypot(0.5, 0.3), rel=0.02)


def test_a_clearly_widest_station_is_taken_as_it_is():
    noise = np.random.default_rng(7).normal(0, 0.4, (DRAWS // 2, 3))
    best = np.array([20.0, 26.0, 22.0])
    widest, at = gap.largest(best + np.r_[noise, -noise], np.array([0.0, 10.0, 20.0]), 0.0)
    assert (at, widest.value_mm) == (10.0, pytest.approx(26.0, abs=1e-9))


def test_a_few_wild_draws_do_not_rule_the_spread():
    draws = np.random.default_rng(8).normal(0, 0.7, (DRAWS, 2))
    draws[:20] = 1e4
    np.testing.assert_allclose(gap.spread(draws), 0.7, rtol=0.03)


def test_profile_gives_the_same_answer_twice(simulated, joint, profile):
    again = gap_profile(joint, simulated.truth.station_mm, 76.0)
    assert again.setting == profile.setting
    np.testing.assert_array_equal(again.needed_u_mm, profile.needed_u_mm)


def test_profile_holds_together(profile):
    station = profile.station_mm
    assert profile.widest_station_mm == station[np.argmax(profile.gap_mm)]
    assert profile.deciding_station_mm == station[np.argmax(profile.needed_mm)]
    assert np.all(profile.gap_u_mm >= gap.ROUGH_MM)
    assert np.all(profile.needed_u_mm >= np.hypot(gap.ROUGH_MM, gap.SHAPE_MM))
    # Two sagittas of half the cover: at least for logs of 400 mm, at most for logs of 220 mm.
    rise = profile.needed_mm - profile.gap_mm
    assert 2 * 3.6 < rise.min() < rise.max() < 2 * 6.8


def test_wider_cover_needs_a_wider_setting(simulated, joint, profile):
    wider = gap_profile(joint, simulated.truth.station_mm, 89.0)
    np.testing.assert_array_equal(wider.gap_mm, profile.gap_mm)
    assert np.all(wider.needed_mm > profile.needed_mm + 2.0)


def test_groove_is_the_cover_where_the_setting_is_the_needed_one(joint, profile):
    k = int(np.argmax(profile.needed_mm))
    station = profile.station_mm[k : k + 1]
    width, u = groove_widths(drawn_at(joint, station, 76.0), float(profile.needed_mm[k]))
    # Both are means over draws: the width bends down with the setting, W'' = -W / (4 (s - g)^2),
    # which takes off 0.12 mm at a rise of 9 mm and an uncertainty of 1 mm.
    assert width[0] == pytest.approx(76.0, abs=0.3)
    # dW/ds = 2 / (tan a_L + tan a_U) is 3 to 5 for such logs and cover.
    assert 3.0 < u[0] / profile.needed_u_mm[k] < 5.5


def test_groove_against_the_true_surface(simulated, joint, profile):
    """Within 2.6 u at nine stations of ten, at the setting that the builder would use."""
    setting = float(np.ceil(profile.setting.value_mm + 1.65 * profile.setting.u_mm))
    width, u = groove_widths(drawn_at(joint, profile.station_mm, 76.0), setting)
    miss = np.abs(width - simulated.truth.width_mm(setting))
    assert np.mean(miss < 2.6 * u) > 0.9
