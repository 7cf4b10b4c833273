"""A day as it is told: a line a joint, and what to do again."""

from dataclasses import replace
from types import SimpleNamespace

from helpers.days import WHEN
from helpers.measured import answer

from gapvision.advice.caution import told
from gapvision.advice.to_do import Step
from gapvision.answer.as_json import answer_json, refusal_json, stamped
from gapvision.day.run import Outcome
from gapvision.day.text import LONGEST_LABEL, answered, day_text, row_of
from gapvision.errors import MeasurementError

REFUSED = stamped(refusal_json(MeasurementError("no-card", "level.jpg shows no card.")), WHEN)


def outcome(status="measured", **more):
    return Outcome(stamped(answer_json(answer(status)), WHEN), **more)


def rows(units="mm"):
    return [
        row_of("Log 3, north wall, Barn", outcome(), units),
        row_of("Log 4, north wall, Barn", outcome("doubtful"), units),
        row_of("Log 5, north wall, Barn", Outcome(REFUSED, new=False), units),
        row_of("Log 6, north wall, Barn", Outcome(None, lacked="joint.toml is wrong."), units),
        row_of("Log 7, north wall, Barn", outcome(lacked="The disk is full."), units),
    ]


def test_a_line_a_joint_and_below_it_what_to_do_again():
    lines = day_text(rows()).splitlines()
    assert lines[0] == "Log 3, north wall, Barn  SET 48 mm"
    assert lines[1].startswith("Log 4, north wall, Barn  MEASURE AGAIN")
    assert lines[2:4] == [
        "Log 5, north wall, Barn  NOT MEASURED", "Log 6, north wall, Barn  NOT MEASURED",
    ]  # fmt: skip
    assert lines[4] == "Log 7, north wall, Barn  SET 48 mm. NOT KEPT"
    text = "\n".join(lines)
    assert (
        "- Log 4, north wall, Barn\n" in text.split("Measure again:")[1].split("Not measured:")[0]
    )
    assert "- Log 5, north wall, Barn: level.jpg shows no card." in text
    assert "- Log 6, north wall, Barn: joint.toml is wrong." in text
    assert "Not kept:\n- Log 7, north wall, Barn: The disk is full." in text
    assert lines[-2:] == [
        "5 joints: 1 set, 1 to measure again, 2 not measured, 1 not kept. 1 of them", "measured before.",
    ]  # fmt: skip


def told_of(m):
    """The page of one answer, as it stands in its JSON."""
    return day_text([row_of("Log 8", Outcome(stamped(answer_json(m), WHEN)), "mm")])


def test_a_bound_is_told_as_one_with_the_photograph_to_take():
    unseen = told("not-seen", "Not seen.", -200.0, 50.0, doubtful=True)
    step = Step("photograph", {"text": "Photograph level, standing at card 2."})
    text = told_of(replace(answer("doubtful"), cautions=(unseen,), to_do=(step,)))
    assert text.splitlines() == [
        "Log 8  AT LEAST 48 mm: 250 mm not seen",
        "",
        "Not all of it seen:",
        "- Log 8: Photograph level, standing at card 2.",
        "",
        "1 joint: 1 seen in part.",
    ]


def test_what_contradicts_is_named_and_no_setting_is():
    doubt = told("misfit", "Outlines miss the logs.", doubtful=True)
    text = told_of(replace(answer("doubtful"), cautions=(doubt,)))
    assert text.startswith("Log 8  MEASURE AGAIN: Photographs and fitted logs disagree\n")
    assert "48 mm" not in text and "1 to measure again" in text


def test_a_log_to_be_lowered_first_has_no_setting():
    notches = SimpleNamespace(stated=True, left_mm=0.0, right_mm=11.0)
    decision = SimpleNamespace(lowering=SimpleNamespace(ready=False, notches=notches), judged=())
    step = Step("lower", {"text": "Deepen the right notch by 11 mm."})
    row = answered("Log 8", replace(answer(), decision=decision, to_do=(step,)), "mm", True)
    assert row.verdict == "LOWER FIRST: right notch 11 mm, then measure again"
    text = day_text([row])
    assert "Lower first, then measure again:\n- Log 8: Deepen the right notch by 11 mm." in text
    assert "1 to lower first" in text and "48 mm" not in text


def test_a_setting_that_is_not_ready_does_not_read_as_one_that_is():
    step = Step("prepare", {"text": "State the notches by --from and --to."})
    lines = told_of(replace(answer(), to_do=(step,))).splitlines()
    assert lines[:3] == ["Log 8  SET 48 mm, not ready", "", "Set, but not ready to scribe:"]
    assert lines[3].startswith("- Log 8: ") and "--from" in " ".join(lines)
    assert "What you tape goes into the joint.toml of the joint's folder." in lines
    assert lines[-1] == "1 joint: 1 set."


def test_a_good_day_has_nothing_below_its_lines():
    assert day_text(rows()[:1]) == "Log 3, north wall, Barn  SET 48 mm\n\n1 joint: 1 set."


def test_inches_are_told_in_inches():
    assert "SET 1 15/16 in" in day_text(rows("in")) and "48 mm" not in day_text(rows("in"))


def test_no_line_is_wider_than_a_terminal():
    long = "A building with a long name/the wall towards the lake/log number 12 " * 3
    told = day_text([*rows(), row_of(long, outcome("doubtful"), "mm")])
    assert len(long) > LONGEST_LABEL and max(map(len, told.splitlines())) <= 80


def test_nothing_is_told_of_a_day_stopped_before_its_first_joint():
    assert day_text([]) == "0 joints."
