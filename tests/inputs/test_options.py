"""What a run may be asked, and the one sentence where it cannot be."""

import re
from math import isfinite
from pathlib import Path

import pytest
from helpers.options import options_with

from gapvision.errors import JointNotFitted
from gapvision.inputs.options import COVER_MM, RANGES, HandMeasured, MeasureOptions, check_options
from gapvision.inputs.rules import Rule
from gapvision.lengths import INCH_MM, Diameter, Reading, Trial, parse_diameter, parse_length


def refusal(**stated):
    with pytest.raises(JointNotFitted) as caught:
        check_options(options_with(**stated))
    text = caught.value.text
    assert re.fullmatch(r"[^\n]+\.", text)
    return caught.value.code, text


@pytest.mark.parametrize(
    "stated",
    [
        {},
        {"cover_mm": 10.0},
        {"cover_mm": 250.0, "upper_diameter": parse_diameter("300")},
        {"upper_diameter": parse_diameter("290,310"), "lower_diameter": parse_diameter("250")},
        {"upper_diameter": parse_diameter("290@-750,310@750")},
        {"from_mm": -750.0, "to_mm": 750.0},
        {"from_mm": 100.0},
        {"to_mm": -100.0},
        {"printed_bar_mm": 99.4},
        {"wall_thickness_mm": 330.0},
    ],
)
def test_what_joints_have_passes(stated):
    check_options(options_with(**stated))


def test_default_cover_is_three_inches():
    """76 mm is common practice, no source."""
    assert options_with().cover_mm == COVER_MM == round(parse_length("3in"))


@pytest.mark.parametrize("cover", [0.0, -5.0])
def test_cover_of_nothing(cover):
    code, text = refusal(cover_mm=cover)
    assert code == "bad-cover"
    assert f"{cover:.0f} mm" in text and "above zero" in text


@pytest.mark.parametrize(
    ("cover", "likely"), [(3.0, "write 3in or"), (7.6, "or 76mm)"), (0.076, "write 76mm)")]
)
def test_cover_of_another_unit(cover, likely):
    code, text = refusal(cover_mm=cover)
    assert code == "bad-cover" and likely in text and "under 10 mm" in text


def test_cover_larger_than_the_log():
    code, text = refusal(cover_mm=310.0, upper_diameter=parse_diameter("300"))
    assert code == "bad-cover"
    assert "310 mm" in text and "300" not in text.split(":")[1]


def test_cover_is_held_against_the_thinner_end():
    both = {"upper_diameter": parse_diameter("400"), "lower_diameter": parse_diameter("210,300")}
    check_options(options_with(cover_mm=180.0, **both))
    assert refusal(cover_mm=200.0, **both)[0] == "bad-cover"


def test_cover_without_stated_diameters_is_still_bounded():
    assert refusal(cover_mm=1000.0)[0] == "bad-cover"


@pytest.mark.parametrize("log", ["upper", "lower"])
@pytest.mark.parametrize(
    "diameter", [300 * 25.0, 300 / 25.0, 300 * 25.4, 300 / 25.4, 0.0, -300.0, 79.0, 1201.0]
)
def test_diameter_wrong_by_the_size_of_an_inch(log, diameter):
    code, text = refusal(**{f"{log}_diameter": Diameter(((None, diameter),))})
    assert code == "bad-diameter"
    assert f"{log} log" in text and f"{diameter:.4g} mm" in text


def test_a_diameter_that_looks_like_inches_is_told_so():
    assert "12in" in refusal(upper_diameter=parse_diameter("12"))[1]
    assert "inches" not in refusal(upper_diameter=parse_diameter("7500"))[1]


@pytest.mark.parametrize("second", ["12@750", "7500@750"])
def test_each_stated_diameter_is_looked_at(second):
    stated = parse_diameter(f"290@-750,{second}")
    assert refusal(upper_diameter=stated)[0] == "bad-diameter"


@pytest.mark.parametrize(("from_mm", "to_mm"), [(750.0, -750.0), (100.0, 100.0)])
def test_from_right_of_to(from_mm, to_mm):
    code, text = refusal(from_mm=from_mm, to_mm=to_mm)
    assert code == "from-after-to"
    assert f"{from_mm:.0f}" in text and f"{to_mm:.0f}" in text and "--from" in text


