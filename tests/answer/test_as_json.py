"""From the JSON back to what the answer says of it, and the refusal of what is no measurement."""

import copy

import pytest
from helpers.joints import joint, whole_log

from gapvision.answer.as_json import answer_json, check_answer, measurement_of, refusal_json
from gapvision.answer.evidence_text import evidence_text
from gapvision.answer.text import answer_text
from gapvision.answer.verdict_text import crayon_line
from gapvision.errors import CardNotFound, MeasurementError

DOUBTFUL = joint((-100.0, 100.0), status="doubtful")


@pytest.mark.parametrize("m", [joint(), DOUBTFUL, whole_log()], ids=["joint", "doubtful", "log"])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_same_is_said_of_it_as_of_the_measurement(m, units):
    back = measurement_of(answer_json(m))
    assert crayon_line(back, units) == crayon_line(m, units)
    # U95 of the groove is not in the JSON: 1.96 u instead of the draws' 95 %.
    assert answer_text(back, units) == answer_text(m, units)
    told, again = (evidence_text(x, units).splitlines() for x in (m, back))
    assert [a for a in again if not a.startswith("Narrowest")] == [
        t for t in told if not t.startswith("Narrowest")
    ]


def test_writing_it_again_gives_the_same():
    first = answer_json(DOUBTFUL)
    assert answer_json(measurement_of(first))["profile"] == first["profile"]


def test_a_refusal_passes():
    refused = refusal_json(CardNotFound("no-card", "No card was found."))
    assert check_answer(refused, "joint.json") is refused


def damaged():
    good = answer_json(joint())

    def change(do):
        bad = copy.deepcopy(good)
        do(bad)
        return bad

    yield "no measurement", []
    yield "no measurement", {"format": "gapvision-plan"}
    yield "version 2", {**good, "version": 2}
    for key in ("setting", "widest_gap", "profile", "photos", "cautions", "status"):
        yield "damaged", change(lambda d, key=key: d.pop(key))
    yield "damaged", change(lambda d: d["profile"]["gap_mm"].pop())
    yield "damaged", change(lambda d: d["profile"].update({k: [] for k in d["profile"]}))
    yield (
        "damaged",
        change(lambda d: d["profile"].update(gap_mm=[None] * len(d["profile"]["gap_mm"]))),
    )
    yield "damaged", change(lambda d: d["setting"].update(value_mm="much"))
    yield "damaged", change(lambda d: d.update(status="splendid"))
    yield "damaged", change(lambda d: d.update(photos=[3]))
    yield "damaged", change(lambda d: d.update(photographs_alone={}))
    yield "near_card: no number", change(lambda d: d["widest_gap"].update(near_card={"a": 1}))
    yield "u_mm is below zero", change(lambda d: d["setting"].update(u_mm=-1.0))
    yield "never set below the estimate", change(lambda d: d["setting"].update(set_to_mm=46.0))
    yield "not above zero", change(lambda d: d["setting"].update(cover_mm=0.0))
    along = {"station_mm": [0.0, 10.0], "gap_lowered_mm": [20.0]}
    yield "damaged", change(lambda d: d.update(decision={"along": along}))
    yield "damaged", change(lambda d: d.update(decision={"lowering": {"why": None}}))
    yield "damaged", change(lambda d: d.update(readings=[{"value_mm": "much"}]))


@pytest.mark.parametrize(("said", "answer"), list(damaged()))
def test_what_is_no_measurement_is_refused_in_one_sentence(said, answer):
    with pytest.raises(MeasurementError, match=said) as refusal:
        check_answer(answer, "joint.json")
    assert refusal.value.text.startswith("joint.json ")
