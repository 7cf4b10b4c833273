"""`gapvision check`: verdicts, causes, bias, files that are none, and the command itself."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from helpers.circles import told as told_by_hand
from helpers.joints import joint as measured
from typer.testing import CliRunner

from gapvision.advice.caution import told
from gapvision.answer.as_json import answer_json, refusal_json
from gapvision.answer.check import check_readings, load_answer
from gapvision.answer.check_text import check_json, check_text
from gapvision.cli.main import app
from gapvision.errors import MeasurementError
from gapvision.lengths import parse_reading
from gapvision.phrases import WIDTH
from gapvision.quantity import Quantity

AT = 310.0  # where `measured` has its widest gap: 38 mm, u 0.8


def kept(m=None):
    """What a program reads of a measurement, through the JSON's text."""
    return json.loads(json.dumps(answer_json(m or measured(cautions=()))))


def checked(*typed, m=None, units="mm"):
    readings = tuple(parse_reading(t, units) for t in typed)
    return check_readings(kept(m), "joint.json", readings, units)


def cautioned(*codes, a=None, b=None):
    return measured(cautions=tuple(told(code, "Something.", a, b) for code in codes))


def test_against_the_worked_example():
    """Read 42.0 (U 1.5) where photographs have 41.0 (U 0.5): E_n 0.632."""
    m = measured(widest_gap=Quantity(41.0, 0.25, 0.5))
    (c,) = checked("42.0@widest~0.75", m=m).readings
    assert round(c.e_number, 3) == 0.632 and c.agrees
    assert (c.read.U95_mm, c.photographs.U95_mm) == (1.5, 0.5)  # k = 2
    assert c.place == m.widest_place


@pytest.mark.parametrize(("read", "agrees"), [(39.8, True), (39.9, False), (36.1, False)])
def test_a_reading_agrees_within_both(read, agrees):
    """u 0.5 and 0.8: up to 2 sqrt(0.89) = 1.887 mm off."""
    check = checked(f"{read}@{AT:.0f}")
    assert check.agrees == agrees
    assert check.readings[0].difference_mm == pytest.approx(read - 38.0, abs=1e-3)


def test_between_two_stations():
    """The profile has a station every 10 mm."""
    p = measured().profile
    (c,) = checked("33@454").readings
    assert c.photographs.value_mm == pytest.approx(np.interp(454, p.station_mm, p.gap_mm), abs=1e-3)


@pytest.mark.parametrize(
    ("read", "caution", "likelier", "why"),
    [
        (44.0, None, "reading", "askew or off the crown"),
        (32.0, None, "photographs", "hardly reads less"),
        (44.0, "bridged", "photographs", "bridged there, not seen"),
        (44.0, "hollow", "photographs", "a hollow may lie there"),
        (32.0, "gap-shut", "photographs", "only the level photograph"),
        (44.0, "misfit", "photographs", "miss the fitted logs"),
        (44.0, "log-moved", "photographs", "contradict each other"),
        (44.0, "one-height", "either", "one height only; but a caliper"),
        (32.0, "one-height", "photographs", "one height only; a caliper hardly"),
        (1.5, None, "reading", "inches entered as mm"),
    ],
)
def test_which_is_likelier_wrong(read, caution, likelier, why):
    m = cautioned(*[caution] * bool(caution), a=AT - 50, b=AT + 50)
    (c,) = checked(f"{read}@{AT:.0f}", m=m).readings
    assert c.likelier == likelier
    assert why in c.why


def test_a_caution_elsewhere_is_no_excuse():
    m = cautioned("bridged", a=AT + 20, b=AT + 80)
    assert checked("44@310", m=m).readings[0].likelier == "reading"


def test_mm_entered_as_inches():
    m = measured(widest_gap=Quantity(10.0, 0.8, 1.6), cautions=())
    (c,) = checked("10in@widest", m=m, units="in").readings
    assert c.likelier == "reading" and c.why == "it looks like mm entered as inches"


