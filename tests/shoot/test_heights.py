"""The plan of heights: what one photograph is, and which is due next."""

import pytest

from gapvision.quantity import Place
from gapvision.shoot.heights import Due, Sight, due, height_of
from gapvision.shoot.heights_text import DONE, next_text, sight_text


def sight(height="level", ends=(-900.0, 900.0), nails=None, off=0.0, unread=()):
    nails = nails or {1: 0.0}
    places = ends and tuple(Place(mm, min(nails), mm - nails[min(nails)]) for mm in ends)
    return Sight(tuple(nails), unread, height, off, 0.0, 1500.0, places, nails)


@pytest.mark.parametrize(
    "slope, name, outside",
    [
        (0.0, "level", 0.0), (0.03, "level", 0.0), (0.06, "level", 0.06), (-0.1, "level", -0.1),
        (0.12, "above", -0.03), (0.15, "above", 0.0), (0.3, "above", 0.0), (0.4, "above", 0.1),
        (-0.12, "below", 0.03), (-0.22, "below", 0.0), (-0.35, "below", -0.05),
    ],
)  # fmt: skip
def test_a_slope_of_sight_is_of_one_height(slope, name, outside):
    assert height_of(slope)[0] == name
    assert height_of(slope)[1] == pytest.approx(outside)


@pytest.mark.parametrize(
    "given, says",
    [
        (
            sight(),
            "Card 1 found, sharp; level. Joint seen from 900 mm left to 900 mm right of card 1.",
        ),
        (sight(off=42.0), "40 mm too high for level: crouch a little"),
        (sight(off=-42.0), "40 mm too low for level: raise the phone"),
        (sight("above", off=-60.0), "60 mm too low for the one from above: raise the phone"),
        (sight("below", off=60.0), "60 mm too high for the one from below: hold it lower"),
        (sight("above", off=90.0), "the gap looks shut from there: come down"),
        (sight(unread=(2,)), "Card 2 cannot be read."),
        (sight(ends=None), "Nowhere are both edges of the gap seen."),
    ],
)
def test_a_photograph_is_told_in_a_sentence(given, says):
    text = sight_text(given).replace(
        "card 1 to 900 mm right of card 1", "to 900 mm right of card 1"
    )
    assert says.split(" Joint seen")[0] in text and text.endswith(".")


def test_a_short_joint_wants_level_above_and_below_in_this_order():
    taken = []
    for height in ("level", "above", "below"):
        wanted = due(taken, (None, None))
        assert wanted == Due(height)
        assert next_text(wanted, [1500.0]).startswith(
            f"Now {'from ' * (height != 'level')}{height}: "
        )
        taken.append(sight(height, (-700.0, 700.0)))
    assert due(taken, (None, None)) is None and next_text(None, []) == DONE


def test_the_lens_belongs_higher_from_farther_away():
    assert next_text(Due("above"), [1500.0]) == "Now from above: the lens 350 mm above the gap."
    assert next_text(Due("below"), [900.0]) == "Now from below: the lens 200 mm below the gap."
    assert (
        next_text(Due("above"), [1500.0], "in") == "Now from above: the lens 12 in above the gap."
    )


def test_level_photographs_have_to_reach_both_notches():
    wanted = due([sight(ends=(-700.0, 900.0))], (-900.0, 900.0))
    assert wanted.height == "level"
    assert [(p.near_card, p.offset_mm) for p in wanted.stretch] == [(1, -900.0), (1, -700.0)]
    assert next_text(wanted, []) == "Now level: not seen yet from 700 to 900 mm left of card 1."
    right = due([sight(ends=(-950.0, 500.0))], (-900.0, 900.0))
    assert [p.offset_mm for p in right.stretch] == [500.0, 900.0]
    assert due([sight(ends=(-860.0, 860.0))], (-900.0, 900.0)) == Due("above")  # 40 mm are bridged


def test_photographs_of_a_long_log_are_chained_by_their_cards():
    one = sight(ends=(-800.0, 1200.0), nails={1: 0.0, 2: 900.0})
    two = sight(ends=(-100.0, 1000.0), nails={2: 0.0, 3: 900.0})
    ends = (-850.0, 2700.0)
    wanted = due([two, one], ends)
    assert [(p.near_card, round(p.offset_mm)) for p in wanted.stretch] == [(3, 100), (3, 900)]
    three = sight(ends=(-300.0, 950.0), nails={3: 0.0})
    assert due([three, two, one], ends) is None  # of a long log the answer tells where to go higher


def test_what_no_card_ties_is_not_counted():
    one = sight(ends=(-800.0, 300.0), nails={1: 0.0})
    apart = sight(ends=(-800.0, 800.0), nails={7: 0.0})
    wanted = due([one, apart], (-800.0, 800.0))
    assert [(p.near_card, p.offset_mm) for p in wanted.stretch] == [(1, 300.0), (1, 800.0)]


def test_a_hole_between_two_photographs_is_told():
    one = sight(ends=(-800.0, 200.0), nails={1: 0.0, 2: 900.0})
    two = sight(ends=(-300.0, 800.0), nails={2: 0.0})
    wanted = due([one, two], (None, None))
    assert [p.station_mm for p in wanted.stretch] == [200.0, 600.0]
