"""A day measured by a real Dask scheduler with workers of its own: processes of this machine."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from helpers.days import contents_of, killed_once, make_day, slow_process_of, standing_in
from helpers.demo import FOLDER

from gapvision.archive.query import load_record
from gapvision.archive.store import open_archive
from gapvision.day import cluster as clusters
from gapvision.day.again import measured_again
from gapvision.day.cluster import joined
from gapvision.day.joints import joint_folders, joints_of, named
from gapvision.day.processes import STOPPED
from gapvision.day.run import run_day
from gapvision.day.state import FILE
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.photo.facts import CameraKey
from gapvision.photo.lens.files import camera_folder
from gapvision.photo.photo import load_photo

TESTS = Path(__file__).parent.parent
SECONDS = 60  # for a process to begin on a busy machine


def began(folder, *args, **environment):
    """A process of Dask's, with what it says in a file of its own."""
    command = [sys.executable, "-m", "dask", *map(str, args), "--no-dashboard"]
    ours = {
        "PYTHONPATH": str(TESTS),
        "GAPVISION_CONFIG_DIR": str(folder / "no cameras"),
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
    }
    with (folder / f"{time.monotonic_ns()}.log").open("wb") as said:
        return subprocess.Popen(
            command, stdout=said, stderr=said, env=os.environ | ours | environment, cwd=folder
        )


def ended(process):
    process.terminate()
    process.wait(SECONDS)


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """Its process, its address, and the folder of what belongs to it."""
    folder = tmp_path_factory.mktemp("cluster")
    process = began(folder, "scheduler", "--port", "0", "--scheduler-file", folder / "at.json")
    until = time.monotonic() + SECONDS
    while not (folder / "at.json").exists() and time.monotonic() < until:
        time.sleep(0.1)
    yield process, json.loads((folder / "at.json").read_text())["address"], folder
    ended(process)


def worker(scheduler, *more, **environment):
    _, address, folder = scheduler
    more += ("--nthreads", "1", "--local-directory", folder / "work")
    return began(folder, "worker", address, *more, **environment)


@pytest.fixture(scope="module")
def address(scheduler):
    """Where a scheduler with two workers is."""
    workers = [worker(scheduler) for _ in range(2)]
    yield scheduler[1]
    for process in workers:
        ended(process)


def joints(day, **more):
    return joints_of(day, joint_folders(day), MeasureOptions(photos=(), **more))


def went(
    day, address, shared=False, work=standing_in, archive=None, stop=lambda: False, tell=print
):
    found = named(joints(day)) if archive else joints(day)
    with joined(address, shared, tell) as cluster:
        outcomes = dict(run_day(found, archive, 1, None, stop, work, cluster))
    return {found[k].folder.name: outcome for k, outcome in sorted(outcomes.items())}


def test_workers_are_waited_for_and_their_lack_is_told(scheduler, monkeypatch):
    monkeypatch.setattr(clusters, "WAIT_S", 0.3)
    with pytest.raises(MeasurementError, match="has no workers: start them by dask worker"):
        went(Path(), scheduler[1])


def test_where_no_worker_is_left_that_is_told_once_and_one_is_waited_for(
    scheduler, tmp_path, monkeypatch
):
    monkeypatch.setattr(clusters, "LONG_S", 0.3)
    day, told, late = make_day(tmp_path / "day", "1 once", "2", "3"), [], []

    def tell(text):
        told.append(text)
        late.append(worker(scheduler))

    first = worker(scheduler, "--no-nanny")
    outcomes = went(day, scheduler[1], work=killed_once, tell=tell)
    for process in (first, *late):
        ended(process)
    assert [o.complete for o in outcomes.values()] == [True] * 3
    assert told == [clusters.ALONE]


def test_where_no_worker_is_left_ctrl_c_ends_it_in_order(scheduler, tmp_path, monkeypatch):
    monkeypatch.setattr(clusters, "LONG_S", 0.3)
    day, told = make_day(tmp_path / "day", "1 killed", "2", "3"), []
    process = worker(scheduler, "--no-nanny")
    outcomes = went(day, scheduler[1], work=killed_once, tell=told.append, stop=lambda: bool(told))
    ended(process)
    assert told == [clusters.ALONE] and "1 killed" not in outcomes
    assert len(answers(day)) == len(outcomes)


def test_nobody_at_the_address_is_told_within_ten_seconds():
    begun = time.monotonic()
    with pytest.raises(
        MeasurementError, match=r"No Dask scheduler answers at tcp://127\.0\.0\.1:9 "
    ):
        went(Path(), "tcp://127.0.0.1:9")
    assert time.monotonic() - begun < 10
    with pytest.raises(MeasurementError, match="No Dask scheduler answers at where"):
        went(Path(), "where://is it")
    with pytest.raises(MeasurementError, match=r"wants certificates: tell Dask's configuration"):
        went(Path(), "tls://127.0.0.1:9")


def answers(day):
    """What lies beside the photographs, but for the time, and where an archive keeps it."""
    found = {}
    for path in sorted(day.rglob(FILE)):
        told = json.loads(path.read_text())
        del told["measured_at"], told["day"]["kept"]
        found[path.parent.name] = json.dumps(told).replace(str(day), "DAY")
    return found