def test_one_of_three_stands_apart():
    check = checked("38.2@310", "30.4@-400", "27@700")
    assert [c.agrees for c in check.readings] == [True, True, False]
    assert "the other readings agree" in check.readings[2].why
    assert not check.bias.consistent
    text = " ".join(check_text(check).split())
    assert text.startswith("DISAGREES at 1 of 3 places: measure again at card 2.")
    assert "scatter more than they should" in text


def test_all_too_wide_alike_have_one_cause():
    check = checked("40.5@310", "32.5@-400", "32.6@850")
    assert check.bias.significant and check.bias.consistent
    assert check.bias.value_mm == pytest.approx(2.5, abs=0.15)
    # (0.5^2 / 3 + 0.8^2)^0.5: the photographs' part is not divided.
    assert check.bias.u_mm == pytest.approx((0.25 / 3 + 0.64) ** 0.5, abs=1e-3)
    text = " ".join(check_text(check).split())
    assert "DISAGREES at all 3 places" in text
    assert "wider than the photographs: more than both leave open" in text
    assert "as above" in text


def test_readings_that_are_in_the_fit_are_no_independent_check():
    m = told_by_hand("40:78@0", readings=("30.4@0",))
    check = checked("38.2@310", m=m)
    assert check.entered == 2 and not check_json(check)["independent"]
    assert "Not an independent check: 2 caliper readings and trial" in " ".join(
        check_text(check).split()
    )
    left_out = told_by_hand("40:39@0")
    assert checked("38.2@310", m=left_out).entered == 0


def test_a_rough_reading_proves_nothing():
    assert "does not prove" in check_text(checked("38@310~0.5"))
    assert "does not prove" not in check_text(checked("38@310~0.2"))
    assert "doubtful" in check_text(checked("38@310", m=measured(status="doubtful")))


@pytest.mark.parametrize("units", ["mm", "in"])
def test_lines_fit_a_terminal(units):
    check = checked("44mm@310mm", "30mm@-400mm", "1.5mm@850mm", units=units)
    assert max(map(len, check_text(check, units).splitlines())) <= WIDTH
    assert "\x1b" not in check_text(check, units)
    colour = check_text(check, units, color=True).splitlines()
    assert colour[0].startswith("\x1b[")


def test_json_is_strict_and_whole():
    answer = check_json(checked("44@310", "30.4@-400"))
    json.dumps(answer, allow_nan=False)
    assert (answer["format"], answer["version"]) == ("gapvision-check", 1)
    assert answer["status"] == "disagrees" and answer["independent"]
    off, on = answer["readings"]
    assert off["difference_mm"] == pytest.approx(6.0, abs=1e-3)
    assert off["E_n"] == pytest.approx(6.0 / 2 / np.hypot(0.5, 0.8), abs=1e-3)
    assert (off["agrees"], off["likelier_wrong"]) == (False, "reading")
    assert (on["agrees"], on["likelier_wrong"], on["why"]) == (True, None, None)
    assert set(answer["bias"]) == {
        "value_mm", "u_mm", "significant", "chi_square", "chance", "consistent"
    }  # fmt: skip
    assert check_json(checked("38@310"))["bias"] is None


@pytest.mark.parametrize(
    ("typed", "code", "says"),
    [
        ("38@1200", "reading-outside", "1200 mm lies outside .* -900 mm to 900 mm"),
        ("38@0", "reading-not-seen", "give the reading to gapvision measure"),
        ("1038@310", "bad-reading", "that many mm. write 40.9mm"),
    ],
)
def test_a_reading_with_nothing_to_compare(typed, code, says):
    with pytest.raises(MeasurementError, match=says) as caught:
        checked(typed, m=measured((-100.0, 100.0)))
    assert caught.value.code == code


