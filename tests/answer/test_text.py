"""The answer: what a builder reads, in which order, and what a program gets."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from helpers.answers import LONG, NOT_SEEN, joint
from helpers.joints import photo, whole_log

from gapvision.advice.caution import told
from gapvision.answer.as_json import answer_json, refusal_json
from gapvision.answer.text import answer_text, crayon_line
from gapvision.errors import CardNotFound
from gapvision.joint.photo_results import Exposure, PhotoResult
from gapvision.phrases import WIDTH, place_text
from gapvision.quantity import Place, Quantity

MISFIT = told("misfit", "level.jpg: its outlines miss the fitted logs.")


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("status", ["measured", "doubtful"])
@pytest.mark.parametrize("card", [2, 40, None])
def test_no_line_is_wider_than_a_terminal(units, status, card):
    far = Place(-11987.3, card, -11987.3)
    text = answer_text(
        joint(
            status,
            cover_mm=113.1,
            set_to_mm=113.3,
            setting=Quantity(111.9, 9.9, 19.9),
            cautions=(MISFIT, replace(NOT_SEEN, from_mm=-5900.3, to_mm=5900.2)),
            widest_place=far,
            deciding_place=far,
            narrowest_place=far,
        ),
        units,
    )
    assert max(map(len, text.splitlines())) <= WIDTH == 80


def test_first_line_says_what_to_set_and_for_which_cover():
    first = answer_text(joint()).splitlines()[0]
    assert first == "MEASURED: set the points to 58 mm for a cover of 75 mm."


def test_default_cover_is_marked_as_common_practice():
    first = answer_text(joint(cover_mm=76.0), "in").splitlines()[0]
    assert first.endswith("for a cover of 3 in (common practice).")


@pytest.mark.parametrize(
    ("cautions", "why"),
    [
        ((NOT_SEEN,), "200 mm of the joint not seen"),
        ((NOT_SEEN, replace(NOT_SEEN, from_mm=300.0, to_mm=400.0)), "300 mm of the joint not seen"),
        ((NOT_SEEN, MISFIT), "200 mm not seen, and a misfit"),
        ((MISFIT,), "photographs and fitted logs disagree"),
        ((replace(MISFIT, code="log-moved"),), "photographs and fitted logs disagree"),
        ((), "see the cautions"),
    ],
)
def test_doubtful_says_first_that_it_is_a_lower_bound_and_why(cautions, why):
    lines = answer_text(joint("doubtful", cautions=cautions)).splitlines()
    assert lines[0] == f"DOUBTFUL: 58 mm is only a lower bound: {why}."
    assert lines[1] == "Set the points to at least 58 mm for a cover of 75 mm."


@pytest.mark.parametrize("units", ["mm", "in"])
def test_order_of_the_lines(units):
    text = answer_text(joint(), units)
    parts = ["MEASURED", "Widest gap", "Setting needed", "Narrowest groove", "95 times in 100"]
    parts += ["- One height only", "- Bridged.", "Dog or chock", "CRAYON:", "setting sheet"]
    places = [text.index(part) for part in parts]
    assert places == sorted(places)


def test_numbers_with_half_widths_and_places():
    text = " ".join(answer_text(joint()).split())
    assert "Widest gap 47.2 ± 1.1 mm, 310 mm right of card 2, seen from outside" in text
    assert "Setting needed 56.4 ± 1.4 mm, decided 440 mm left of card 1, seen from outside" in text
    assert "Narrowest groove 80.3 ± 2.4 mm when set to 58 mm, 440 mm left of card 1" in text


def test_inches_never_claim_more_than_is_known():
    text = " ".join(answer_text(joint(widest_gap=Quantity(47.2, 0.05, 0.1)), "in").split())
    # 47.2 mm is 1.858 in; the half-width of 0.1 mm becomes one sixteenth, not nought.
    assert "Widest gap 1 7/8 ± 1/16 in, 12 3/16 in right of card 2" in text


@pytest.mark.parametrize(("units", "said"), [("mm", "80.3 mm"), ("in", "3 3/16 in")])
def test_a_half_width_that_is_not_known_is_said_so(units, said):
    nan = float("nan")
    text = answer_text(joint(narrowest_groove=Quantity(80.3, nan, nan)), units)
    assert f"Narrowest groove  {said} ± unknown when set to" in text


def test_setting_in_inches_is_never_below_the_setting_in_mm():
    # 58 mm is 36.5 sixteenths: 2 5/16 in, not 2 1/4.
    assert "set the points to 2 5/16 in" in answer_text(joint(), "in")


def test_cover_between_two_sixteenths_keeps_its_mm():
    assert "for a cover of 2 15/16 in (75 mm)." in answer_text(joint(), "in")
    assert "for a cover of 3 in." in answer_text(joint(cover_mm=76.2), "in")


def test_cautions_are_bullets_and_may_be_none():
    text = answer_text(joint())
    assert " ".join(LONG.split()) in " ".join(text.split())
    assert "Cautions" not in answer_text(joint(cautions=()))


def test_safety_is_always_said():
    for said in ("plumb line", "after the last line", "No hand in the gap", "trial line", "codes"):
        assert said in " ".join(answer_text(joint(cautions=())).split())


def test_colour_only_marks_the_first_line():
    for status in ("measured", "doubtful"):
        plain, colour = answer_text(joint(status)), answer_text(joint(status), color=True)
        assert "\x1b" not in plain
        assert colour.splitlines()[0].startswith("\x1b[")
        assert re.sub("\x1b\\[[0-9;]*m", "", colour) == plain
        assert "\x1b" not in "".join(colour.splitlines()[1:])


@pytest.mark.parametrize(
    ("place", "units", "text"),
    [
        (Place(1210.0, 2, 310.4), "mm", "310 mm right of card 2, seen from outside"),
        (Place(1210.0, 2, -310.4), "mm", "310 mm left of card 2, seen from outside"),
        (Place(900.0, 2, 0.3), "mm", "at the nail of card 2"),
        (Place(1210.0, None, None), "mm", "at station 1210 mm"),
        (Place(0.0, 2, 304.8), "in", "12 in right of card 2, seen from outside"),
        (Place(0.0, 2, -0.5), "in", "at the nail of card 2"),
    ],
)
def test_places_as_a_person_finds_them(place, units, text):
    assert place_text(place, units) == text


def test_crayon_line():
    assert crayon_line(joint()) == "CRAYON: set 58 | cover 75 | widest 47 @ 310R of 2"
    inches = crayon_line(joint(cover_mm=76.2, widest_place=Place(0.0, 3, -304.8)), "in")
    assert inches == 'CRAYON: set 2 5/16" | cover 3" | widest 1 7/8" @ 12"L of 3'
    at_nail = crayon_line(joint(widest_place=Place(0.0, 2, 0.1)))
    assert at_nail.endswith("@ nail of 2")


def test_crayon_line_of_a_doubtful_joint_says_at_least():
    assert "set AT LEAST 58 |" in crayon_line(joint("doubtful"))


def test_chain_of_a_whole_log_takes_two_lines_from_end_to_end():
    lines = answer_text(whole_log()).splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("Chain"))
    assert (
        lines[first] == "Chain             level-1.jpg - level-2.jpg - above-1.jpg - below-1.jpg -"
    )
    assert lines[first + 1].endswith("level-8.jpg, sharing cards 1 to 7")
    assert " more - " in lines[first + 1]
    assert not lines[first + 2]


def test_chain_names_the_photographs_and_the_cards_that_tie_them():
    photos = (
        photo("c.jpg", 1500.0, 3000.0, cards=(5, 8)),
        photo("a.jpg", -900.0, 900.0, cards=(1, 2)),
        photo("b.jpg", 0.0, 1800.0, cards=(2, 3, 5)),
    )
    assert "Chain             a.jpg - b.jpg - c.jpg, sharing cards 2, 5\n" in answer_text(
        joint(photos=photos)
    )


def test_chains_of_two_sides():
    photos = (photo("in.jpg", cards=(7,), side="inside"), photo("a.jpg"), photo("b.jpg"))
    text = answer_text(joint(photos=photos))
    assert "Chain, outside    a.jpg - b.jpg, sharing cards 1, 2\nChain, inside     in.jpg\n" in text


def test_cautions_say_where_stations_count_from():
    at = told("not-seen", "Not seen from -30 mm to 50 mm.", -30.0, 50.0)
    text = answer_text(joint(cautions=(at,)))
    assert "\nCautions (stations count right from the nail of card 1):\n- Not seen" in text
    assert "\nCautions:\n- No" in answer_text(joint(cautions=(told("x", "No station."),)))
    assert answer_json(joint())["station_origin"] == {"card": 1, "side": "outside"}


def test_one_photograph_is_no_chain():
    assert "Chain" not in answer_text(joint())


QUANTITY = ["value_mm", "u_mm", "U95_mm"]
PLACE = ["station_mm", "near_card", "offset_mm"]


@pytest.mark.parametrize("status", ["measured", "doubtful"])
def test_json_keys_of_version_1(status):
    answer = answer_json(joint(status))
    assert list(answer) == [
        "format", "version", "status", "widest_gap", "setting", "narrowest_groove", "profile",
        "readings", "trials", "photographs_alone", "photos", "chains", "cards", "station_origin",
        "cautions", "decision",
    ]  # fmt: skip
    assert answer["format"] == "gapvision-measurement"
    assert answer["version"] == 1
    assert answer["status"] == status
    assert list(answer["widest_gap"]) == QUANTITY + PLACE
    assert list(answer["setting"]) == ["cover_mm", *QUANTITY, "set_to_mm", *PLACE]
    assert list(answer["narrowest_groove"]) == ["value_mm", "u_mm", *PLACE]
    assert {"station_mm", "gap_mm", "gap_u_mm", "groove_width_mm", "groove_width_u_mm"} <= set(
        answer["profile"]
    )
    assert len({len(values) for values in answer["profile"].values()}) == 1
    assert {"file", "sha256", "height_mm", "distance_mm"} <= set(answer["photos"][0])
    assert {"number", "side", "station_mm", "lean_deg", "photos"} == set(answer["cards"][0])
    for caution in answer["cautions"]:
        assert {"code", "text"} <= set(caution)


def strict(text):
    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.parametrize("status", ["measured", "doubtful"])
def test_json_is_strict_and_survives_a_round_trip(status):
    answer = answer_json(joint(status))
    assert strict(json.dumps(answer, allow_nan=False)) == answer


def test_json_has_null_where_nothing_was_seen():
    answer = answer_json(joint("doubtful"))
    unseen = [g is None for g in answer["profile"]["gap_mm"]]
    assert [u is None for u in answer["profile"]["setting_needed_u_mm"]] == unseen
    assert sum(unseen) == 20
    assert answer["photos"][0]["height_mm"] is None
    assert answer["photos"][0]["lacked"] == "Too dark."


def test_json_has_extents_and_chains():
    answer = answer_json(whole_log())
    shown = [(p["from_mm"], p["to_mm"]) for p in answer["photos"]]
    assert shown[1] == (-170.0, 1730.0)
    assert shown[-1] == (None, None)
    (chain,) = answer["chains"]
    assert chain["side"] == "outside"
    assert len(chain["photos"]) == 12 and "dark.jpg" not in chain["photos"]
    assert chain["shared_cards"] == [1, 2, 3, 4, 5, 6, 7]


def test_json_takes_numbers_of_numpy():
    place = Place(np.float64(3.0), np.int64(2), np.float32(1.5))
    answer = answer_json(joint(widest_place=place, set_to_mm=np.float64(58.7375)))
    assert strict(json.dumps(answer))["widest_gap"]["near_card"] == 2
    assert answer["setting"]["set_to_mm"] == 58.7375


def test_json_stays_in_mm_and_keeps_value_and_place_together():
    answer = answer_json(joint())
    assert answer["setting"] == {
        "cover_mm": 75.0, "value_mm": 56.4, "u_mm": 0.7, "U95_mm": 1.4, "set_to_mm": 58.0,
        "station_mm": -440.0, "near_card": 1, "offset_mm": -440.0,
    }  # fmt: skip


def test_refusal_has_a_reason_and_no_number():
    assert refusal_json(CardNotFound("no-card", "No card.")) == {
        "format": "gapvision-measurement",
        "version": 1,
        "status": "refused",
        "cautions": [],
        "reason": {"code": "no-card", "text": "No card."},
    }


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("calibration mine", "Lens              calibration mine"),
        ("file lens.toml", "Lens              file lens.toml"),
        ("exif: calibration mine is of another lens", "calibration mine is of another lens"),
        ("exif", None),
        ("assumed", None),
        ("", None),
    ],
)
def test_calibration_is_told_and_why_one_is_not_used(source, said):
    photo = PhotoResult("level.jpg", "0" * 64, "outside", True, exposure=Exposure(source))
    measurement = joint(photos=(photo,))
    text = answer_text(measurement)
    one_line = " ".join(text.split())
    assert " ".join(said.split()) in one_line if said else "Lens" not in text
    assert answer_json(measurement)["photos"][0]["lens"] == source


def test_setting_of_a_scriber_with_half_millimetres():
    text = answer_text(joint(set_to_mm=57.5))
    assert "set the points to 57.5 mm" in text and "CRAYON: set 57.5 |" in text
