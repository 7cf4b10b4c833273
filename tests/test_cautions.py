"""Cautions: each where its cause is, with the action it asks for, and none where nothing is wrong."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from gapvision.cautions import Findings, find_cautions, is_doubtful
from gapvision.lengths import parse_diameter
from gapvision.options import MeasureOptions
from gapvision.result import CardResult, PhotoResult, Quantity

STATION = np.arange(-740.0, 861.0, 5.0)
FAR = 1500.0  # mm, camera to joint
CLEAN = MeasureOptions(
    photos=(Path("level.jpg"),),
    upper_diameter=parse_diameter("290,310"),
    lower_diameter=parse_diameter("320"),
    from_mm=-740.0,
    to_mm=860.0,
)


def photo(file, height_mm, residual_px=0.9):
    return PhotoResult(
        file, "0" * 64, "outside", True, height_mm=height_mm, distance_mm=FAR, from_mm=-740.0,
        to_mm=860.0, cards=(1, 2), residual_px=residual_px,
    )  # fmt: skip


THREE_HEIGHTS = (
    photo("joint/level.jpg", 10.0),
    photo("joint/above.jpg", 340.0),
    photo("joint/below.jpg", -325.0),
)


def findings(
    unseen=(), bridged=(), u95=1.2, photos=THREE_HEIGHTS, corner_px=0.1, u_px=0.06, **more
):
    """A joint from three heights with two cards, of which nothing need be said."""
    shown, seen = np.ones(len(STATION), bool), np.ones(len(STATION), bool)
    for a, b in unseen:
        shown &= ~((a <= STATION) & (b > STATION))
    for a, b in bridged:
        seen &= ~((a <= STATION) & (b > STATION))
    values = {
        "options": CLEAN,
        "station_mm": STATION,
        "shown": shown,
        "seen": seen & shown,
        "setting": Quantity(46.0, u95 / 2, u95),
        "photos": photos,
        "left_out": (),
        "cards": (CardResult(1, "outside", 0.0, 1.0, ()), CardResult(2, "outside", 700, -2.4, ())),
        # Of the joint and the views only what the cards show is looked at.
        "joint": SimpleNamespace(corner_px=[{1: 0.2, 2: corner_px} for _ in photos]),
        "views": [
            SimpleNamespace(
                sightings=[
                    SimpleNamespace(number=1, u_px=0.06), SimpleNamespace(number=2, u_px=u_px)
                ]
            )
            for _ in photos
        ],
    }  # fmt: skip
    return Findings(**(values | more))


def codes(f):
    return [c.code for c in find_cautions(f)]


def only(f, code):
    """The one caution that there is."""
    (caution,) = find_cautions(f)
    assert caution.code == code
    assert caution.text.endswith(".") and "\n" not in caution.text
    return caution


def test_nothing_wrong_nothing_said():
    assert find_cautions(findings()) == ()
    assert not is_doubtful(findings())


# --- what was not seen ----------------------------------------------------------------------------


def test_long_stretch_not_seen_is_doubtful_and_asks_for_the_caliper_there():
    f = findings(unseen=[(100.0, 200.0)])
    caution = only(f, "not-seen")
    assert is_doubtful(f)
    assert "caliper" in caution.text and "98 mm to 198 mm" in caution.text
    # Half a step of 5 mm beyond the last stations that lack.
    assert (caution.from_mm, caution.to_mm) == pytest.approx((97.5, 197.5))


@pytest.mark.parametrize(("length", "said"), [(60.0, False), (65.0, True)])
def test_stretches_longer_than_60_mm_count(length, said):
    f = findings(unseen=[(100.0, 100.0 + length)])
    assert ("not-seen" in codes(f)) == said == is_doubtful(f)


def test_every_unseen_stretch_is_named_also_at_the_ends():
    f = findings(unseen=[(-740.0, -600.0), (100.0, 300.0), (700.0, 900.0)])
    named = [(c.from_mm, c.to_mm) for c in find_cautions(f)]
    assert np.array(named) == pytest.approx(
        np.array([(-742.5, -602.5), (97.5, 297.5), (697.5, 862.5)])
    )


def test_bridged_stretch_is_named_but_not_doubtful():
    f = findings(bridged=[(100.0, 150.0)])
    caution = only(f, "bridged")
    assert not is_doubtful(f)
    assert (caution.from_mm, caution.to_mm) == pytest.approx((97.5, 147.5))
    assert codes(findings(bridged=[(100.0, 110.0)])) == []  # a strap's width of nothing


# --- photographs ----------------------------------------------------------------------------------


def test_outlines_that_contradict_the_logs_are_doubtful_and_name_the_photograph():
    photos = (*THREE_HEIGHTS[:2], photo("joint/below.jpg", -325.0, residual_px=7.4))
    f = findings(photos=photos)
    caution = only(f, "misfit")
    assert is_doubtful(f)
    assert caution.text.startswith("below.jpg:") and "7 px" in caution.text


def test_photograph_left_out_says_why():
    out = PhotoResult("joint/x.jpg", "", "outside", False, "x.jpg: no scale card was seen.")
    f = findings(left_out=(out,))
    assert only(f, "left-out").text == "x.jpg: no scale card was seen."
    assert not is_doubtful(f)


@pytest.mark.parametrize("height", [-300.0, 10.0, 330.0])
def test_one_height_says_what_two_more_would_gain(height):
    caution = only(findings(photos=(photo("level.jpg", height),), u95=3.4), "one-height")
    assert "3.4 mm" in caution.text
    assert "330 mm" in caution.text  # 0.22 of the distance, to go above and below


def test_photographs_from_nearly_the_same_height_are_one():
    near = (photo("a.jpg", 0.0), photo("b.jpg", 0.1 * FAR))
    apart = (photo("a.jpg", 0.0), photo("b.jpg", 0.2 * FAR))
    assert codes(findings(photos=near)) == ["one-height"]
    assert codes(findings(photos=apart)) == []


def test_wide_answer_from_several_heights():
    assert "2.9 mm" in only(findings(u95=2.9), "wide").text
    assert codes(findings(u95=2.4)) == []


# --- what was stated ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"from_mm": None}, ["-740", "left"]),
        ({"to_mm": None}, ["860", "right"]),
    ],
)
def test_end_that_is_not_known_to_be_the_notch(given, words):
    caution = only(findings(options=replace(CLEAN, **given)), "notch-not-confirmed")
    assert all(word in caution.text for word in words)
    assert "--from" in caution.text and "--to" in caution.text


def test_both_ends():
    f = findings(options=replace(CLEAN, from_mm=None, to_mm=None))
    assert codes(f) == ["notch-not-confirmed"] * 2
    assert not is_doubtful(f)


@pytest.mark.parametrize(
    ("given", "logs"),
    [
        ({"upper_diameter": None}, "the upper log"),
        ({"lower_diameter": None}, "the lower log"),
        ({"upper_diameter": None, "lower_diameter": None}, "the upper and the lower log"),
    ],
)
def test_diameter_that_was_not_stated(given, logs):
    assert logs in only(findings(options=replace(CLEAN, **given)), "no-diameter").text


# --- cards ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("lean", [3.1, -3.1])
def test_card_out_of_plumb_either_way(lean):
    cards = (CardResult(1, "outside", 0.0, 0.3, ()), CardResult(2, "outside", 700.0, lean, ()))
    text = only(findings(cards=cards), "card-leans").text
    assert text.startswith("Card 2") and "3 degrees" in text


def test_card_that_moved_is_named_in_every_photograph_it_is_off_in():
    f = findings(corner_px=2.3)
    assert codes(f) == ["card-moved"] * 3
    first = find_cautions(f)[0].text
    assert first.startswith("level.jpg: card 2") and "2.3 px" in first


def test_card_that_is_not_flat():
    f = findings(u_px=0.6, photos=THREE_HEIGHTS[1:])
    assert codes(f) == ["card-not-flat"] * 2
    assert find_cautions(f)[0].text.startswith("above.jpg: card 2")


# --- together -------------------------------------------------------------------------------------


def test_gravest_first():
    f = findings(
        unseen=[(100.0, 300.0)],
        bridged=[(400.0, 450.0)],
        photos=(photo("level.jpg", 0.0, residual_px=9.0),),
        left_out=(PhotoResult("x.jpg", "", "outside", False, "x.jpg: no card."),),
        options=MeasureOptions(photos=(Path("level.jpg"),)),
    )
    said = codes(f)
    assert said[:3] == ["not-seen", "misfit", "left-out"]
    assert set(said[3:]) == {"one-height", "notch-not-confirmed", "bridged", "no-diameter"}
