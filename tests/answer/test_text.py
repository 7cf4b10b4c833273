"""The answer: what a builder reads, in which order, and what a program gets."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from helpers.answers import LONG, NOT_SEEN, joint
from helpers.joints import photo, whole_log

from gapvision.advice.caution import told
from gapvision.advice.to_do import Step
from gapvision.answer.as_json import answer_json, refusal_json
from gapvision.answer.evidence_text import evidence_text
from gapvision.answer.text import answer_text
from gapvision.answer.verdict_text import crayon_line
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
    m = joint(
        status,
        cover_mm=113.1,
        set_to_mm=113.3,
        setting=Quantity(111.9, 9.9, 19.9),
        cautions=(MISFIT, replace(NOT_SEEN, from_mm=-5900.3, to_mm=5900.2)),
        widest_place=far,
        deciding_place=far,
        narrowest_place=far,
    )
    text = f"{answer_text(m, units)}\n{evidence_text(m, units)}"
    assert max(map(len, text.splitlines())) <= WIDTH == 80


def test_first_line_is_the_setting_alone():
    first, second, *_ = answer_text(joint()).splitlines()
    assert first == "SET 58 mm"
    assert second == "Decided 440 mm left of card 1, seen from outside: needs 56.4 ± 1.4 mm for a"
    assert "MEASURED" not in answer_text(joint()) and "set the points" not in answer_text(joint())


def test_default_cover_is_marked_as_common_practice():
    text = " ".join(answer_text(joint(cover_mm=76.0), "in").split())
    assert "for a cover of 3 in (common practice)." in text


@pytest.mark.parametrize(
    ("cautions", "first", "why"),
    [
        ((NOT_SEEN,), "AT LEAST 58 mm", "200 mm of the joint not seen: it may need more there."),
        ((NOT_SEEN, replace(NOT_SEEN, from_mm=300.0, to_mm=400.0)), "AT LEAST 58 mm",
         "300 mm of the joint not seen"),
        ((NOT_SEEN, MISFIT), "MEASURE AGAIN", "Photographs and fitted logs disagree."),
        ((MISFIT,), "MEASURE AGAIN", "Photographs and fitted logs disagree."),
        ((replace(MISFIT, code="log-moved", from_mm=100.0, to_mm=240.0),), "MEASURE AGAIN",
         "The photographs show different gaps from 100 to 240 mm right of card 1."),
        ((replace(MISFIT, code="line-steps", from_mm=100.0, to_mm=100.0),), "MEASURE AGAIN",
         "A traced line leaves its log 100 mm right of card 1."),
        ((replace(MISFIT, code="odd-size"),), "MEASURE AGAIN", "A log comes out as thick as hardly"),
        ((replace(MISFIT, code="of-tomorrow", doubtful=True),), "MEASURE AGAIN",
         "level.jpg: its outlines miss the fitted logs. There is no setting"),
        ((), "MEASURE AGAIN", "The answer is doubtful."),
    ],
)  # fmt: skip
def test_a_doubtful_answer_is_a_bound_only_where_nothing_contradicts(cautions, first, why):
    m = joint("doubtful", cautions=cautions)
    lines = answer_text(m).splitlines()
    assert lines[0] == first
    assert why in " ".join(lines[1:4])
    assert "lower bound" not in answer_text(m)
    if first == "MEASURE AGAIN":
        assert "58" not in answer_text(m) and "56.4" not in answer_text(m)
        assert crayon_line(m) == "CRAYON: MEASURE AGAIN | no setting yet"


@pytest.mark.parametrize("units", ["mm", "in"])
def test_order_of_the_lines(units):
    steps = tuple(Step(code, {"text": f"Do {code}."}) for code in ("prepare", "photograph", "read"))
    m = joint(to_do=steps)
    text = f"{answer_text(m, units)}\n{evidence_text(m, units)}"
    parts = ["SET ", "Decided", "95 times in 100", "CRAYON:", "1. Do prepare.", "2. Do photograph.",
             "3. Do read.", "No hand in the gap", "--details", "Widest gap", "Setting needed",
             "Narrowest groove", "- One height only", "- Bridged.", "Dog or chock",
             "setting sheet"]  # fmt: skip
    places = [text.index(part) for part in parts]
    assert places == sorted(places)


def test_half_widths_are_explained_once():
    m = joint()
    for text in (answer_text(m), f"{answer_text(m)}\n{evidence_text(m)}"):
        assert text.count("95 times") == 1
        assert "half-width" not in text and "+-" not in text


def test_numbers_with_half_widths_and_places():
    text = " ".join(evidence_text(joint()).split())
    assert "Widest gap 47.2 ± 1.1 mm, 310 mm right of card 2, seen from outside" in text
    assert "Setting needed 56.4 ± 1.4 mm, decided 440 mm left of card 1, seen from outside" in text
    assert "Narrowest groove 80.3 ± 2.4 mm when set to 58 mm, 440 mm left of card 1" in text


def test_inches_never_claim_more_than_is_known():
    text = " ".join(evidence_text(joint(widest_gap=Quantity(47.2, 0.05, 0.1)), "in").split())
    # 47.2 mm is 1.858 in; the half-width of 0.1 mm becomes one sixteenth, not nought. 310 mm is
    # 12.2 in, and nobody finds a place to a sixteenth.
    assert "Widest gap 1 7/8 ± 1/16 in, 12 in right of card 2" in text


@pytest.mark.parametrize(("units", "said"), [("mm", "80.3 mm"), ("in", "3 3/16 in")])
def test_a_half_width_that_is_not_known_is_said_so(units, said):
    nan = float("nan")
    text = evidence_text(joint(narrowest_groove=Quantity(80.3, nan, nan)), units)
    assert f"Narrowest groove  {said} ± unknown when set to" in text


def test_setting_in_inches_is_never_below_the_setting_in_mm():
    # 58 mm is 36.5 sixteenths: 2 5/16 in, not 2 1/4.
    assert answer_text(joint(), "in").startswith("SET 2 5/16 in\n")


def test_cover_between_two_sixteenths_keeps_its_mm():
    assert "cover of 2 15/16 in (75 mm)." in " ".join(answer_text(joint(), "in").split())
    assert "cover of 3 in." in " ".join(answer_text(joint(cover_mm=76.2), "in").split())


def test_cautions_are_bullets_behind_the_details_and_may_be_none():
    text = evidence_text(joint())
    assert " ".join(LONG.split()) in " ".join(text.split())
    assert "Cautions" not in evidence_text(joint(cautions=()))
    assert "One height only" not in answer_text(joint())


def test_safety_is_always_said():
    for said in ("Chock both ends", "No hand in the gap", "trial line", "codes"):
        assert said in " ".join(answer_text(joint(cautions=())).split())
    for said in (
        "plumb line",
        "after the last line",
        "Dog or chock both ends",
        "licensed practice",
    ):
        assert said in " ".join(evidence_text(joint(cautions=())).split())


def test_photographs_left_out_are_counted():
    assert "From 0 of 1 photographs." in " ".join(answer_text(joint("doubtful")).split())
    assert "photographs" not in answer_text(joint())


def test_where_all_else_is():
    assert answer_text(joint()).endswith("All else: --details.")
    assert "--details" not in answer_text(joint(), more="")


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
        (Place(1210.0, 2, 306.4), "mm", "310 mm right of card 2, seen from outside"),
        (Place(900.0, 2, 0.3), "mm", "at card 2"),
        (Place(1210.0, None, None), "mm", "1210 mm along the log"),
        (Place(0.0, 2, 312.7), "in", "12 1/2 in right of card 2, seen from outside"),
        (Place(0.0, 2, 304.8), "in", "12 in right of card 2, seen from outside"),
        (Place(0.0, 2, -0.5), "in", "at card 2"),
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
    lines = evidence_text(whole_log()).splitlines()
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
    assert "Chain             a.jpg - b.jpg - c.jpg, sharing cards 2, 5\n" in evidence_text(
        joint(photos=photos)
    )


def test_chains_of_two_sides():
    photos = (photo("in.jpg", cards=(7,), side="inside"), photo("a.jpg"), photo("b.jpg"))
    text = evidence_text(joint(photos=photos))
    assert "Chain, outside    a.jpg - b.jpg, sharing cards 1, 2\nChain, inside     in.jpg\n" in text


def test_cautions_say_which_way_left_and_right_are():
    at = told("not-seen", "Not seen from 30 mm left of card 1 to card 1.", -30.0, 0.0)
    text = evidence_text(joint(cautions=(at,)))
    assert "\nCautions (left and right as seen from outside):\n- Not seen" in text
    assert "station" not in text
    assert answer_json(joint())["station_origin"] == {"card": 1, "side": "outside"}


def test_one_photograph_is_no_chain():
    assert "Chain" not in evidence_text(joint())


QUANTITY = ["value_mm", "u_mm", "U95_mm"]
PLACE = ["station_mm", "near_card", "offset_mm"]


@pytest.mark.parametrize("status", ["measured", "doubtful"])
def test_json_keys_of_version_1(status):
    answer = answer_json(joint(status))
    assert list(answer) == [
        "format", "version", "units", "status", "verdict", "verdict_because", "first_line",
        "ready_to_scribe", "to_do", "widest_gap", "setting", "narrowest_groove", "profile",
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
    doubt = told("misfit", "Off.", doubtful=np.True_)
    m = joint(widest_place=place, set_to_mm=np.float64(58.7375), cautions=(doubt,))
    answer = answer_json(m)
    assert answer["cautions"][0]["doubtful"] is True
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
    text = evidence_text(measurement)
    one_line = " ".join(text.split())
    assert " ".join(said.split()) in one_line if said else "Lens" not in text
    assert answer_json(measurement)["photos"][0]["lens"] == source


def test_setting_of_a_scriber_with_half_millimetres():
    text = answer_text(joint(set_to_mm=57.5))
    assert text.startswith("SET 57.5 mm") and "CRAYON: set 57.5 |" in text
