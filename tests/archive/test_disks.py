"""Disks that are full, may only be read, or are busy: each told as what it is, and reading goes on."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from helpers.archives import jpeg, keep
from helpers.commands import run
from helpers.disks import fill, remount, small_disk

from gapvision.archive import database as archive_database
from gapvision.archive import remove as archive_remove
from gapvision.archive.query import Query, entries
from gapvision.archive.remove import remove_record
from gapvision.archive.store import DATABASE, SPARE, open_archive, writing
from gapvision.archive.verify import verify
from gapvision.errors import MeasurementError

TESTS = Path(__file__).parents[1]


@pytest.fixture
def disk(tmp_path):
    with small_disk(tmp_path / "disk") as place:
        if place is None:
            pytest.skip("needs leave to mount a disk in memory")
        yield place


@pytest.fixture
def kept(tmp_path, plain_terminal):
    folder = tmp_path / "kept"
    with open_archive(folder, create=True) as archive:
        for n in range(3):
            keep(archive, jpeg(n) * 1000)
    return folder


def refused(code):
    return pytest.raises(MeasurementError, check=lambda error: error.code == code)


def keep_on(disk):
    folder = disk / "kept"
    with open_archive(folder, create=True) as archive:
        for n in range(3):
            keep(archive, jpeg(n) * 1000)
    return folder


KEPT_AND_KILLED = """
import os, sys
from pathlib import Path
from helpers.archives import jpeg, keep
from gapvision.archive.store import open_archive
with open_archive(Path(sys.argv[1]), create=True) as archive:
    keep(archive, jpeg(7))
    os.kill(os.getpid(), 9)
