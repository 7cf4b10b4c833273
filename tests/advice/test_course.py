"""What follows from a setting, against the circles themselves."""

import numpy as np
import pytest
from helpers.decisions import STATION, Stacked, draws

from gapvision.advice.course import U_HEIGHT_MM, follow
from gapvision.errors import MeasurementError

SET_TO = 60.0


def gap(x):
    return 30.0 + 0.01 * np.asarray(x, float)


def course(under=0.0, heights=(), half=None, upper=300.0, lower=320.0, noise=0.0):
    joint = Stacked(gap, upper, lower, noise)
    d = draws(gap, upper, lower, noise)
    at = lambda x: joint.draws(x, 40, np.random.default_rng(3))  # noqa: E731
    return follow(d, at, SET_TO, under, heights, half)


def test_depth_is_what_lies_between_the_underside_and_the_copied_top():
    """The lower log's top moved up by the setting, less the upper log's underside, both as circles."""
    c = course()
    z = np.linspace(-40.0, 40.0, 4001)
    for k in (0, 50, 100):
        underside = gap(STATION[k]) + 150 - np.sqrt(150**2 - z**2)
        copied = SET_TO - 160 + np.sqrt(160**2 - z**2)
        assert c.depth_mm[k] == pytest.approx((copied - underside).max(), abs=1e-6)
    assert c.deepest.value_mm == pytest.approx(SET_TO - 25.0, abs=1e-6)
    assert c.deepest_station_mm == STATION[0]


def test_the_log_drops_until_the_groove_s_edges_lie_on_the_lower_log():
    """Down by the setting, both circles meet at half the groove's width."""
    c = course()
    width = draws(gap, 300.0, 320.0).sections.groove_width(SET_TO)[0, 50]
    underside = gap(0.0) - c.drop_mm + 150 - np.sqrt(150**2 - (width / 2) ** 2)
    top = -160 + np.sqrt(160**2 - (width / 2) ** 2)
    assert underside == pytest.approx(top, abs=1e-6)


def test_underscribe_leaves_the_groove_open_by_as_much():
    c = course(under=8.0)
    assert (c.notch_mm, c.drop_mm, c.underscribe_mm) == (52.0, 52.0, 8.0)
    np.testing.assert_array_equal(c.depth_mm, course().depth_mm)
    assert c.heights[0].course.value_mm - course().heights[0].course.value_mm == pytest.approx(8.0)


def test_underscribe_as_large_as_the_setting_is_refused():
    with pytest.raises(MeasurementError, match="must be smaller") as caught:
        course(under=60.0)
    assert caught.value.code == "bad-underscribe"


def test_heights_of_the_course():
    """Top over top: the upper log's diameter, less what it dropped more than the gap."""
    c = course(heights=(0.0,))
    assert [h.station_mm for h in c.heights] == [-500.0, 0.0, 500.0]
    assert [h.course.value_mm for h in c.heights] == pytest.approx([265.0, 270.0, 275.0])
    # The lower log's top stands 160 mm under the nail.
    assert c.heights[1].over_nail.value_mm == pytest.approx(270.0 - 160.0)
    assert c.heights[1].course.u_mm == pytest.approx(U_HEIGHT_MM)
    assert not c.diameter_stated


def test_stated_diameters_come_before_the_crown_s_radius():
    c = course(half=lambda x: 155.0 + 0.01 * np.asarray(x))
    assert c.diameter_stated
    assert [h.course.value_mm for h in c.heights] == pytest.approx([265.0, 295.0])


def test_level_of_the_top_from_end_to_end():
    c = course(upper=(290.0, 310.0), noise=2.0)
    assert c.rise.value_mm == pytest.approx(10.0 + 20.0)  # the gap's slope, and the log's taper
    assert c.rise.u_mm == pytest.approx(2**0.5 * U_HEIGHT_MM)  # a common error does not tilt it
    assert c.heights[0].course.u_mm == pytest.approx(np.hypot(U_HEIGHT_MM, 2.0), rel=0.1)
