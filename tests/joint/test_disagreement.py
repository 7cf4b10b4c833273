"""A photograph whose outline is another's is set aside, and none is where all are right.

The joints, their rays and their noise are those of `simulator`.
"""

from dataclasses import replace

import numpy as np
import pytest
from helpers.simulator import PROTOCOLS, draw_joint, fit

from gapvision.joint import disagreement
from gapvision.joint.disagreement import find_outlier, fits_grossly_ill, gap_shifts, least_u_label
from gapvision.joint.fit import fit_joint

THREE = PROTOCOLS["heights"]
BELOW, LEVEL, ABOVE = range(3)


def with_wrong_line(joint, photo, log, wrong_px):
    """The joint with one outline taken for an edge beside it, by wrong_px (a function of x, px)."""
    outlines = tuple(
        replace(o, xy_px=o.xy_px + np.stack([0 * o.u_px, wrong_px(o.xy_px[:, 0])], 1))
        if o.log == log
        else o
        for o in joint.views[photo].outlines
    )
    views = list(joint.views)
    views[photo] = replace(views[photo], outlines=outlines)
    return replace(joint, views=views)


def outlier_of(joint):
    fitted, beliefs = fit(joint), joint.beliefs()
    return find_outlier(fitted, beliefs, gap_shifts(fitted, beliefs)), fitted


@pytest.mark.parametrize(("seed", "photo"), [(0, ABOVE), (1, BELOW), (2, ABOVE)])
def test_a_shadow_taken_for_the_log_in_a_raised_photograph_is_set_aside(photo, seed):
    joint = draw_joint(np.random.default_rng(seed), THREE)
    wrong = with_wrong_line(joint, photo, "upper", lambda x: 14 + 4 * np.sin(x / 200))
    found, fitted = outlier_of(wrong)
    assert found is not None and found.photo == photo
    rest = [replace(v, outlines=()) if k == photo else v for k, v in enumerate(wrong.views)]
    again = fit_joint(fitted.observing(rest), wrong.beliefs())
    at = joint.truth.station_mm
    before, after = (
        np.abs(f.sections(at).gap() - joint.truth.gap_mm).mean() for f in (fitted, again)
    )
    assert after < min(before, 1.5)
    assert found.risk_mm < 1.5


@pytest.mark.parametrize("seed", range(4))
def test_of_right_photographs_none_is_set_aside(seed):
    found, _ = outlier_of(draw_joint(np.random.default_rng(100 + seed), THREE))
    assert found is None


def test_of_two_photographs_that_disagree_neither_is_set_aside():
    joint = draw_joint(np.random.default_rng(1), PROTOCOLS["two"])
    found, _ = outlier_of(with_wrong_line(joint, 1, "upper", lambda x: 14.0 + 0 * x))
    assert found is None


def test_the_level_photograph_is_never_set_aside():
    joint = draw_joint(np.random.default_rng(3), THREE)
    found, _ = outlier_of(
        with_wrong_line(joint, LEVEL, "upper", lambda x: 14 + 4 * np.sin(x / 200))
    )
    assert found is None


def test_where_the_cost_would_have_the_level_one_go_nothing_is_sure(monkeypatch):
    """In a raised photograph the same would be beyond doubt; a level line is seldom that wrong."""
    joint = draw_joint(np.random.default_rng(4), THREE)
    wrong = with_wrong_line(joint, LEVEL, "upper", lambda x: 14 + 4 * np.sin(x / 200))
    found, fitted = outlier_of(wrong)
    assert found is None
    monkeypatch.setattr(disagreement, "_most_level", lambda joint: ABOVE)
    beliefs = wrong.beliefs()
    assert find_outlier(fitted, beliefs, gap_shifts(fitted, beliefs)).photo == LEVEL


def test_a_photograph_that_shows_nothing_of_the_stretch_outvotes_nobody():
    """It ties others by its cards; three that show a station know it better than two."""
    fitted = fit(draw_joint(np.random.default_rng(1), THREE))
    at = fitted.spline_h.centres()[4:-4]
    cards_only = [
        replace(p.rows, outlines=()) if k == ABOVE else p.rows for k, p in enumerate(fitted.photos)
    ]
    two = replace(fitted, photos=fitted.photos[:ABOVE])
    np.testing.assert_array_equal(
        least_u_label(fitted.observing(cards_only), at), least_u_label(two, at)
    )
    assert (least_u_label(fitted, at) < least_u_label(two, at)).all()


def test_where_two_of_three_are_wrong_none_is_set_aside():
    joint = draw_joint(np.random.default_rng(2), THREE)
    wrong = with_wrong_line(joint, ABOVE, "upper", lambda x: 14 + 6 * np.sin(x / 150))
    wrong = with_wrong_line(wrong, BELOW, "lower", lambda x: -12 + 6 * np.sin(x / 170))
    found, _ = outlier_of(wrong)
    assert found is None


@pytest.mark.parametrize(("seed", "photo"), [(3, BELOW), (8, ABOVE)])
def test_a_line_centimetres_off_is_set_aside_before_the_second_look(seed, photo):
    """A shadow across the lower log is taken for its edge: cameras, cards and logs bend to it."""
    joint = draw_joint(np.random.default_rng(seed), THREE)
    wrong = with_wrong_line(joint, photo, "lower", lambda x: 75 + 0.002 * x)
    found = find_outlier(fit(wrong), wrong.beliefs(), ())
    assert found is not None and found.photo == photo
    assert 20 < found.gap_mm < 70  # 75 px are 30 to 50 mm


@pytest.mark.parametrize("seed", range(3, 7))
def test_a_line_centimetres_off_is_known_whosever_it_is(seed):
    """Of three photographs any two fit each other: often it cannot be told which is wrong."""
    joint = draw_joint(np.random.default_rng(seed), THREE)
    assert not fits_grossly_ill(fit(joint))
    for photo in (ABOVE, BELOW):
        wrong = with_wrong_line(joint, photo, "lower", lambda x: 75 + 0.002 * x)
        assert fits_grossly_ill(fit(wrong))
