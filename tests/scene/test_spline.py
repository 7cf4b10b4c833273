"""The spline against scipy's B-splines."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline

from gapvision.scene.spline import Spline


@pytest.fixture
def spline():
    return Spline.over(-310.0, 777.0, 60.0)


def test_matches_scipy(spline):
    rng = np.random.default_rng(1)
    knots = spline.from_mm + spline.step_mm * (np.arange(spline.size + 4) - 3.0)
    coefficients = rng.normal(0, 10, spline.size)
    station = rng.uniform(-310.0, 777.0, 200)
    expected = BSpline(knots, coefficients, 3)(station)
    np.testing.assert_allclose(spline.matrix(station) @ coefficients, expected, atol=1e-10)
    first, weights = spline.weights(station)
    by_weights = (coefficients[first[:, None] + np.arange(4)] * weights).sum(1)
    np.testing.assert_allclose(by_weights, expected, atol=1e-10)


def test_covers_its_stretch(spline):
    last = spline.from_mm + spline.step_mm * (spline.size - 3)
    assert last - spline.step_mm < 777.0 <= last


def test_straight_line_is_kept(spline):
    """Each coefficient at its hump's centre gives the line itself (Marsden's identity)."""
    station = np.linspace(-310.0, 777.0, 55)
    np.testing.assert_allclose(spline.matrix(station) @ spline.centres(), station, atol=1e-9)
    np.testing.assert_allclose(spline.matrix(station).sum(1), 1.0, atol=1e-12)


def test_goes_on_as_its_end_values(spline):
    coefficients = np.random.default_rng(2).normal(0, 10, spline.size)
    last = spline.from_mm + spline.step_mm * (spline.size - 3)
    ends = spline.matrix(np.array([spline.from_mm, last])) @ coefficients
    beyond = spline.matrix(np.array([spline.from_mm - 500, last + 500])) @ coefficients
    np.testing.assert_allclose(beyond, ends, atol=1e-6)


def test_stretch_shorter_than_a_knot_interval():
    short = Spline.over(0.0, 10.0, 60.0)
    assert short.size == 4
    assert short.matrix(np.array([5.0])).shape == (1, 4)