@pytest.mark.parametrize("side", ["from_mm", "to_mm"])
@pytest.mark.parametrize("at", [-16000.0, 15001.0, 900000.0])
def test_station_beyond_any_log(side, at):
    code, text = refusal(**{side: at})
    assert code == "bad-station" and f"{at:.0f} mm" in text


def test_stretch_of_next_to_nothing():
    code, text = refusal(from_mm=0.0, to_mm=30.0)
    assert code == "stretch-too-short" and "100 mm" in text
    check_options(options_with(from_mm=0.0, to_mm=100.0))


@pytest.mark.parametrize(("stated", "refused"), [("290@0,310@1", True), ("290@0,310@250", False)])
def test_taper_of_no_log(stated, refused):
    if not refused:
        return check_options(options_with(upper_diameter=parse_diameter(stated)))
    code, text = refusal(upper_diameter=parse_diameter(stated))
    assert code == "bad-diameter" and "290 mm at 0 mm and 310 mm at 1 mm" in text


@pytest.mark.parametrize("bar", [0.0, -100.0, 79.9, 120.1, 10.0, 3.94])
def test_check_bar_that_is_none(bar):
    code, text = refusal(printed_bar_mm=bar)
    assert code == "bad-printed-bar"
    assert "100" in text


@pytest.mark.parametrize("thickness", [-1.0, 0.0, 13.0, 5000.0])
def test_wall_of_impossible_thickness(thickness):
    assert refusal(wall_thickness_mm=thickness)[0] == "bad-thickness"


def test_what_is_stated_of_the_photographs_stands_beside_them():
    """How the library is called without any group."""
    asked = MeasureOptions((Path("a.jpg"),), card_on="free", upper_diameter=parse_diameter("300"))
    check_options(asked)
    assert asked.photos == (Path("a.jpg"),) and not asked.states_stations
    assert MeasureOptions((), by_hand=HandMeasured((Reading(40.0, 10.0, 0.5),))).states_stations


STATED = {  # an option of each range of the table
    "bad-diameter": lambda mm: {"lower_diameter": Diameter(((None, mm),)), "cover_mm": 10.0},
    "bad-station": lambda mm: {"from_mm": mm},
    "bad-printed-bar": lambda mm: {"printed_bar_mm": mm},
    "bad-thickness": lambda mm: {"wall_thickness_mm": mm},
    "bad-reading": lambda mm: {"readings": (Reading(mm, None, 0.5),)},
    "bad-trial": lambda mm: {"trials": (Trial(mm, 70.0, None, 0.4, 1.0),)},
    "bad-limit": lambda mm: {"limits": (Rule("cover", mm, False, "stated", "your own"),)},
    "bad-lower-to": lambda mm: {"lower_to_mm": mm},
    "bad-underscribe": lambda mm: {"underscribe_mm": mm},
}


@pytest.mark.parametrize("code", STATED)
def test_each_range_to_its_ends_and_no_further(code):
    (of,) = (r for r in RANGES if r.code == code)
    for mm, beyond in ((of.low, -0.01), (of.high, 0.01)):
        if isfinite(mm):
            check_options(options_with(**STATED[code](mm)))
            assert refusal(**STATED[code](mm + beyond))[0] == code


def test_the_table_has_no_range_untried():
    assert {r.code for r in RANGES} == set(STATED)


def test_a_trial_line_no_wider_than_the_log_carries():
    given = {
        "upper_diameter": parse_diameter("200"),
        "trials": (Trial(49.0, 190.0, None, 0.4, 1.0),),
    }
    code, text = refusal(**given)
    assert code == "bad-trial" and "width of 190 mm was stated; at most 180 mm" in text


def test_numbers_that_look_like_another_unit_are_told_so():
    assert "at most 400 mm" in refusal(readings=(Reading(41.5 * INCH_MM, None, 0.5),))[1]
    assert "write 41.5mm" in refusal(readings=(Reading(41.5 * INCH_MM, None, 0.5),))[1]
    assert "write cover=3in" in refusal(limits=(Rule("cover", 3.0, False, "stated", "own"),))[1]
