"""The camera by one card: a print of another size is a card seen from another distance."""

import numpy as np
import pytest
from helpers.simulator import PROTOCOLS, draw_joint

from gapvision.photo.cards import at_true_size
from gapvision.photo.pose import card_pose, place_cards


@pytest.fixture(scope="module")
def joint():
    return draw_joint(np.random.default_rng(5), PROTOCOLS["heights"])


@pytest.mark.parametrize("bar_mm", [90.0, 97.3, 104.0])
def test_what_the_check_bar_measures_scales_the_camera_s_place(joint, bar_mm):
    """Similar triangles: the same picture of a card of 97 % was taken from 97 % of the distance."""
    view, lens = joint.views[1], joint.lenses[0]
    for drawn in view.sightings:
        (printed,) = at_true_size([drawn], bar_mm)
        of_drawn, of_printed = (card_pose(s, lens, view.size) for s in (drawn, printed))
        np.testing.assert_allclose(
            of_printed.centre_mm, bar_mm / 100 * of_drawn.centre_mm, rtol=1e-5, atol=1e-3
        )
        np.testing.assert_allclose(
            of_printed.camera_from_world, of_drawn.camera_from_world, atol=1e-6
        )


def test_and_the_cards_places(joint):
    views = [type(v)(v.side, v.size, v.lens, at_true_size(v.sightings, 90.0)) for v in joint.views]
    drawn, printed = (place_cards(v, joint.lenses, "upper") for v in (joint.views, views))
    np.testing.assert_allclose(
        printed.cards[2].nail_mm, 0.9 * drawn.cards[2].nail_mm, rtol=1e-4, atol=0.5
    )
