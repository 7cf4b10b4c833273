"""E_n against its worked example, the weighted mean and chi-square against closed forms and tables."""

import numpy as np
import pytest

from gapvision.joint.agreement import common_bias, e_number


def test_worked_example():
    """42.0 with U 1.5 against 41.0 with U 0.5, both k = 2: 1 / sqrt(2.5)."""
    assert e_number(42.0 - 41.0, 1.5 / 2, 0.5 / 2) == pytest.approx(0.4**0.5, abs=1e-12)
    assert round(e_number(42.0 - 41.0, 1.5 / 2, 0.5 / 2), 3) == 0.632
    assert e_number(-1.0, 0.75, 0.25) == -e_number(1.0, 0.75, 0.25)


def test_of_right_results_one_in_twenty_is_over_1():
    """Both normal: P(|E_n| > 1) = P(|z| > 2) = 4.55 %; 40,000 draws scatter by 0.1 %."""
    rng = np.random.default_rng(1)
    x, y = 0.5 * rng.standard_normal(40_000), 0.9 * rng.standard_normal(40_000)
    e = np.array([e_number(d, 0.5, 0.9) for d in x - y])
    assert (abs(e) > 1).mean() == pytest.approx(0.0455, abs=0.004)


def test_equal_differences():
    """Equal u: the plain mean; only the readings' own part is divided by n."""
    b = common_bias(np.array([1.0, 2.0, 3.0]), np.full(3, 0.6), np.full(3, 0.8))
    assert b.value_mm == pytest.approx(2.0, abs=1e-12)
    assert b.u_mm == pytest.approx((0.6**2 / 3 + 0.8**2) ** 0.5, abs=1e-12)
    assert b.chi_square == pytest.approx(2.0, abs=1e-12)  # (1 + 0 + 1) / 1^2
    assert b.chance == pytest.approx(np.exp(-1.0), abs=1e-12)  # of 2 degrees: exp(-x/2)


def test_weights():
    b = common_bias(np.array([0.0, 3.0]), np.array([1.0, 2.0]), np.zeros(2))
    assert b.value_mm == pytest.approx(0.6, abs=1e-12)  # weights 4/5 and 1/5
    assert b.u_mm == pytest.approx(0.8**0.5, abs=1e-12)  # 1 / sqrt(1 + 1/4)


def test_scatter_against_the_table():
    """5 % of chi-square with one degree of freedom is 3.841 (any table)."""
    apart = (2 * 3.8415) ** 0.5  # two differences of u 1: chi-square = apart^2 / 2
    b = common_bias(np.array([0.0, apart]), np.ones(2), np.zeros(2))
    assert b.chance == pytest.approx(0.05, abs=1e-5)
    assert not common_bias(np.array([0.0, 1.01 * apart]), np.ones(2), np.zeros(2)).consistent
    assert common_bias(np.array([0.0, 0.99 * apart]), np.ones(2), np.zeros(2)).consistent


def test_more_readings_do_not_make_the_photographs_certain():
    u = [common_bias(np.ones(n), np.full(n, 0.5), np.full(n, 0.7)).u_mm for n in (2, 8, 100)]
    assert u[0] > u[1] > u[2] > 0.7


@pytest.mark.parametrize("common", [True, False])
def test_bias_covers_whether_photographs_err_alike_or_not(common):
    """Of 4000 sets of 4 right readings hardly more than 5 % show a bias."""
    rng = np.random.default_rng(2)
    hit = 0
    for _ in range(4000):
        photos = 0.8 * (rng.standard_normal() if common else rng.standard_normal(4))
        d = 0.5 * rng.standard_normal(4) - photos
        hit += common_bias(d, np.full(4, 0.5), np.full(4, 0.8)).significant
    assert hit / 4000 < 0.055
