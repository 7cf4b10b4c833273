"""All photographs of a joint, and the one that contradicts the others set aside."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.demo import TRUTH, options
from helpers.simulator import PROTOCOLS, draw_joint, fit

from gapvision.joint import solve as solving
from gapvision.joint.disagreement import Outlier
from gapvision.joint.gather import gather_photos
from gapvision.joint.model import residuals
from gapvision.joint.photo_results import photo_result
from gapvision.joint.solve import solve
from gapvision.scene.priors import Priors

ASKED = options(*TRUTH["files"])
AT = np.arange(-300.0, 1000.0, 10.0)
WRONG, RISK_MM = 2, 3.0


@pytest.fixture(scope="module")
def given():
    return gather_photos(ASKED, Priors(), None)


@pytest.fixture(scope="module")
def others(given):
    """The joint of the photographs but one."""
    rest = tuple(p for k, p in enumerate(given.photos) if k != WRONG)
    return solve(ASKED, replace(given, photos=rest), Priors())


@pytest.fixture(scope="module")
def all_three(given):
    return solve(ASKED, given, Priors())


@pytest.mark.parametrize("looks", [0, 1])
def test_what_contradicts_is_set_aside_and_the_rest_solved_anew(given, others, looks, monkeypatch):
    """As it is traced by itself or after the second look; the risk that it was another stays."""
    asked = []

    def found(joint, beliefs, shifts):
        asked.append(joint)
        return Outlier(WRONG, -9.0, RISK_MM) if len(asked) == looks + 1 else None

    monkeypatch.setattr(solving, "find_outlier", found)
    solved = solve(ASKED, given, Priors())
    assert [p.label for p in solved.photos] == [p.label for p in others.photos]
    ((photo, outlier),) = solved.aside
    assert photo.label == given.photos[WRONG].label and outlier.risk_mm == RISK_MM
    np.testing.assert_array_equal(solved.joint.sections(AT).gap(), others.joint.sections(AT).gap())
    np.testing.assert_allclose(solved.risk_mm(AT), np.hypot(others.risk_mm(AT), RISK_MM))


def test_only_what_lies_in_the_stretch_is_fitted(monkeypatch):
    """A photograph that shows nothing of it ties the others by its cards and has no rows."""
    joint = fit(draw_joint(np.random.default_rng(1), PROTOCOLS["heights"]))
    photo = joint.photos[0]
    monkeypatch.setattr(solving, "outlines_of", lambda trace, rough: photo.rows.outlines)

    def within(low, high):
        return solving._within(photo, None, joint, (low, high), 1.0)

    beyond = solving.BEYOND_MM
    for o in within(-100.0, 300.0).outlines:
        _, station = residuals(photo.camera, o, joint)
        assert -100.0 - beyond < station.min() and station.max() < 300.0 + beyond
        assert np.ptp(station) > 400.0
    nothing = within(9000.0, 9500.0)
    assert nothing.outlines == () and nothing.sightings == photo.rows.sightings


def test_a_line_that_steps_is_told_though_two_others_show_the_log_there(all_three):
    """25 mm down from the middle on, in one photograph: the joint of all three has no such step."""
    traced, fitted = all_three.pairs()[0]
    assert photo_result(traced, fitted, all_three.joint).steps == ()
    line, blocks = traced.trace.lower, len(traced.trace.station_mm)
    low = 25.0 * (np.arange(blocks) >= blocks // 2)
    xy = line.xy_px + np.stack([0 * low, low / traced.trace.mm_per_px], 1)
    wrong = replace(line, row=line.row + low, xy_px=xy)
    torn = replace(traced, trace=replace(traced.trace, lower=wrong))
    (step,) = photo_result(torn, fitted, all_three.joint).steps
    assert (step.log, round(step.step_mm)) == ("lower", 25)
    assert step.station_mm == pytest.approx(traced.trace.station_mm[blocks // 2], abs=100.0)