def copied_day(day):
    """A joint of two photographs."""
    (day / "B/n/1").mkdir(parents=True)
    for k, name in enumerate(("level.jpg", "above.jpg")):
        (day / "B/n/1" / name).write_bytes((FOLDER / f"photo{k}.jpg").read_bytes())
    (day / "B/n/1/joint.toml").write_text("lower_diameter = 310")
    return day


def calibrated():
    """The lens of the photographs, which no worker knows."""
    facts = load_photo(FOLDER / "photo0.jpg").facts
    key: CameraKey = facts.key
    camera_folder().mkdir(parents=True)
    numbers = {"focal_px": facts.focal_px * 1.01, "u_focal_px": 9.0, "k1": 0.01, "u_k1": 0.004}
    texts = {"make": key.make, "model": key.model, "lens": key.lens}
    lines = [f"{k} = {v}" for k, v in (numbers | {"width_px": key.width_px}).items()]
    lines += [f'{k} = "{v}"' for k, v in texts.items()] + [f"height_px = {key.height_px}"]
    lines += [] if key.focal35_mm is None else [f"focal35_mm = {key.focal35_mm}"]
    (camera_folder() / "phone.toml").write_text("\n".join(lines))


def test_answers_and_records_are_those_of_home_to_the_byte(address, tmp_path):
    from gapvision.day.processes import measured

    calibrated()
    here, there = copied_day(tmp_path / "here"), copied_day(tmp_path / "there")
    with open_archive(tmp_path / "a", create=True) as a:
        dict(run_day(named(joints(here)), a, 1))
        kept = load_record(a, 1)
    with open_archive(tmp_path / "b", create=True) as b:
        (outcome,) = went(there, address, work=measured, archive=b).values()
        same = load_record(b, 1)
        assert (same.options, same.result, same.files) == (kept.options, kept.result, kept.files)
        with joined(address, True, print) as cluster:
            (again,) = measured_again(b, [1], True, 1, cluster=cluster)
        found = load_record(b, 2)
        assert again.kept.record == 2 and found.entry.remeasured == 1
        assert (found.options, found.result, found.files) == (kept.options, kept.result, kept.files)
    assert answers(here) == answers(there) and outcome.complete
    assert (
        "calibration phone" in answers(here)["1"]
        and '"file": "DAY/B/n/1/level.jpg"' in answers(here)["1"]
    )


def test_photographs_travel_or_are_read_where_all_have_them(address, tmp_path):
    day = make_day(tmp_path, "1", "2")
    (day / "2/above.jpg").write_bytes(b"two")
    for shared in (False, True):
        told = {name: o.lacked for name, o in went(day, address, shared, contents_of).items()}
        assert f"(1/level.jpg=1 in {day}/1/level.jpg)" in told["1"]
        assert f"(2/above.jpg=two 2/level.jpg=2 in {day}/2/above.jpg)" in told["2"]


def test_what_lacks_at_home_is_told_as_at_home(address, tmp_path):
    from gapvision.day.processes import measured

    day = make_day(tmp_path, "1")
    (day / "1/level.jpg").write_bytes(b"")
    (outcome,) = went(day, address, work=measured).values()
    assert "level.jpg is empty (0 bytes)" in outcome.answer["reason"]["text"]


def test_a_killed_worker_s_joint_is_measured_elsewhere_and_a_killer_s_given_up(address, tmp_path):
    day = make_day(tmp_path / "day", "1 once", "2", "3 killed", "4", "5", "6")
    outcomes = went(day, address, work=killed_once)
    assert [name for name, o in outcomes.items() if not o.complete] == ["3 killed"]
    assert STOPPED in outcomes["3 killed"].lacked
    assert (tmp_path / "1 once began").read_bytes() == b"1 once"  # its photograph had come along


def test_a_worker_that_joins_late_takes_its_part(scheduler, address, tmp_path):
    day, processes, late = make_day(tmp_path, *map(str, range(400))), set(), []
    with joined(address, False, print) as cluster:
        stop = lambda: len(processes) > 2  # noqa: E731
        for _, outcome in run_day(joints(day), None, 1, None, stop, slow_process_of, cluster):
            late = late or [worker(scheduler)]
            processes.add(outcome.lacked.partition("(")[2].partition(")")[0])
    ended(*late)
    assert len(processes) == 3


def test_another_program_on_a_worker_is_one_sentence(address, tmp_path, monkeypatch):
    ours = clusters._versions() | {"numpy": "9.9"}
    monkeypatch.setattr(clusters, "_versions", lambda: ours)
    with pytest.raises(
        MeasurementError, match=r"The worker on .* has numpy .*, and here is 9\.9: ins"
    ):
        went(make_day(tmp_path, "1"), address)
    monkeypatch.setattr(clusters, "_check_workers", lambda client: None)  # as if it had come later
    with pytest.raises(MeasurementError, match=r"has numpy .*, and here is 9\.9: install the same"):
        went(make_day(tmp_path, "2"), address)


def test_a_scheduler_that_is_gone_is_one_sentence_and_what_was_told_stands(
    scheduler, address, tmp_path
):
    day = make_day(tmp_path, *map(str, range(40)))
    done = []
    with (
        pytest.raises(MeasurementError, match="The Dask scheduler is gone: start it again"),
        joined(address, False, print) as cluster,
    ):
        for k, _ in run_day(joints(day), None, 1, None, lambda: False, standing_in, cluster):
            done.append(k)
            scheduler[0].kill()
    assert len(answers(day)) == len(done) < 40