def test_a_refusal_holds_nothing(tmp_path):
    file = tmp_path / "refused.json"
    file.write_text(json.dumps(refusal_json(MeasurementError("no-card", "No card was seen."))))
    with pytest.raises(MeasurementError, match="holds a refusal and no gap .No card was seen") as e:
        load_answer(file)
    assert e.value.code == "was-refused"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (None, "no-file"),
        (b"", "not-a-measurement"),
        (b"\xff\xd8\xff\xe0 a photograph", "not-a-measurement"),
        (b"[" * 100_000, "not-a-measurement"),
        (b"[]", "not-a-measurement"),
        (b'{"format": "gapvision-plan", "version": 1}', "not-a-measurement"),
        (b'{"format": "gapvision-measurement", "version": 1}', "not-a-measurement"),
        (b'{"format": "gapvision-measurement", "version": 2}', "newer-version"),
    ],
)
def test_other_files_get_one_sentence(tmp_path, content, code):
    file = tmp_path / "joint.json"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(MeasurementError) as caught:
        load_answer(file)
    assert caught.value.code == code
    assert caught.value.text.endswith(".") and "\n" not in caught.value.text


# --- the command ----------------------------------------------------------------------------------


@pytest.fixture
def run(plain_terminal, tmp_path):
    (tmp_path / "joint.json").write_text(json.dumps(kept()))
    return lambda *args: CliRunner().invoke(app, ["check", "joint.json", *args])


def test_agreement_and_disagreement_both_leave_0(run):
    good, bad = run("--reading", "38.4@310"), run("--reading", "44@310")
    assert good.exit_code == bad.exit_code == 0
    assert good.output.startswith("AGREES")
    assert bad.output.startswith("DISAGREES: measure again 310 mm right of card 1.")


def test_resolution_enters_where_no_uncertainty_is_stated(run):
    """1/16 in: 0.458 mm, beside the hand's 0.5."""
    plain, coarse, stated = (
        json.loads(run("--units", "mm", "--reading", *args, "--json", "-").stdout)["readings"][0][
            "u_mm"
        ]
        for args in (
            ("38@310",),
            ("38@310", "--resolution", "1/16"),
            ("38@310~0.2", "--resolution", "1/16"),
        )
    )
    assert (plain, stated) == (0.5, 0.2)
    assert coarse == pytest.approx(np.hypot(0.5, 0.458), abs=5e-4)


def test_wrong_usage(run):
    assert run().exit_code == 2
    assert run("--reading", "38").exit_code == 2
    assert run("--reading", "38@310", "--resolution", "0").exit_code == 2
    itself = run("--reading", "38@310", "--json", "joint.json", "--overwrite")
    assert itself.exit_code == 2 and "is the measurement" in itself.output


def test_nothing_is_overwritten_and_refusals_are_written(run, tmp_path):
    assert run("--reading", "38@310", "--json", "check.json").exit_code == 0
    assert json.loads((tmp_path / "check.json").read_text())["status"] == "agrees"
    assert run("--reading", "38@310", "--json", "check.json").exit_code == 1
    refused = run("--reading", "38@3100", "--json", "check.json", "--overwrite")
    assert refused.exit_code == 1 and refused.output.startswith("Refused: The reading @")
    answer = json.loads((tmp_path / "check.json").read_text())
    assert answer["status"] == "refused" and answer["reason"]["code"] == "reading-outside"


def test_files_of_before_by_hand_entries_are_read():
    old = kept()
    for key in ("readings", "trials", "photographs_alone"):
        del old[key]
    check = check_readings(old, "old.json", (parse_reading("38@310"),))
    assert check.agrees and check.entered == 0


def test_narrow_gaps_are_weak():
    m = measured(cautions=())
    low = replace(m.profile, gap_mm=m.profile.gap_mm - 35.0)
    (c,) = checked("6.5@310", m=replace(m, profile=low)).readings
    assert c.likelier == "either" and "few pixels" in c.why
