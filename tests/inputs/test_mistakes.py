"""What was meant by a mistaken entry, worked by hand; and that each kind has its words."""

import pytest

from gapvision.inputs.mistakes import decimal_comma, likely_unit, mistakes_of
from gapvision.lengths import format_entry, parse_diameter, parse_reading, parse_trial
from gapvision.phrases import MISTAKES, mistake_code, mistake_text


def meant(entry):
    return {code: format_entry(entry) for code, entry in mistakes_of(entry)}


def test_a_reading_is_of_the_other_unit():
    read = meant(parse_reading("50@310"))
    assert read == {"inches-as-mm": "1270@310", "mm-as-inches": "2@310"}


def test_a_trial_is_of_the_other_unit_of_one_face_or_exchanged():
    read = meant(parse_trial("50:100@310"))
    assert read["one-face"] == "50:200@310" and read["exchanged"] == "100:50@310"
    assert read["width-inches-as-mm"] == "50:2540@310"
    assert read["setting-mm-as-inches"] == "2:100@310"
    assert read["mm-as-inches"] == "2:3.9@310"


@pytest.mark.parametrize("entry", [parse_reading("50@310"), parse_trial("50:100@310")])
def test_every_mistake_has_words_that_lead_back_to_it(entry):
    codes = [code for code, _ in mistakes_of(entry)]
    assert set(codes) <= set(MISTAKES)
    assert [mistake_code(mistake_text(code)) for code in codes] == codes


def test_words_of_a_later_program_stand_as_they_are():
    assert mistake_text(mistake_code("upside down")) == "upside down"


@pytest.mark.parametrize(
    ("mm", "said"),
    [
        (3.0, " (that many inches or centimetres? write 3in or 30mm)"),
        (0.076, " (that many metres? write 76mm)"),
        (7.6, " (that many inches or centimetres? write 7.6in or 76mm)"),
        (76 * 25.4, " (that many mm? write 76mm)"),
        (900.0, ""),
        (-3.0, ""),
    ],
)
def test_a_cover_that_cannot_be_is_likely_of_another_unit(mm, said):
    assert likely_unit(mm, (10.0, 300.0)) == said


@pytest.mark.parametrize(
    ("typed", "meant"), [("290,5", "290.5"), ("290,25", "290.25"), ("290,300", ""), ("290", ""),
                         ("12,13", ""), ("290@0,5@900", "")],
)  # fmt: skip
def test_a_decimal_comma(typed, meant):
    assert decimal_comma(parse_diameter(typed), 80.0) == meant
