"""Lower first or scribe: exact cases, a grid over both notches, and simulated joints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.decisions import STATION, draws
from helpers.simulator import PROTOCOLS, Noise, Shape, draw_joint, fit
from scipy.optimize import linprog

from gapvision.advice.draws import draws_of
from gapvision.advice.lowering import (
    CLEARANCE_MM,
    DEPTH_COUNTS,
    HANDBOOK_MM,
    LITTLE,
    evenest,
    lower_first,
    lowest,
)
from gapvision.inputs.options import Scriber
from gapvision.joint.gap import drawn_at
from gapvision.lengths import SIXTEENTH_MM

ENDS = float(STATION[0]), float(STATION[-1])
T = (STATION - ENDS[0]) / (ENDS[1] - ENDS[0])
NOTHING = np.zeros(len(T))


def advice(gap, set_to=None, wanted=None, scriber=None, units="mm", stated=True, **kinds):
    d = draws(gap, **kinds)
    needed = d.sections.setting_needed(76.2)
    set_to = float(np.ceil(needed.mean(0).max())) if set_to is None else set_to
    return lower_first(d, needed, ENDS, stated, set_to, wanted, Scriber(scriber), units)


@pytest.mark.parametrize(("left", "right"), [(20.0, 60.0), (60.0, 20.0), (33.0, 33.0)])
def test_a_linear_gap_is_made_even_exactly(left, right):
    gap = left + (right - left) * T
    a, b = evenest(gap, T, gap - CLEARANCE_MM, NOTHING)
    assert (a, b) == (
        pytest.approx(max(left - right, 0), abs=1e-6),
        pytest.approx(max(right - left, 0), abs=1e-6),
    )
    np.testing.assert_allclose(gap - a - (b - a) * T, min(left, right), atol=1e-6)


def test_a_wanted_widest_gap_is_reached_by_the_shallowest_notches():
    gap = 60 + 30 * T
    a, b = evenest(gap, T, gap - CLEARANCE_MM, gap - HANDBOOK_MM)
    assert (a, b) == (pytest.approx(9.2, abs=1e-6), pytest.approx(39.2, abs=1e-6))


def test_both_programmes_against_a_grid():
    """Over all pairs of depths of a 1 mm grid nothing is evener, or lower, and none goes farther."""
    rng = np.random.default_rng(5)
    depth = np.arange(0.0, 60.0)
    shift = depth[:, None, None] * (1 - T) + depth[None, :, None] * T
    compared = 0
    for _ in range(5):
        gap = (
            30 + 25 * T * rng.uniform(-1, 1) + 8 * np.sin(rng.uniform(3, 9) * T + rng.uniform(0, 6))
        )
        most = np.maximum(gap - CLEARANCE_MM, 0)
        least = np.maximum(gap - gap.max() + 4, 0)
        left = gap - shift
        may = (shift <= most + 1e-9).all(-1)
        both = may & (shift >= least - 1e-9).all(-1)
        a, b = lowest(gap, T, most)
        even = gap - a - (b - a) * T
        assert (even >= gap - most - 1e-6).all() and min(a, b) >= 0
        assert even.max() <= left.max(-1)[may].min() + 1e-6
        assert even.max() >= left.max(-1)[may].min() - 2.0  # the grid is not much coarser than 1 mm
        found = evenest(gap, T, most, least)
        assert (found is not None) or not both.any()
        if found is not None and both.any():
            even = gap - found[0] - (found[1] - found[0]) * T
            worth = np.ptp(left, axis=-1) + DEPTH_COUNTS * (depth[:, None] + depth)
            best = np.ptp(even) + DEPTH_COUNTS * sum(found)
            assert worth[both].min() - 2.0 <= best <= worth[both].min() + 1e-6
            compared += 1
    assert compared >= 2


def test_both_programmes_against_a_solver_of_linear_programmes():
    """SciPy's, of which the unknowns are a, b, the widest and the least gap."""
    rng = np.random.default_rng(6)
    refused = 0
    for _ in range(60):
        t = np.sort(rng.uniform(*sorted(rng.uniform(0, 1, 2)), rng.integers(1, 200)))
        gap = 35 + 20 * rng.normal() * t + np.cumsum(rng.normal(0, rng.choice([0, 1]), len(t)))
        most, least = (np.maximum(gap - limit, 0) for limit in (CLEARANCE_MM, rng.choice([50, 30])))
        least[0] += rng.choice([0, 0, 10])
        down, one, none = np.c_[1 - t, t], np.ones((len(t), 1)), np.zeros((len(t), 1))
        even = linprog(
            [DEPTH_COUNTS, DEPTH_COUNTS, 1, -1],
            A_ub=np.block(
                [[-down, -one, none], [down, none, one], [down, none, none], [-down, none, none]]
            ),
            b_ub=np.concatenate([-gap, gap, most, -least]),
            bounds=[(0, None), (0, None), (None, None), (None, None)],
        )
        low = linprog(
            [LITTLE, LITTLE, 1],
            A_ub=np.block([[-down, -one], [down, none]]),
            b_ub=np.concatenate([-gap, most]),
            bounds=[(0, None), (0, None), (None, None)],
        )
        assert lowest(gap, t, most) == pytest.approx(low.x[:2], abs=1e-6)
        found = evenest(gap, t, most, least)
        refused += found is None
        assert (found is None) == (even.status != 0)
        assert found is None or found == pytest.approx(even.x[:2], abs=1e-6)
    assert 5 <= refused <= 40