"""


def keep_and_be_killed(folder):
    """Another record, which stands in the journal alone."""
    env = os.environ | {"PYTHONPATH": str(TESTS)}
    subprocess.run(
        [sys.executable, "-c", KEPT_AND_KILLED, folder], env=env, timeout=60, check=False
    )
    assert (folder / f"{DATABASE}-wal").stat().st_size


# --- full -----------------------------------------------------------------------------------------


def test_a_full_disk_is_read_and_cleared(disk, plain_terminal):
    folder = keep_on(disk)
    fill(disk)
    here = ["--archive", folder]
    assert run("archive", "list", *here).stdout.count("Lake house") == 3
    found = run("archive", "verify", *here)
    assert found.exit_code == 0 and "faults: 0. Whole" in found.stdout, found.output
    result = run("archive", "remove", "1", "--yes", *here)
    assert result.exit_code == 0 and "Removed: record 1 and 1 files." in result.stdout
    assert run("archive", "list", *here).stdout.count("Lake house") == 2
    with refused("archive-full") as error, open_archive(folder, create=True) as archive:
        keep(archive, jpeg(9) * 10_000)
    assert "is full" in error.value.text
    (disk / "fill").unlink()
    with open_archive(folder, create=True) as archive:
        keep(archive, jpeg(9))
        assert not verify(archive).faults
    assert (folder / SPARE).stat().st_size > 0


def test_a_full_disk_with_a_journal_that_was_left(disk, plain_terminal):
    folder = keep_on(disk)
    keep_and_be_killed(folder)
    (folder / f"{DATABASE}-shm").unlink()
    fill(disk)
    assert run("archive", "list", "--archive", folder).stdout.count("Lake house") == 4
    result = run("archive", "remove", "2", "--yes", "--archive", folder)
    assert result.exit_code == 0, result.output
    assert run("archive", "list", "--archive", folder).stdout.count("Lake house") == 3


# --- only to be read ------------------------------------------------------------------------------


@pytest.mark.parametrize("journal", [False, True])
def test_read_only_media(disk, tmp_path, plain_terminal, asked, journal):
    folder = keep_on(disk)
    if journal:
        keep_and_be_killed(folder)
        (folder / f"{DATABASE}-shm").unlink()  # as on a stick of which only some files were copied
    remount(disk, "ro")
    here, count = ["--archive", folder], 4 if journal else 3
    assert run("archive", "list", *here).stdout.count("Lake house") == count
    assert run("archive", "search", "lake", *here).stdout.count("Lake house") == count
    assert "Record 1:" in run("archive", "show", "1", *here).stdout
    found = run("archive", "verify", *here)
    assert found.exit_code == 0 and "faults: 0. Whole" in found.stdout, found.output
    assert run("archive", "export", tmp_path / "out.zip", *here).exit_code == 0
    for args in (
        ["remove", "1", "--yes"],
        ["outcome", "1", "--caliper", "30@0"],
        ["verify", "--repair"],
    ):
        result = run("archive", *args, *here)
        assert result.exit_code == 1 and "may only be read" in result.stderr, result.output
        assert "nothing was changed" in result.stderr and result.stderr.count("\n") == 1
    joint = ["--building", "B", "--wall", "w", "--log", "1"]
    result = run("measure", "level.jpg", "--keep", *joint, *here)
    assert result.exit_code == 1 and "may only be read" in result.stderr and not asked
    remount(disk, "rw")
    assert run("archive", "list", *here).stdout.count("Lake house") == count


@pytest.mark.parametrize(
    "name", ["SQLITE_CANTOPEN", "SQLITE_READONLY_DBMOVED", "SQLITE_IOERR_SHMSIZE"]
)
def test_where_sqlite_may_not_write_it_only_reads(kept, monkeypatch, name):
    def refuses(path):
        error = sqlite3.OperationalError("unable to open database file")
        error.sqlite_errorname = name
        raise error

    monkeypatch.setattr(archive_database, "_open_to_write", refuses)
    with open_archive(kept) as archive:
        assert archive.only_read and len(list(entries(archive, Query()))) == 3
        assert not verify(archive).faults
        with refused("archive-read-only"):
            remove_record(archive, 1, "me", "")
    code = "archive-read-only" if "READ" in name else "archive-unreachable"
    with refused(code), open_archive(kept, create=True):
        pass


def test_what_stands_in_the_journal_alone_is_read_too(kept, monkeypatch):
    """To ignore it, as SQLite's immutable does, would be a quiet wrong answer."""
    keep_and_be_killed(kept)
    archive_database._open_to_read(kept / DATABASE).close()
    before = {p.name: p.read_bytes() for p in kept.glob(f"{DATABASE}*")}
    db = archive_database._open_to_read(kept / DATABASE)
    assert db.execute("SELECT count(*) FROM record").fetchone() == (4,)
    db.close()
    assert {p.name: p.read_bytes() for p in kept.glob(f"{DATABASE}*")} == before


# --- busy -----------------------------------------------------------------------------------------


def test_another_who_writes_is_no_fault_of_the_archive(kept, monkeypatch):
    """It was reported as a damaged index of words."""
    monkeypatch.setattr(archive_database, "WAIT_S", 0.1)
    with (
        open_archive(kept) as archive,
        writing(archive),
        refused("archive-busy"),
        open_archive(kept) as other,
    ):
        verify(other)


def test_what_is_removed_or_kept_while_all_is_checked_is_no_fault(kept):
    with open_archive(kept) as archive, open_archive(kept) as other:
        done = []

        def meanwhile(*_):
            if not done:
                done.append(remove_record(other, 1, "me", ""))
                remove_record(other, 2, "me", "")
                keep(other, jpeg(8))

        found = verify(archive, meanwhile)
        assert done and not found.faults and not found.unclaimed


def test_a_reader_does_not_hold_up_a_removal(kept, monkeypatch):
    """It waited a minute for the reader to end, and then kept silent about the journal."""
    monkeypatch.setattr(archive_remove, "SOON_S", 0.1, raising=False)
    with open_archive(kept) as reader:
        reader.db.execute("BEGIN")
        reader.db.execute("SELECT count(*) FROM record").fetchone()
        result = run("archive", "remove", "1", "--yes", "--archive", kept)
    assert "Removed: record 1 and 1 files." in result.stdout
    assert "Left behind:" in result.stdout and "archive.sqlite-wal" in result.stdout
    assert result.exit_code == 1
