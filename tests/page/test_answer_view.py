"""The answer's screen says what the first line says, and no number where there is none."""

from dataclasses import replace

import pytest
from helpers.answers import joint

from gapvision.advice.caution import told
from gapvision.answer.as_json import answer_json, refusal_json
from gapvision.errors import MeasurementError
from gapvision.page.answer_view import answer_view
from gapvision.phrases import NO_BREAK


def said(view):
    """The parts of the first line, put together again."""
    return " ".join(filter(None, (view.word, view.value, view.unit))) + (
        f": {view.then}" if view.then else ""
    )


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("status", ["measured", "doubtful"])
def test_the_parts_are_the_first_line(status, units):
    view = answer_view(answer_json(replace(joint(status), units=units)), units)
    assert said(view).replace(NO_BREAK, " ") == view.first_line


def test_a_setting_is_a_number_of_its_own():
    view = answer_view(answer_json(joint()), "mm")
    assert (view.kind, view.word, view.value, view.unit) == ("set", "SET", "58", "mm")


def test_at_least_is_told_before_its_number():
    view = answer_view(answer_json(joint("doubtful")), "mm")
    assert (view.word, view.value) == ("AT LEAST", "58")


def test_where_it_contradicts_itself_there_is_no_number():
    m = joint("doubtful", cautions=(told("misfit", "They disagree.", doubtful=True),))
    view = answer_view(answer_json(m), "mm")
    assert (view.kind, view.word) == ("measure-again", "MEASURE AGAIN")
    assert not view.value and "58" not in f"{view.reason}{view.crayon}{view.spoken}"


def test_a_refusal_says_what_to_do_and_nothing_else():
    error = MeasurementError("no-card", "No card was found: correct --from and --to.")
    view = answer_view(refusal_json(error), "mm")
    assert (view.first_line, view.value) == ("REFUSED", "")
    assert view.reason == "No card was found: correct the left notch and the right notch."
    assert not view.crayon and not view.steps