def test_what_cannot_be_is_said():
    gap = 40 - 20 * T
    assert evenest(gap, T, gap - CLEARANCE_MM, np.where(T == 1, 15.0, 0.0)) is None


def test_ready_where_the_handbook_s_gap_is_reached():
    x = advice(30 + 5 * T)
    assert (x.ready, x.why, x.wanted.widest_mm, x.wanted.stated) == (
        True,
        "low-enough",
        HANDBOOK_MM,
        False,
    )
    assert (x.notches.left_mm, x.notches.right_mm) == (0.0, 5.0)
    assert not x.worth_it  # 5 mm of setting is not worth lifting a log


def test_evener_is_offered_where_it_is_worth_it():
    x = advice(20 + 28 * T)
    assert x.ready and x.worth_it
    assert x.notches.right_mm == 28.0 and x.gain.value_mm == pytest.approx(28.0, abs=1e-6)


def test_lower_first_where_the_gap_is_too_wide():
    x = advice(60 + 30 * T)
    assert (x.ready, x.why, x.wanted.reached) == (False, "too-wide", True)
    assert (x.notches.left_mm, x.notches.right_mm) == (10.0, 40.0)  # 9.2 and 39.2, rounded up
    assert x.after.widest.value_mm == pytest.approx(50.0, abs=1e-6)
    # 12 in logs, 3 in of cover: 9.679 mm above the gap, by the sagitta of two circles.
    assert x.after.setting.value_mm == pytest.approx(50 + 9.679, abs=1e-3)
    assert x.after.set_to_mm == 60.0
    np.testing.assert_allclose(x.after.gap_mm, 50.0, atol=1e-6)


def test_depths_are_whole_sixteenths_in_inches():
    x = advice(60 + 30 * T, units="in")
    for depth, exact in ((x.notches.left_mm, 9.2), (x.notches.right_mm, 39.2)):
        assert depth / SIXTEENTH_MM == pytest.approx(round(depth / SIXTEENTH_MM))
        assert 0 <= depth - exact < SIXTEENTH_MM


def test_never_past_contact():
    """Where one place is near already the log tilts about it, and what is wanted is not reached."""
    gap = 15 + 60 * np.abs(T - 0.5) * 2
    x = advice(gap)
    assert not x.wanted.reached and x.why in ("too-wide", "no-gain")
    assert x.after.least.value_mm >= CLEARANCE_MM - 1e-6  # rounded down here
    touching = advice(np.where(T == 0.5, 0.0, gap))
    assert (touching.notches.left_mm, touching.notches.right_mm) == (0.0, 0.0)


def test_no_gain_within_what_is_known_of_the_gap():
    x = advice(52 + 0 * T, noise_mm=1.5)
    assert (x.ready, x.why) == (True, "no-gain")
    assert advice(52 + 0 * T, noise_mm=0.1).why == "too-wide"


def test_the_same_lowering_all_along_gains_exactly_that():
    x = advice(80 + 0 * T, noise_mm=1.0)
    assert x.gain.value_mm == pytest.approx(30.0, abs=1e-6)
    assert x.gain.U95_mm == pytest.approx(0.0, abs=1e-6)


def test_a_scriber_that_does_not_open_far_enough():
    x = advice(45 + 0 * T, set_to=56.0, scriber=50.0)
    assert (x.ready, x.why, x.wanted.scriber_least_mm) == (False, "scriber", 6.0)
    assert (x.notches.left_mm, x.notches.right_mm) == (6.0, 6.0) and x.after.set_to_mm <= 50.0
    none = advice(14 + 0 * T, set_to=25.0, scriber=20.0)
    assert none.why == "scriber" and not none.wanted.reached
    assert advice(45 + 0 * T, set_to=56.0, scriber=60.0).ready


def test_unstated_notches_are_told():
    assert not advice(30 + 0 * T, stated=False).notches.stated


WIDE = Shape(narrowest_mm=(128.0, 132.0))


@pytest.fixture(scope="module")
def wide():
    simulated = draw_joint(np.random.default_rng(4), PROTOCOLS["heights"], WIDE, Noise())
    return simulated, fit(simulated)


def test_gaps_of_130_to_150_mm_are_measured(wide):
    """Nothing between rays and answer caps a gap; the band reaches 260 mm past the crown."""
    simulated, joint = wide
    truth = simulated.truth
    assert 130 < truth.gap_mm.max() < 150
    d = draws_of(drawn_at(joint, truth.station_mm, 76.0), np.zeros(len(truth.station_mm)))
    widest, _ = d.widest()
    assert abs(widest.value_mm - truth.gap_mm.max()) <= widest.U95_mm


def test_what_is_expected_after_lowering_comes_true(wide):
    """The true logs, moved as advised, need the setting that was expected."""
    simulated, joint = wide
    truth = simulated.truth
    ends = float(truth.station_mm[0]), float(truth.station_mm[-1])
    d = draws_of(drawn_at(joint, truth.station_mm, 76.0), np.zeros(len(truth.station_mm)))
    x = lower_first(d, d.sections.setting_needed(76.0), ends, True, 160.0, None, Scriber(), "mm")
    assert x.why == "too-wide" and x.wanted.reached
    shift = x.notches.shift(truth.station_mm)
    after = replace(truth, clearance_mm=truth.clearance_mm - shift[:, None])
    assert abs(after.gap_mm.max() - x.after.widest.value_mm) <= x.after.widest.U95_mm
    assert abs(after.needed_mm(76.0).max() - x.after.setting.value_mm) <= x.after.setting.U95_mm
    assert after.gap_mm.min() > 0
