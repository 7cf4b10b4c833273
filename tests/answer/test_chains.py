"""The chains of photographs: in which order shared cards put them together."""

from dataclasses import replace

from helpers.joints import photo

from gapvision.answer.chains import find_chains


def seen(name, first, *cards, **changes):
    return photo(name, first, first + 1000.0, cards=cards, **changes)


def told(*photos):
    return [("".join(p.file for p in c.photos), c.cards) for c in find_chains(photos)]


def test_chain_goes_along_the_log_by_shared_cards():
    assert told(seen("b", 500.0, 2, 3), seen("c", 900.0, 3, 4), seen("a", 0.0, 1, 2)) == [
        ("abc", (2, 3))
    ]


def test_every_photograph_shares_a_card_with_one_before_it():
    # c lies between a and b but shares no card with a: it comes after b.
    assert told(seen("a", 0.0, 1, 2), seen("c", 100.0, 3), seen("b", 500.0, 2, 3)) == [
        ("abc", (2, 3))
    ]


def test_sides_have_chains_of_their_own_and_what_is_left_out_has_none():
    out, inner = seen("a", 0.0, 1), seen("z", 0.0, 7, side="inside")
    left_out = replace(seen("b", 0.0, 1), used=False)
    assert told(inner, out, left_out) == [("a", ()), ("z", ())]
    assert told(left_out) == []
