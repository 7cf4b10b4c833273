"""Readings by hand beside photographs: errors by hand calculation, verdicts, and what is told."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.joints import joint

from gapvision.answer.field_test import (
    FieldRefusal,
    chance_over_1,
    score_field_test,
)
from gapvision.answer.field_test_text import field_test_json, field_test_text, field_tests_text
from gapvision.errors import MeasurementError
from gapvision.inputs.field_test import FieldTest
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.gap import Profile
from gapvision.lengths import Reading, Trial
from gapvision.phrases import WIDTH
from gapvision.quantity import Quantity

STATION = np.arange(-900.0, 901.0, 10.0)


def flat(gap=30.0, u=0.6, rise=9.0, hidden=None):
    """A measurement whose gap is the same everywhere, known to u; 39 mm are needed for 75."""
    gaps = np.full(len(STATION), gap)
    if hidden:
        gaps[(hidden[0] < STATION) & (hidden[1] > STATION)] = np.nan
    us = np.full(len(STATION), u)
    profile = Profile(STATION, gaps, us, 2.5 * gaps, 2.5 * us, gaps + rise, us)
    return joint(profile=profile, widest_gap=Quantity(gap, u, 2 * u), cautions=())


def field_test(readings=(), widest=None, trials=(), u_station=0.0, name="barn-3"):
    entries = tuple(Reading(gap, at, u) for at, gap, u in readings)
    options = MeasureOptions(photos=(Path(name),), cover_mm=75.0)
    return FieldTest(Path(name), options, entries, widest, tuple(trials), u_station, {"who": "me"})


def scored(*readings, m=None, **more):
    return score_field_test(field_test(readings, **more), m or flat())


def trial(setting, width, at=0.0, u_setting=0.5, u_width=1.5):
    return Trial(setting, width, at, u_setting, u_width)


def test_errors_by_hand():
    """Photographs 30; read 29, 31 and 33 with u 0.8 and 0.6 together 1, so that U is 2."""
    e = scored((-100, 29.0, 0.8), (0, 31.0, 0.8), (100, 33.0, 0.8)).errors
    assert (e.n, e.agree) == (3, 2)
    assert e.bias_mm == pytest.approx((1 - 1 - 3) / 3)
    assert e.rms_mm == pytest.approx(math.sqrt((1 + 1 + 9) / 3)) == pytest.approx(e.rms_over_u)
    assert e.expected_mm == pytest.approx(1.0)
    assert (e.largest_mm, e.at_mm) == (pytest.approx(-3.0), 100.0)


def test_e_n_by_hand():
    score = scored((100, 33.0, 0.8), widest=Reading(30.9, 50.0, 0.8))
    assert score.e_numbers == pytest.approx([1.5, 0.45])
    assert score.widest.place.station_mm != 50.0  # the photographs' own widest place


def test_a_station_s_uncertainty_counts_where_the_gap_changes():
    """38 to 30 mm as exp(-(x / 200)^2): its slope at 200 mm is 8 * 2 / 200 / e."""
    m = joint(cautions=())
    (steep,) = scored((510.0, 33.0, 0.3), m=m, u_station=5.0).readings
    slope = 8 * 2 / 200 / math.e
    assert steep.read.u_mm == pytest.approx(math.hypot(0.3, 5 * slope), rel=0.01)
    (top,) = scored((310.0, 38.0, 0.3), m=m, u_station=5.0).readings
    assert top.read.u_mm == pytest.approx(0.3, rel=0.01)


def test_a_trial_line_asks_for_the_setting_at_its_width():
    """Of the cover's own width: 39. Of 60, W ~ sqrt(s - g): 30 + 9 (60 / 75)^2 = 35.76."""
    same, narrow = scored(trials=[trial(40.0, 75.0), trial(35.0, 60.0, at=100.0)]).trials
    assert same.photographs.value_mm == pytest.approx(39.0)
    assert same.error_mm == pytest.approx(-1.0)
    assert narrow.photographs.value_mm == pytest.approx(35.76)
    # A millimetre of setting buys 75^2 / (2 * 9 * 75) mm of width: 1.5 mm of width are 0.36 of setting.
    assert same.set_to.u_mm == pytest.approx(math.hypot(0.5, 1.5 * 2 * 9 / 75))


def test_round_logs_agree_with_the_rule_for_other_widths():
    """Against the closed form of two circles: s - g = 2 (R - sqrt(R^2 - w^2 / 4)), R 160."""

    def rise(w):
        return 2 * (160 - math.sqrt(160**2 - w**2 / 4))

    (t,) = scored(trials=[trial(36.0, 60.0)], m=flat(rise=rise(75))).trials
    assert t.photographs.value_mm == pytest.approx(30 + rise(60), abs=0.1)


@pytest.mark.parametrize("n", [1, 5, 12, 20, 40])
def test_chance_is_the_binomial_s_quantile(n):
    k, p = chance_over_1(n), 0.0455

    def at_most(k):
        return sum(math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k + 1))

    assert at_most(k) >= 0.95 and (k == 0 or at_most(k - 1) < 0.95)


def test_one_far_off_does_not_hold_and_one_by_chance_does():
    right = [(100.0 * k, 30.0, 0.8) for k in range(-5, 6)]
    assert scored(*right).held
    assert scored(*right, (600.0, 32.5, 0.8)).held  # E_n 1.25: one of 12
    assert not scored(*right, (600.0, 33.5, 0.8)).held  # 1.75
    off = [(100.0 * k, 32.5, 0.8) for k in range(6, 9)]
    assert not scored(*right, *off).held  # three of 14


