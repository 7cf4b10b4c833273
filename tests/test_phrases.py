"""How places are told and lines are broken."""

import textwrap

import pytest

from gapvision.phrases import WIDTH, stand_text, stretch_text, where_text, wrap
from gapvision.quantity import Place


@pytest.mark.parametrize(
    ("a", "b", "units", "text"),
    [
        ((1, 42.0), (1, 383.0), "mm", "from 40 to 380 mm right of card 1"),
        ((1, -383.0), (1, -42.0), "in", "from 1 1/2 to 15 in left of card 1"),
        ((1, -42.0), (1, 383.0), "mm", "from 40 mm left of card 1 to 380 mm right of card 1"),
        ((1, 2.0), (2, -42.0), "mm", "from card 1 to 40 mm left of card 2"),
        ((1, 2.0), (1, -3.0), "mm", "at card 1"),
        ((1, -130.0), (1, 6.0), "in", "from 5 in left of card 1 to card 1"),
        ((2, 42.0), (2, 44.0), "mm", "40 mm right of card 2"),
        ((None, None), (None, None), "mm", "0 mm along the log"),
    ],
)
def test_stretches_from_the_nearest_card(a, b, units, text):
    assert stretch_text(*(Place(0.0, *end) for end in (a, b)), units) == text


def test_places_and_heights_are_told_as_well_as_anybody_finds_them():
    assert where_text(Place(0.0, 2, 314.9), "mm") == "310 mm right of card 2"
    assert where_text(Place(0.0, 2, 314.9), "in") == "12 1/2 in right of card 2"
    assert (stand_text(322.0, "mm"), stand_text(322.0, "in")) == ("300 mm", "12 in")


# Underscores where no line may end.
TIED = (
    "needs 47.2_±_1.1_mm for it",
    "12_3/16_±_1/16_in right of card_2",
    "from 40_to_380_mm right of cards_2 and 3",
    "bent by 0.4_±_unknown, or 0.4_±_0.1 of it",
    "leans 3_degrees out, 95_times in_100, at 100_% and 4_px off",
    'put the caliper in (--reading_"GAP@30_11/16in")',
)


def groups(marked):
    """What must stand on one line."""
    return [g.replace("_", " ") for g in marked.split() if "_" in g]


@pytest.mark.parametrize("marked", TIED)
@pytest.mark.parametrize("lead", ["", "Widest gap        ", "1. "])
def test_no_line_ends_between_a_number_and_what_belongs_to_it(marked, lead):
    words = marked.replace("_", " ")
    for n in range(1, WIDTH - len(lead)):
        lines = wrap(f"{'x' * n} {words} here", lead)
        assert max(map(len, lines)) <= WIDTH
        assert " ".join(" ".join(lines).split()) == " ".join(
            f"{lead}{'x' * n} {words} here".split()
        )
        for group in groups(marked):
            assert any(group in line for line in lines), lines


def test_the_sweep_reaches_the_places_where_lines_end():
    """Else the test above could not fail: broken at any space, each group would be parted."""
    for marked in TIED:
        words = marked.replace("_", " ")
        broken = [
            "\n".join(textwrap.wrap(f"{'x' * n} {words} here", WIDTH)) for n in range(1, WIDTH)
        ]
        for group in groups(marked):
            assert any(group not in text for text in broken), group
