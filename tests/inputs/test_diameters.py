"""Half diameters along the wall, from diameters as they are stated."""

import numpy as np
import pytest

from gapvision.inputs.diameters import radius_along, stated_radii
from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import parse_diameter

STRETCH = (-500.0, 1500.0)
AT = np.array([-500.0, 0.0, 1500.0])


@pytest.mark.parametrize(
    ("stated", "half_mm"),
    [
        ("300", [150.0, 150.0, 150.0]),
        ("280,320", [140.0, 145.0, 160.0]),  # the left end first, seen from outside
        ("320,280", [160.0, 155.0, 140.0]),
        ("280@0,320@1000", [130.0, 140.0, 170.0]),  # straight on beyond them
        ("320@1000,280@0", [130.0, 140.0, 170.0]),
        ("300@700", [150.0, 150.0, 150.0]),
    ],
)
def test_half_of_what_was_taped_straight_along_the_log(stated, half_mm):
    np.testing.assert_allclose(radius_along(parse_diameter(stated), STRETCH)(AT), half_mm)


def test_three_diameters_are_met_by_the_straight_line_between_them():
    """Off it by 2 mm at both ends and by 4 the other way in the middle: least squares."""
    along = radius_along(parse_diameter("300@-500,306@500,300@1500"), STRETCH)
    np.testing.assert_allclose(along(AT), [151.0, 151.0, 151.0])


def test_each_log_has_its_own():
    asked = MeasureOptions(photos=(), lower_diameter=parse_diameter("280,320"))
    half = stated_radii(asked, STRETCH)
    assert half["upper"] is None
    np.testing.assert_allclose(half["lower"](AT), [140.0, 145.0, 160.0])
