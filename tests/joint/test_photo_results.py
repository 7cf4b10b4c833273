"""What is said of photographs and cards: stretches put together, places from the nearest card."""

import pytest

from gapvision.joint.photo_results import CardResult, joined_mm, place_at, station_origin
from gapvision.quantity import Place


@pytest.mark.parametrize(
    ("stretches", "joined"),
    [
        ([], ()),
        ([(300.0, 400.0), (0.0, 100.0)], ((0.0, 100.0), (300.0, 400.0))),
        ([(0.0, 100.0), (50.0, 200.0), (200.0, 250.0)], ((0.0, 250.0),)),
        ([(0.0, 500.0), (100.0, 200.0)], ((0.0, 500.0),)),  # one within the other takes nothing off
    ],
)
def test_stretches_that_overlap_are_one(stretches, joined):
    assert joined_mm(stretches) == joined


def card(number, station_mm, side="outside"):
    return CardResult(number, side, station_mm, 0.0, ())


def test_a_place_is_told_from_the_nearest_card_outside():
    cards = card(3, 0.0), card(4, 700.0), card(1, 310.0, "inside")
    assert place_at(cards, 300.0) == Place(300.0, 3, 300.0)
    assert place_at(cards, 600.0) == Place(600.0, 4, -100.0)
    assert place_at(cards[2:], 300.0) == Place(300.0, 1, -10.0)  # of the inside alone
    assert place_at((), 300.0) == Place(300.0, None, None)


def test_stations_count_from_the_lowest_card_outside():
    cards = card(4, 700.0), card(3, 0.0), card(1, 310.0, "inside")
    assert station_origin(cards).number == 3
    assert station_origin(cards[2:]).number == 1
    assert station_origin(()) is None
