"""Monte Carlo propagation against the examples of the GUM and its supplement 1.

Values and where they come from: tests/truth/propagation.csv. The end gauge is GUM (JCGM 100:2008)
H.1 as public test files restate it: 50.000 838 mm, u_c 32 nm.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from gapvision.joint import gap
from gapvision.joint.model import SECTION_NAMES, Joint
from gapvision.scene.spline import Spline

with (Path(__file__).parents[1] / "truth" / "propagation.csv").open(encoding="utf-8") as file:
    PUBLISHED = {r["origin"].rsplit(maxsplit=1)[-1]: r for r in csv.DictReader(file)}
N = 400_000  # half-widths of 95 % scatter by 0.2 % then
STATION = np.array([130.0])


def rectangular(rng, sd: float) -> np.ndarray:
    return rng.uniform(-sd, sd, N) * 3**0.5


def mass(rng) -> np.ndarray:
    """Conventional mass above nominal, mg: buoyancy of a weight against a reference of 100 g."""
    reference, more = rng.normal(100_000, 0.05, N), rng.normal(1.234, 0.02, N)
    air, weight = rng.uniform(1.1, 1.3, N), rng.uniform(7000, 9000, N)
    standard = rng.uniform(7950, 8050, N)
    return (reference + more) * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 100_000


CASES = {
    "9.2.2": lambda rng: rng.standard_normal((4, N)).sum(0),
    "9.2.3": lambda rng: sum(rectangular(rng, sd) for sd in (1, 1, 1, 1)),
    "9.2.4": lambda rng: sum(rectangular(rng, sd) for sd in (1, 1, 1, 10)),
    "9.3": mass,
}


def joint_of(values: dict[str, float], factor: dict[str, tuple[float, ...]]) -> Joint:
    """Sections alike at all stations; each source of error is one column that moves them alike."""
    spline = Spline.over(-300.0, 800.0, 150.0)
    sources = len(next(iter(factor.values())))
    rows = [factor.get(k, (0.0,) * sources) for k in SECTION_NAMES]
    return Joint(
        photos=(), lenses=(), cards=(), spline_h=spline, spline_s=spline,
        coefficients={k: np.full(spline.size, values[k]) for k in SECTION_NAMES},
        section_factor=np.repeat(np.array(rows), spline.size, axis=0),
    )  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_half_width_of_published_distributions(name):
    draws = CASES[name](np.random.default_rng(101))[:, None]
    result, _ = gap.largest(draws, STATION, 0.0)
    half, tolerance = (float(PUBLISHED[name][k]) for k in ("half95", "tolerance"))
    assert result.U95_mm == pytest.approx(half, abs=2 * tolerance + 0.003 * half)


@pytest.mark.parametrize("name", ["9.2.2", "9.2.3", "9.3"])
def test_standard_uncertainty_of_published_distributions(name):
    """From the middle 68 % of the draws, which for these is a standard deviation to 4 %."""
    draws = CASES[name](np.random.default_rng(102))[:, None]
    assert gap.spread(draws)[0] == pytest.approx(float(PUBLISHED[name]["u"]), rel=0.04)


def test_spread_of_a_rectangle_is_the_wider_one():
    """9.2.4 is nearly a rectangle: its middle 68 % reach to 0.683 of the half-width 10 sqrt(3)."""
    draws = CASES["9.2.4"](np.random.default_rng(103))[:, None]
    assert gap.spread(draws)[0] == pytest.approx(0.6827 * 10 * 3**0.5, rel=0.01)
    assert gap.spread(draws)[0] > float(PUBLISHED["9.2.4"]["u"])


def test_end_gauge_as_a_gap():
    """GUM H.1 as crowns' heights: contributions 25, 9.7, 2.9 and 16.6 nm to a length of 50 mm."""
    values = {
        "h_l": -0.000215,
        "z_l": 0.0,
        "r_l": 140.0,
        "h_u": 50.000623,
        "z_u": 0.0,
        "r_u": 180.0,
    }
    nm = 1e-6
    joint = joint_of(
        values, {"h_u": (25 * nm, 0.0, -2.9 * nm, 0.0), "h_l": (0.0, 9.7 * nm, 0.0, 16.6 * nm)}
    )  # noqa: E501
    draws = joint.draws(STATION, 100_000, np.random.default_rng(104)).gap()
    assert float(joint.sections(STATION).gap()[0]) == pytest.approx(50.000838, abs=1e-9)
    assert float(draws.mean()) == pytest.approx(50.000838, abs=1e-9)
    assert float(draws.std()) == pytest.approx(32 * nm, abs=0.5 * nm)
    assert float(gap.spread(draws)[0]) == pytest.approx(1002**0.5 * nm, rel=0.01)


def test_four_equal_sources_in_the_sections():
    """JCGM 101:2008, 9.2.2, through the draws of a joint: u 2.0, 95 % within 3.92."""
    values = {"h_l": 0.0, "z_l": 0.0, "r_l": 140.0, "h_u": 30.0, "z_u": 0.0, "r_u": 180.0}
    joint = joint_of(values, {"h_u": (1.0, 1.0, 0.0, 0.0), "h_l": (0.0, 0.0, 1.0, 1.0)})
    draws = joint.draws(STATION, 200_000, np.random.default_rng(105)).gap()
    assert float(draws.std()) == pytest.approx(2.0, rel=0.005)
    assert np.quantile(np.abs(draws - 30.0), 0.95) == pytest.approx(3.92, rel=0.01)


def test_second_order_of_the_crowns_offset():
    """An unknown offset of sd s raises the mean gap by s^2 / (2 (r_l + r_u)): GUM H.1.7's kind."""
    values = {"h_l": 0.0, "z_l": 0.0, "r_l": 140.0, "h_u": 30.0, "z_u": 0.0, "r_u": 180.0}
    joint = joint_of(values, {"z_u": (15.0,)})
    draws = joint.draws(STATION, 200_000, np.random.default_rng(106)).gap()
    more = 15.0**2 / (2 * 320)
    assert float(draws.mean()) - 30.0 == pytest.approx(more, rel=0.02)
    assert float(draws.std()) == pytest.approx(2**0.5 * more, rel=0.03)  # chi-squared of one
