"""What a person may have changed in outlines, and the one sentence where it cannot be."""

import json
import math
import re

import pytest
from helpers.options import options_with

from gapvision.errors import MeasurementError
from gapvision.inputs.corrections import (
    MOST_POINTS,
    U_DRAWN_MM,
    Correction,
    corrections_json,
    corrections_of,
)
from gapvision.inputs.options import check_options

SHA = "a1" * 32
LINE = [[100.5, 200], [140, 204.25]]


def test_lines_pins_stretches_and_photographs_dropped():
    told = {SHA: {"upper": [LINE], "lower": [[[120, 260]]], "not_gap": [[-40, 60.5]], "u_mm": 0.5}}
    assert corrections_of(told) == {
        SHA: Correction(
            upper=(((100.5, 200.0), (140.0, 204.25)),), lower=(((120.0, 260.0),),),
            not_gap=((-40.0, 60.5),), u_mm=0.5,
        )
    }  # fmt: skip
    assert corrections_of({SHA: {"dropped": True}})[SHA].dropped


def test_they_come_back_from_json_as_they_were():
    told = {SHA: {"upper": [LINE, [[1, 2]]], "not_gap": [[0, 9]]}, "b2" * 32: {"dropped": True}}
    given = corrections_of(told)
    assert corrections_of(json.loads(json.dumps(corrections_json(given)))) == given
    assert set(corrections_json(given)[SHA]) == {"upper", "not_gap"}


@pytest.mark.parametrize("nothing", [{}, {"upper": []}, {"dropped": False}, {"u_mm": 2.0}])
def test_what_changes_nothing_is_no_correction(nothing):
    assert corrections_of({SHA: nothing}) == {}


def test_what_an_answer_adds_is_passed_over():
    told = corrections_of({SHA: {"upper": [LINE], "upper_mm": [[1.0, 2.0]]}})
    assert told[SHA].upper and told[SHA].u_mm == U_DRAWN_MM


@pytest.mark.parametrize(
    ("value", "match"),
    [
        ([], "group of values"),
        ("dropped", "group of values"),
        ({"uper": [LINE]}, "knows no 'uper', only upper, lower"),
        ({"upper": LINE}, "lists of lines"),
        ({"upper": [[[1, 2, 3]]]}, "lists of lines"),
        ({"upper": [[["1", 2]]]}, "lists of lines"),
        ({"upper": [[None]]}, "lists of lines"),
        ({"upper": [[[10**400, 2]]]}, "lists of lines|no place in a picture"),
        ({"upper": [[]]}, "no point"),
        ({"lower": [[[math.nan, 2]]]}, "no place in a picture"),
        ({"lower": [[[math.inf, 2]]]}, "no place in a picture"),
        ({"lower": [[[1e6, 2]]]}, "no place in a picture"),
        ({"lower": [[[1, 2]] * (MOST_POINTS + 1)]}, "draw fewer"),
        ({"not_gap": [[10, 10]]}, "begin left of its end"),
        ({"not_gap": [[10, math.nan]]}, "begin left of its end"),
        ({"not_gap": [[0, 1e6]]}, "up to 15000 either way"),
        ({"not_gap": [[0, 1]] * 201}, "mark fewer"),
        ({"dropped": 1}, "true or false"),
        ({"dropped": "no"}, "true or false"),
        ({"u_mm": 0}, "0.3 to 10 are possible"),
        ({"u_mm": math.nan}, "0.3 to 10 are possible"),
    ],
)
def test_what_nobody_can_have_drawn(value, match):
    with pytest.raises(MeasurementError, match=match) as refused:
        corrections_of({SHA: value}, {SHA: "level.jpg"})
    assert refused.value.code == "bad-correction"
    assert re.fullmatch(r"level\.jpg: [^\n]{1,300}\.", refused.value.text)


@pytest.mark.parametrize("values", [[], None, "x", 3])
def test_corrections_are_by_photograph(values):
    with pytest.raises(MeasurementError, match="by the photographs' sha256"):
        corrections_of(values)


def test_a_run_refuses_them_too():
    wrong = Correction(not_gap=((5.0, 1.0),))
    with pytest.raises(MeasurementError, match="begin left of its end"):
        check_options(options_with(corrections={SHA: wrong}))


def test_a_marked_stretch_is_a_stated_place():
    assert not options_with(corrections={SHA: Correction(dropped=True)}).states_stations
    assert options_with(corrections={SHA: Correction(not_gap=((5.0, 9.0),))}).states_stations