def test_right_answers_hold_about_as_often_as_they_should():
    """Errors of readings and photographs drawn as stated, 12 at a time: the rule refuses few.

    P(some |z| > 3 of 12) = 3.2 %, P(more than two |z| > 2 of 12) = 1.5 %: 4 to 5 % together.
    """
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(400):
        off = rng.normal(0, 1.0, 12)  # 0.8 and 0.6 together
        held += scored(*[(100.0 * k - 600, 30 + o, 0.8) for k, o in enumerate(off)]).held
    assert 0.92 < held / 400 < 0.985  # 95.5 % less and plus 3 sd of a binomial of 400


def test_what_no_photograph_shows_is_named_and_not_counted():
    m = flat(hidden=(-50, 150))
    score = scored((0.0, 30.0, 0.8), (400.0, 30.0, 0.8), (2000.0, 30.0, 0.8), m=m)
    assert score.not_compared == (0.0, 2000.0) and score.errors.n == 1
    assert "Not compared" in field_test_text(score) and "2000 mm" in field_test_text(score)
    with pytest.raises(MeasurementError, match="nothing that was read lies where") as caught:
        scored((0.0, 30.0, 0.8), m=m)
    assert caught.value.code == "nothing-compared"


# --- what is told ---------------------------------------------------------------------------------


def many(n=20):
    return [(90.0 * k - 850, 30.0 + 0.1 * (k % 5), 0.8) for k in range(n)]


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("n", [1, 9, 20])
def test_one_joint_is_one_screen(units, n):
    score = scored(*many(n), widest=Reading(30.9, 50.0, 0.8), trials=[trial(40.0, 75.0)])
    lines = field_test_text(score, units).splitlines()
    assert lines[0].startswith(f"HELD: {n + 2} of {n + 2} by hand agree")
    assert max(map(len, lines)) <= WIDTH and len(lines) <= 40
    assert "Likelier" not in field_test_text(score)


def test_a_wrong_reading_is_told_first_and_which_is_likelier_wrong():
    text = field_test_text(scored(*many(9), (880.0, 36.0, 0.8)))
    assert text.startswith("NOT HELD: 9 of 10 by hand agree with the photographs, the worst at")
    assert "At 880 mm: likelier wrong is the reading; the other readings" in text
    (row,) = [line for line in text.splitlines() if line.endswith("<")]
    assert " ".join(row.split()) == "880 mm 36.0 ± 1.6 mm 30.0 ± 1.2 mm -6.0 3.00 <"


def test_of_many_readings_only_those_that_disagree_are_listed():
    rows = field_test_text(scored(*many(20), (880.0, 36.0, 0.8))).splitlines()
    assert sum(" ± " in row and row.lstrip()[0].isdigit() for row in rows) == 1


def test_several_joints_a_line_each_and_totals():
    good = scored(*many(9), widest=Reading(30.9, 50.0, 0.8), name="a")
    wrong = scored(*many(9), (880.0, 36.0, 0.8), trials=[trial(40.0, 75.0)], name="b")
    lost = FieldRefusal("c", MeasurementError("no-card", "No card was found."))
    text = field_tests_text([good, wrong, lost])
    lines = text.splitlines()
    assert lines[0] == "1 of 2 joints held."
    assert lines[2].startswith("a  HELD      measured, 10 of 10 agree, gap off by some 0.2")
    assert lines[3].startswith("b  NOT HELD  measured, 10 of 11 agree")
    assert "c  not scored: No card was found." in lines
    assert "Gap along the logs 18 of 19 agree" in text and "Settings           1 of 1" in text
    assert max(map(len, lines)) <= WIDTH


def test_json_of_several():
    good = scored(*many(9), widest=Reading(30.9, 50.0, 0.8), name="a")
    wrong = scored((880.0, 36.0, 0.8), trials=[trial(40.0, 75.0)], name="b")
    lost = FieldRefusal("c", MeasurementError("no-card", "No card was found."))
    told = json.loads(json.dumps(field_test_json([good, wrong, lost]), allow_nan=False))
    assert (told["format"], told["version"]) == ("gapvision-field-test-score", 1)
    assert told["status"] == "not-held"
    assert [j["status"] for j in told["joints"]] == ["held", "not-held", "refused"]
    a, b, c = told["joints"]
    assert c == {
        "folder": "c", "status": "refused",
        "reason": {"code": "no-card", "text": "No card was found."},
    }  # fmt: skip
    assert a["told"] == {"who": "me"} and a["trials"] == [] and b["widest_gap"] is None
    assert a["widest_gap"]["read_at_mm"] == 50.0 and a["widest_gap"]["error_mm"] == -0.9
    assert b["readings"][0]["E_n"] == 3.0 and b["readings"][0]["agrees"] is False
    assert b["trials"][0]["error_mm"] == -1.0
    totals = told["totals"]
    assert (totals["joints"], totals["scored"], totals["held"]) == (3, 2, 1)
    assert totals["gap"]["n"] == 10 and totals["widest_gap"]["n"] == totals["setting"]["n"] == 1
    assert field_test_json([good])["status"] == "held"
    assert field_test_json([lost])["status"] == "refused"


def test_a_doubtful_answer_is_said_to_be_so():
    score = scored(*many(9), m=replace(flat(), status="doubtful"))
    assert "barn-3: doubtful from 1 photograph of 1" in field_test_text(score)
