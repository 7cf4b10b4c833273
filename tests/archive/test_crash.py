"""Killed at any moment, two at once, a disk that fills up: no finished record is lost, none is half."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from helpers.archives import files_in, jpeg, keep, new_record

from gapvision.archive.originals import ASIDE, NEW
from gapvision.archive.query import Query, entries, load_record
from gapvision.archive.record import add_record
from gapvision.archive.store import open_archive
from gapvision.archive.verify import repair, verify
from gapvision.errors import MeasurementError

TESTS = Path(__file__).parents[1]
KILLS = 200

needs_unix = pytest.mark.skipif(os.name == "nt", reason="forks and signals")


def python(*args, **kwargs):
    env = os.environ | {"PYTHONPATH": str(TESTS)}
    return subprocess.run(
        [sys.executable, *map(str, args)],
        env=env, capture_output=True, text=True, timeout=120, check=False, **kwargs,
    )  # fmt: skip


@needs_unix
def test_killing_hundreds_of_writers_at_random_moments(tmp_path):
    folder = tmp_path / "kept"
    run = python(TESTS / "studies" / "archive_killing.py", folder, KILLS, 1)
    assert run.returncode == 0, run.stderr
    told = [line.split() for line in run.stdout.splitlines()]
    kept = {int(line[1]): line[2] for line in told if line[0] == "kept"}
    removed = {int(line[1]) for line in told if line[0] == "removed"}
    asked_to_go = {int(line[1]) for line in told if line[0] == "removing"}
    assert len(kept) > KILLS / 20 and removed  # also on a slow machine the children did something
    with open_archive(folder) as archive:
        repair(archive)
        found = verify(archive)
        assert not found.faults and not found.halves and not found.unclaimed
        assert not list(archive.photos.glob(f"{NEW}*"))
        there = {e.record: e.joint.log for e in entries(archive, Query())}
        # Every acknowledged record, and at most one more a kill: kept, and killed before it could say.
        assert {r: log for r, log in kept.items() if r not in asked_to_go}.items() <= there.items()
        assert not removed & set(there)
        assert len(set(there) - set(kept)) <= KILLS
        for record in there:
            assert len(load_record(archive, record).files) == 2
        # Not a file more than the records name.
        named = {f.sha256 for r in there for f in load_record(archive, r).files}
        stored = {path: c for path, c in files_in(folder).items() if not path.startswith(ASIDE)}
        assert {Path(path).name for path in stored} == named
        # What was whole and no record has was set aside, not deleted: it could be a lost record's.
        for path in found.aside:
            content = (folder / ASIDE / path).read_bytes()
            assert hashlib.sha256(content).hexdigest() == path.partition(".")[0]


WRITER = """
import sys
from pathlib import Path
from helpers.archives import jpeg, keep
from gapvision.archive.store import open_archive
for n in range(int(sys.argv[2])):
    with open_archive(Path(sys.argv[1]), create=True) as archive:
        keep(archive, jpeg(n % 7))
"""


def test_two_processes_at_once_lose_nothing(tmp_path):
    folder, each = tmp_path / "kept", 25
    env = os.environ | {"PYTHONPATH": str(TESTS)}
    command = [sys.executable, "-c", WRITER, str(folder), str(each)]
    writers = [subprocess.Popen(command, env=env, stderr=subprocess.PIPE) for _ in range(2)]
    for writer in writers:
        _, error = writer.communicate(timeout=120)
        assert writer.returncode == 0, error.decode()
    with open_archive(folder) as archive:
        found = list(entries(archive, Query()))
        assert sorted(e.revision for e in found) == list(range(1, 2 * each + 1))
        found = verify(archive)
        assert not found.faults and not found.halves and not found.unclaimed


LIMITED = """
import resource, sys
from pathlib import Path
from helpers.archives import jpeg, keep
from gapvision.archive.store import open_archive
from gapvision.errors import MeasurementError
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
try:
    with open_archive(Path(sys.argv[1]), create=True) as archive:
        for n in range(1000):
            print(keep(archive, jpeg(n) * 40), flush=True)
except MeasurementError as error:
    print(error.code, error.text)
"""


@needs_unix
@pytest.mark.parametrize("limit", [500, 20_000, 120_000, 300_000])
def test_files_that_may_not_grow(tmp_path, limit):
    """As a full disk: writing fails within a photograph, the journal or the database itself."""
    folder = tmp_path / "kept"
    with open_archive(folder, create=True) as archive:
        before = keep(archive, jpeg(5))
    run = python("-c", LIMITED, folder, limit)
    assert run.returncode == 0, run.stderr
    *kept, refusal = run.stdout.splitlines()
    assert (
        refusal.startswith(("archive-full ", "archive-unreachable ")) and "nothing was" in refusal
    )
    with open_archive(folder) as archive:
        repair(archive)
        assert not verify(archive).faults
        assert {e.record for e in entries(archive, Query())} == {before, *map(int, kept)}
        keep(archive, jpeg(1))  # and it goes on when there is room


def test_a_failure_between_photograph_and_record_leaves_no_half(tmp_path, monkeypatch):
    from gapvision.archive import record as archive_record

    def broken(*args):
        raise OSError(5, "Input/output error")

    with open_archive(tmp_path / "kept", create=True) as archive:
        monkeypatch.setattr(archive_record, "words_of", broken)
        with pytest.raises(MeasurementError, match="nothing was changed"):
            add_record(archive, new_record())
        assert not list(entries(archive, Query()))
        assert len(verify(archive).unclaimed) == 1
        (name,) = repair(archive).aside
        assert files_in(archive.folder) == {f"{ASIDE}/{name}": jpeg()}
