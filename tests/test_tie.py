"""Photographs tied into one joint by the cards they share; those that are not, and why."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from simulator import PROTOCOLS, draw_joint, fit

from gapvision.chain import find_chains
from gapvision.doubt import u_label
from gapvision.errors import JointNotFitted
from gapvision.extents import extent_strip
from gapvision.outlines import SEEN
from gapvision.result import PhotoResult
from gapvision.sides import check_inside_cards
from gapvision.start import place_cards
from gapvision.tie import _check_chain


@pytest.fixture(scope="module")
def joint():
    return draw_joint(np.random.default_rng(5), PROTOCOLS["heights"])


def showing(view, *numbers):
    """A photograph of two cards whose numbers are others."""
    renamed = zip(view.sightings, numbers, strict=False)
    return replace(view, sightings=tuple(replace(s, number=n) for s, n in renamed))


def placed(joint, *cards):
    views = [showing(v, *numbers) for v, numbers in zip(joint.views, cards, strict=True)]
    return place_cards(views, joint.lenses, joint.hung_on)


@pytest.mark.parametrize("cards", [((1, 2), (5, 6), (6, 7)), ((5, 6), (1, 2), (6, 7))])
def test_the_longest_chain_is_measured_not_that_of_the_lowest_card(joint, cards):
    found = placed(joint, *cards)
    assert [c is not None for c in found.cameras] == [1 not in numbers for numbers in cards]
    assert min(found.cards) == 5
    np.testing.assert_allclose(found.cards[5].nail_mm, 0)  # and stations count from its first card


def test_of_equal_chains_that_of_the_lowest_card_is_measured(joint):
    assert set(placed(joint, (7, 8), (3, 4), (5, 6)).cards) == {3, 4}


def test_a_chain_hangs_together_whatever_the_order(joint):
    found = placed(joint, (1, 2), (3, 4), (2, 3))
    assert all(c is not None for c in found.cameras) and set(found.cards) == {1, 2, 3, 4}


def sight(file, *numbers):
    view = SimpleNamespace(sightings=[SimpleNamespace(number=n) for n in numbers])
    return SimpleNamespace(photo=SimpleNamespace(file=file), view=view)


def test_photographs_of_which_no_two_share_a_card_are_refused():
    with pytest.raises(JointNotFitted, match="No two of the 2 photographs from outside") as caught:
        _check_chain("outside", [sight("a.jpg", 1), sight("b.jpg", 3, 4)], 1)
    assert caught.value.code == "untied"
    assert "a.jpg shows card 1; b.jpg shows cards 3 and 4" in caught.value.text
    _check_chain("outside", [sight("a.jpg", 1)], 1)
    _check_chain("outside", [sight("a.jpg", 1), sight("b.jpg", 1), sight("c.jpg", 9)], 2)


def test_inside_card_that_no_photograph_shows(joint):
    with pytest.raises(JointNotFitted, match="Card 7 was stated to hang inside"):
        check_inside_cards(joint.views, (7,))
    check_inside_cards(joint.views, (2,))


def test_a_photograph_that_shows_nothing_of_the_stretch_adds_no_doubt(joint):
    """It may be needed to tie others; of the stretch it knows nothing, wrong or right."""
    states = SimpleNamespace(state=np.full(100, SEEN))
    sights = [SimpleNamespace(trace=SimpleNamespace(upper=states, lower=states))] * 3
    fitted, at = fit(joint), joint.truth.station_mm
    two = u_label(sights, [*joint.views[:2], replace(joint.views[2], outlines=())], fitted, at)
    np.testing.assert_allclose(two, u_label(sights[:2], joint.views[:2], fitted, at))


def test_neither_chain_nor_picture_minds_it():
    seen = PhotoResult(
        "a.jpg", "", "outside", True, height_mm=0.0, distance_mm=1500.0, from_mm=-400.0, to_mm=500.0,
        cards=(1,), axis_station_mm=np.arange(-400.0, 500.0, 4.0), axis_state=np.full(225, SEEN),
    )  # fmt: skip
    bare = PhotoResult("b.jpg", "", "outside", True, height_mm=9.0, distance_mm=900.0, cards=(1, 2))
    (chain,) = find_chains((bare, seen))
    assert [p.file for p in chain.photos] == ["a.jpg", "b.jpg"]
    measurement = SimpleNamespace(photos=(seen, bare), deciding_place=SimpleNamespace(station_mm=0))
    assert extent_strip(measurement, lambda mm: np.asarray(mm), seen).shape[0] == 0
