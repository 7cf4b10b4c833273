"""A day gone through: only what is new, nothing lost, and what goes wrong stays with its joint."""

import json
import time
from functools import partial

import pytest
from helpers.days import grown, killed, make_day, process_of, standing_in

from gapvision.day.joints import joint_folders, joints_of
from gapvision.day.processes import STOPPED, in_processes
from gapvision.day.run import run_day
from gapvision.day.state import FILE, asked_of
from gapvision.errors import MeasurementError
from gapvision.inputs.joint_form import FORM
from gapvision.inputs.options import MeasureOptions
from gapvision.photo.lens.files import camera_folder


def joints(day, **more):
    return joints_of(day, joint_folders(day), MeasureOptions(photos=(), **more))


def went(day, work=standing_in, processes=1, **more):
    """Outcomes by the names of their folders."""
    found = joints(day, **more)
    outcomes = dict(run_day(found, None, processes, work=work))
    return {found[k].folder.name: outcome for k, outcome in sorted(outcomes.items())}


def new(day, **more):
    return [name for name, outcome in went(day, **more).items() if outcome.new]


def test_only_what_is_new_is_measured(tmp_path):
    day = make_day(tmp_path, "1", "2 refused", "3 doubtful")
    assert new(day) == ["1", "2 refused", "3 doubtful"]
    assert new(day) == []
    (day / "1/above.jpg").write_bytes(b"one more")
    assert new(day) == ["1"]
    (day / "1/above.jpg").write_bytes(b"one other")
    assert new(day) == ["1"]
    (day / "3 doubtful" / FORM).write_text("lower_diameter = 300")
    assert new(day) == ["3 doubtful"]
    assert new(day, cover_mm=90.0) == ["1", "2 refused", "3 doubtful"]
    assert new(day, cover_mm=90.0) == []
    camera_folder().mkdir(parents=True)
    (camera_folder() / "phone.toml").write_text("")  # which may be of these photographs
    assert len(new(day, cover_mm=90.0)) == 3


def test_another_program_measures_again(tmp_path, monkeypatch):
    (joint,) = joints(make_day(tmp_path, "1"))
    before = asked_of(joint.options)
    monkeypatch.setattr("gapvision.day.state.__version__", "9")
    assert asked_of(joint.options) != before


def test_a_day_may_be_moved(tmp_path):
    day = make_day(tmp_path / "day", "1")
    assert new(day) == ["1"]
    day.rename(tmp_path / "moved")
    assert new(tmp_path / "moved") == []


def test_the_answer_beside_the_photographs_is_a_measurement_s_json(tmp_path):
    from gapvision.answer.as_json import read_json

    went(make_day(tmp_path, "1"))
    told = read_json(tmp_path / "1" / FILE)
    assert told["status"] == "measured" and told["setting"]["set_to_mm"] == 48.0


@pytest.mark.parametrize(
    "text", ["notes of mine", "{}", "[]", '{"format": "gapvision-measurement", "version": 1}']
)
def test_a_file_of_somebody_else_is_never_replaced(tmp_path, text):
    day = make_day(tmp_path, "1", "2")
    (day / "1" / FILE).write_text(text)
    outcomes = went(day)
    assert "was written by something else, and stays as it is" in outcomes["1"].lacked
    assert outcomes["2"].complete and not outcomes["1"].complete
    assert (day / "1" / FILE).read_text() == text


def test_what_goes_wrong_with_one_stays_with_that_one(tmp_path):
    day = make_day(tmp_path, "1", "2 refused", "3 failed", "4", "5", "5/inner")
    outcomes = went(day)
    assert [name for name, o in outcomes.items() if o.complete] == ["1", "4"]
    assert "this is a mistake" in outcomes["3 failed"].lacked
    assert "measure" in outcomes["3 failed"].lacked and "by itself" in outcomes["3 failed"].lacked
    assert not (day / "3 failed" / FILE).exists()  # so that it is measured again
    assert "and so does inner" in outcomes["5"].lacked


def test_a_disk_that_refuses_one_answer_loses_no_other(tmp_path, monkeypatch):
    def refusing(folder, *more):
        if folder.name == "1":
            raise MeasurementError("not-written", "The answer could not be written: disk full.")
        written.append(folder.name)

    written = []
    monkeypatch.setattr("gapvision.day.run.write_answer", refusing)
    outcomes = went(make_day(tmp_path, "1", "2"))
    assert outcomes["1"].lacked.endswith("disk full.") and outcomes["1"].answer
    assert written == ["2"]


def test_progress_counts_what_is_new_and_stopping_begins_no_more(tmp_path):
    day = make_day(tmp_path, "1", "2", "3")
    told, found = [], joints(day)
    begun = run_day(found, None, 1, lambda *n: told.append(n), lambda: len(told) > 1, standing_in)
    assert [k for k, _ in begun] == [0]
    assert told == [(0, 3), (1, 3)]
    assert new(day) == ["2", "3"]


def test_stopping_ends_looking_for_what_is_new(tmp_path):
    day = make_day(tmp_path, "1", "2", "3")
    assert went(day).keys() == {"1", "2", "3"}
    looked = []
    known = run_day(joints(day), None, 1, stop=lambda: len(looked) > 1, work=standing_in)
    for k, _ in known:
        looked.append(k)
    assert looked == [0, 1]


# --- processes ------------------------------------------------------------------------------------


def test_joints_are_measured_in_processes_that_share_the_threads(tmp_path):
    day = make_day(tmp_path, *"123456")
    outcomes = went(day, process_of, processes=2)
    said = [o.lacked.partition("(")[2].split(")")[0].split() for o in outcomes.values()]
    assert len({process for process, _ in said}) == 2
    from joblib import cpu_count

    assert {int(threads) for _, threads in said} == {max(1, cpu_count() // 2)}


def test_a_process_that_the_system_kills_costs_its_own_joint_alone(tmp_path):
    day = make_day(tmp_path, "1", "2 killed", "3", "4", "5")
    outcomes = went(day, killed, processes=2)
    assert [name for name, o in outcomes.items() if o.complete] == ["1", "3", "4", "5"]
    assert STOPPED in outcomes["2 killed"].lacked
    assert new(day) == ["2 killed"]


def test_a_process_that_has_grown_is_replaced_without_a_word(tmp_path, recwarn):
    pytest.importorskip("psutil")  # by which the pool looks
    day = make_day(tmp_path / "day", *map(str, range(6)))
    said = [
        o.lacked.partition("(")[2].split(")")[0] for o in went(day, grown, processes=2).values()
    ]
    processes = {text.split()[0] for text in said}
    assert len(said) == 6 and len(processes) > 2 and not recwarn.list


def slowly(joint, keep):
    """As `standing_in`, but long enough for a busy machine to ask for a stop in between."""
    time.sleep(0.5)
    return standing_in(joint, keep)


def test_stopping_ends_what_was_begun_in_processes(tmp_path):
    day = make_day(tmp_path, *map(str, range(12)))
    done, found = [], joints(day)
    for k, _ in in_processes(
        range(12), lambda k: partial(slowly, found[k], False), 2, lambda: bool(done)
    ):
        done.append(k)
    assert 1 <= len(done) < 12


def test_outcomes_of_processes_are_those_of_one(tmp_path):
    one = went(make_day(tmp_path / "a", "1", "2 doubtful", "3 refused"))
    two = went(make_day(tmp_path / "b", "1", "2 doubtful", "3 refused"), processes=2)
    assert json.dumps([o.answer for o in one.values()]) == json.dumps(
        [o.answer for o in two.values()]
    )
