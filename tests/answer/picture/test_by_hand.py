"""What the picture and the texts show of lines drawn by hand and stretches marked."""

import numpy as np
import pytest
from helpers.joints import PHOTO_SHAPE, joint, photo, photo_x

from gapvision.answer.corrected_text import corrected_rows, corrected_text
from gapvision.answer.picture.drawing import PANEL_LEFT_PX, PANEL_RIGHT_PX, WHITE
from gapvision.answer.picture.picture import draw_picture
from gapvision.answer.text import answer_text
from gapvision.inputs.corrections import Correction
from gapvision.joint.photo_results import Corrected, Lack, PhotoResult

LINE = ((1.0, 1.0), (2.0, 2.0))
DROPPED = PhotoResult(
    "b.jpg", "1" * 64, "outside", False, Lack("dropped"),
    corrected=Corrected(Correction(dropped=True)),
)  # fmt: skip


def drawn(*upper_mm, not_gap=()):
    given = Correction(upper=(LINE,) * len(upper_mm), not_gap=not_gap)
    return joint(photos=(photo(corrected=Corrected(given, upper_mm=upper_mm)), DROPPED))


def picture(m):
    return draw_picture(m, lambda file: np.full(PHOTO_SHAPE, 128, np.uint8))


def column(station):
    scale = (PANEL_RIGHT_PX - PANEL_LEFT_PX) / PHOTO_SHAPE[1]
    return int(round(PANEL_LEFT_PX + (photo_x(station) + 0.5) * scale - 0.5))


def white_in(image, first, last):
    """Count of white px in the photograph between two stations."""
    part = image[:, column(first) : column(last)]
    grey = np.flatnonzero((image[:, PANEL_LEFT_PX:PANEL_RIGHT_PX] == 128).all(2).mean(1) > 0.3)
    return int((part[grey[0] : grey[-1]] == np.array(WHITE)).all(2).sum())


def test_beads_stand_where_the_line_was_drawn_and_the_legend_names_them(said):
    beaded, plain = picture(drawn((520.0, 690.0))), picture(joint())
    assert "drawn by hand" in said and said.count("drawn by hand") == 1
    assert white_in(beaded, 525, 685) > white_in(plain, 525, 685) + 200
    assert white_in(beaded, 720, 790) == white_in(plain, 720, 790)


def test_a_marked_stretch_is_hatched(said):
    marked, plain = picture(drawn(not_gap=((520.0, 690.0),))), picture(joint())
    assert "by hand: not the gap" in said and "drawn by hand" not in said
    assert white_in(marked, 525, 685) > white_in(plain, 525, 685) + 300


def test_the_picture_says_what_was_corrected(said):
    picture(drawn((100.0, 180.0)))
    assert any(text.startswith("Corrected by hand: 1 photograph, from 100") for text in said)
    said.clear()
    picture(joint())
    assert not any("hand" in text for text in said)


@pytest.mark.parametrize(
    ("m", "text"),
    [
        (joint(), ""),
        (joint(photos=(photo(), DROPPED)), "1 photograph dropped"),
        (drawn((120.0, 340.0)), "1 photograph, from 120 to 340 mm right of card 1; 1 dropped"),
        (
            drawn((120.0, 200.0), (180.0, 260.0), (300.0, 340.0)),
            "1 photograph, from 120 to 260 mm right of card 1 and from 300 to 340 mm right of card 1;"
            " 1 dropped",
        ),
        (
            drawn((-200.0, -150.0), (20.0, 60.0), (300.0, 340.0)),
            "1 photograph, 3 stretches from 200 mm left of card 1 to 340 mm right of card 1; 1 dropped",
        ),
    ],
)
def test_the_first_screen_says_it_in_a_line(m, text):
    assert corrected_text(m) == text
    said = " ".join(answer_text(m).split())
    assert (f"Corrected by hand: {text}." in said) == bool(text)
    assert max(map(len, answer_text(m).splitlines())) <= 80


def test_in_inches():
    assert corrected_text(drawn((100.0, 305.0)), "in").startswith("1 photograph, from 4 to 12 in")


def test_the_details_name_photograph_and_log():
    rows = corrected_rows(drawn((120.0, 340.0), not_gap=((500.0, 600.0), (560.0, 640.0))), "mm")
    assert rows == [
        (
            "joint.jpg",
            "upper log's line drawn from 120 to 340 mm right of card 1; not the gap from 60 to 200 mm "
            "left of card 2",
        ),
        ("b.jpg", "dropped"),
    ]


def test_of_one_left_out_it_is_not_said_where():
    """It contradicted the others, or nothing tied it to them."""
    aside = PhotoResult(
        "a.jpg",
        "1" * 64,
        "outside",
        False,
        Lack("untied"),
        corrected=Corrected(Correction((LINE,))),
    )
    m = joint(photos=(photo(), aside))
    assert corrected_text(m) == "1 photograph left out"
    assert corrected_rows(m, "mm") == [("a.jpg", "upper log's line drawn")]
