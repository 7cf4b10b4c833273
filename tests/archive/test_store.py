"""The archive's folder: what is stored and when, what is refused, and old tables brought up."""

import errno
import hashlib
import os
import re
import sqlite3
import subprocess
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from helpers.archives import JOINT, files_in, jpeg, keep, named, new_record

from gapvision.archive import database as archive_database
from gapvision.archive import originals as archive_originals
from gapvision.archive import schema as archive_schema
from gapvision.archive.originals import ASIDE, NEW, Removal, finish_removal, path_of, put
from gapvision.archive.query import Query, entries, files_of, load_record
from gapvision.archive.record import add_record
from gapvision.archive.schema import STEPS
from gapvision.archive.store import (
    DATABASE,
    archive_folder,
    open_archive,
    writing,
)
from gapvision.archive.verify import repair, verify
from gapvision.errors import MeasurementError

# RFC 3339, 5.6: full-date "T" partial-time time-offset.
RFC_3339 = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")


@pytest.fixture
def archive(tmp_path):
    with open_archive(tmp_path / "kept", create=True) as opened:
        yield opened


def refused(code):
    return pytest.raises(MeasurementError, check=lambda error: error.code == code)


def test_where_it_is(monkeypatch, tmp_path):
    assert archive_folder(Path("told")) == Path("told")
    assert archive_folder() == tmp_path / "archive"  # the environment's, as the fixture has it
    monkeypatch.delenv("GAPVISION_ARCHIVE")
    assert archive_folder().name == "archive" and "gapvision" in archive_folder().parts


def test_photographs_lie_untouched_under_their_hash(archive):
    keep(archive, jpeg(1), jpeg(2))
    expected = {}
    for content in (jpeg(1), jpeg(2)):
        sha256 = hashlib.sha256(content).hexdigest()
        expected[f"photos/{sha256[:2]}/{sha256}"] = content
    assert files_in(archive.folder) == expected


def test_hashes_are_those_of_coreutils(archive):
    keep(archive, jpeg(1))
    (path,) = (archive.folder / name for name in files_in(archive.folder))
    told = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout
    assert told.split()[0] == path.name


def test_the_same_photograph_is_stored_once_and_both_records_have_it(archive):
    first, second = keep(archive, jpeg(1)), keep(archive, jpeg(1))
    assert len(files_in(archive.folder)) == 1
    assert files_of(archive, first) == files_of(archive, second) != ()


def test_a_remeasured_joint_stands_beside_the_old_one(archive):
    first = add_record(archive, new_record(set_to_mm=49.0))
    second = add_record(archive, named(new_record(set_to_mm=50.0), wall="North"))
    assert (first.revision, second.revision) == (1, 2)  # North and north are one wall
    kept = {e.record: e.set_to_mm for e in entries(archive, Query())}
    assert kept == {first.record: 49.0, second.record: 50.0}
    assert add_record(archive, named(new_record(), log="4")).revision == 1


def test_times_are_of_rfc_3339_and_of_now(archive):
    entry = load_record(archive, keep(archive)).entry
    assert RFC_3339.fullmatch(entry.kept_at) and RFC_3339.fullmatch(entry.kept_utc)
    kept, utc = (datetime.fromisoformat(t) for t in (entry.kept_at, entry.kept_utc))
    assert kept == utc
    assert abs((datetime.now().astimezone() - kept).total_seconds()) < 60


def test_a_photograph_is_on_the_disk_before_the_record_that_names_it(archive, monkeypatch):
    """fsync of the file, its final name, fsync of its folder, and only then the commit."""
    did = []
    rename, sync, commit = os.replace, os.fsync, archive.db.set_trace_callback
    monkeypatch.setattr(os, "fsync", lambda handle: did.append("fsync") or sync(handle))
    monkeypatch.setattr(os, "replace", lambda p, to: did.append("rename") or rename(p, to))
    commit(lambda sql: did.append("commit") if sql == "COMMIT" else None)
    keep(archive, jpeg(1))
    folders = ["fsync"] * 3  # of its hash's first digits, of all photographs, of the archive
    assert did == ["fsync", "rename", *folders, "commit"]
    assert archive.db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
    assert archive.db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_photograph_that_changed_since_it_was_measured(archive, tmp_path):
    path = tmp_path / "photo0.jpg"
    path.write_bytes(jpeg(2))
    new = new_record((jpeg(1),))
    (file,) = new.files
    with refused("photo-changed"):
        add_record(archive, replace(new, files=(replace(file, source=path),)))
    path.unlink()
    with refused("no-access"):
        add_record(archive, replace(new, files=(replace(file, source=path),)))
    assert not list(entries(archive, Query())) and not files_in(archive.folder)


def test_bytes_that_are_not_what_was_measured(archive):
    with refused("photo-changed"), writing(archive):
        put(archive, jpeg(), "0" * 64)


def test_a_damaged_photograph_is_healed_by_keeping_the_original_again(archive):
    keep(archive, jpeg(1))
    (path,) = (archive.folder / name for name in files_in(archive.folder))
    path.write_bytes(b"rot")
    assert len(verify(archive).faults) == 1
    keep(archive, jpeg(1))
    assert not verify(archive).faults and path.read_bytes() == jpeg(1)


# --- what is refused ------------------------------------------------------------------------------


def test_an_archive_that_is_not_there(tmp_path):
    with refused("no-archive"), open_archive(tmp_path / "none"):
        pass
    assert not (tmp_path / "none").exists()


def test_a_stick_that_is_not_plugged_in_becomes_no_new_archive(tmp_path):
    with refused("no-folder"), open_archive(tmp_path / "stick" / "kept", create=True):
        pass
    assert not (tmp_path / "stick").exists()


@pytest.mark.parametrize("empty", [True, False])
def test_photographs_that_lost_their_database_are_not_taken_for_a_new_archive(tmp_path, empty):
    with open_archive(tmp_path, create=True) as archive:
        keep(archive)
    before = files_in(tmp_path)
    for path in tmp_path.glob(f"{DATABASE}*"):
        path.unlink()
    if empty:
        (tmp_path / DATABASE).touch()
    for _ in range(2):
        with refused("archive-damaged"), open_archive(tmp_path, create=True):
            pass
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("content", [b"no database at all" * 100, None])
def test_another_file_of_that_name(tmp_path, content):
    if content is None:
        with sqlite3.connect(tmp_path / DATABASE) as db:
            db.execute("CREATE TABLE recipes (title TEXT)")
            db.execute(f"PRAGMA user_version = {len(STEPS)}")
        db.close()
    else:
        (tmp_path / DATABASE).write_bytes(content)
    before = (tmp_path / DATABASE).read_bytes()
    with refused("archive-damaged"), open_archive(tmp_path, create=True):
        pass
    assert (tmp_path / DATABASE).read_bytes() == before


def test_a_full_disk_while_a_photograph_is_copied(archive, monkeypatch):
    keep(archive, jpeg(1))

    def full(source, copy):
        copy.write(b"some of it")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(archive_originals, "_copied", full)
    with refused("archive-full") as error:
        keep(archive, jpeg(2))
    assert error.value.text.count("\n") == 0 and "make room" in error.value.text
    assert len(files_in(archive.folder)) == 1 and not verify(archive).faults
    monkeypatch.undo()
    keep(archive, jpeg(2))
    assert len(list(entries(archive, Query()))) == 2


def test_a_database_that_may_not_grow(archive):
    """SQLite's own refusal, SQLITE_FULL."""
    keep(archive, jpeg(1))
    pages = archive.db.execute("PRAGMA page_count").fetchone()[0]
    archive.db.execute(f"PRAGMA max_page_count = {pages}")
    kept = 1
    with refused("archive-full"):
        for _ in range(20):
            keep(archive, jpeg(1))
            kept += 1
    archive.db.execute("PRAGMA max_page_count = 1000000")
    assert len(list(entries(archive, Query()))) == kept and not verify(archive).faults


def test_a_folder_that_vanishes_while_it_is_open(archive, tmp_path):
    keep(archive, jpeg(1))
    archive.folder.rename(tmp_path / "pulled")
    with refused("archive-unreachable") as error:
        keep(archive, jpeg(2))
    assert "plugged in" in error.value.text
    (tmp_path / "pulled").rename(archive.folder)
    assert not verify(archive).faults and len(list(entries(archive, Query()))) == 1


def test_a_folder_that_was_replaced_while_it_was_open(archive, tmp_path):
    """SQLite would commit to the file that no longer has a name."""
    archive.folder.rename(tmp_path / "old")
    with open_archive(archive.folder, create=True), refused("archive-unreachable"):
        keep(archive, jpeg(2))


def test_another_process_that_never_ends(archive, monkeypatch, tmp_path):
    monkeypatch.setattr(archive_database, "WAIT_S", 0.1)
    with open_archive(archive.folder) as other, writing(archive), refused("archive-busy"):
        keep(other, jpeg(2))


def test_a_mistake_of_the_program_is_no_refusal(archive):
    with pytest.raises(sqlite3.IntegrityError), writing(archive) as db:
        db.execute("INSERT INTO document VALUES (99, '', '')")
        db.execute("UPDATE meta SET value = NULL")


# --- what killed processes leave ------------------------------------------------------------------


def test_leftovers_are_told_and_repaired_and_nothing_else_is_touched(archive):
    keep(archive, jpeg(1))
    before = files_in(archive.folder)
    (archive.photos / f"{NEW}half").write_bytes(b"ha")
    stray = path_of(archive, hashlib.sha256(b"whole").hexdigest())
    stray.parent.mkdir(exist_ok=True)
    stray.write_bytes(b"whole")
    found = verify(archive)
    assert not found.faults
    assert (found.halves, found.unclaimed) == ((f"{NEW}half",), (stray.name,))
    done = repair(archive)
    assert (done.removed, done.aside, done.left) == (1, (stray.name,), ())
    assert files_in(archive.folder) == before | {f"{ASIDE}/{stray.name}": b"whole"}
    found = verify(archive)
    assert not found.halves and not found.unclaimed and found.aside == (stray.name,)


def test_the_next_who_keeps_sweeps_up(archive):
    keep(archive, jpeg(1))
    (archive.photos / f"{NEW}half").write_bytes(b"ha")
    keep(archive, jpeg(2))
    assert not list(archive.photos.glob(f"{NEW}*"))


def test_a_removal_that_was_interrupted_is_finished(archive):
    keep(archive, jpeg(1))
    sha256 = hashlib.sha256(jpeg(2)).hexdigest()
    path_of(archive, sha256).parent.mkdir(exist_ok=True)
    path_of(archive, sha256).write_bytes(jpeg(2))
    archive.db.execute("INSERT INTO leftover VALUES (?)", (sha256,))
    assert finish_removal(archive) == Removal(1)
    assert len(files_in(archive.folder)) == 1


def test_a_removal_does_not_take_what_was_kept_again_meanwhile(archive):
    sha256 = hashlib.sha256(jpeg(1)).hexdigest()
    archive.db.execute("INSERT INTO leftover VALUES (?)", (sha256,))
    keep(archive, jpeg(1))
    finish_removal(archive)
    assert not verify(archive).faults


# --- versions of the tables -----------------------------------------------------------------------

# As the first version wrote it, in letters of its own: what `archive_schema` says later must not
# change what this is.
VERSION_1 = Path(__file__).with_name("archive_version_1.sql")


@pytest.fixture
def version_1(tmp_path):
    folder = tmp_path / "first"
    content = b"photograph of version 1"
    sha256 = hashlib.sha256(content).hexdigest()
    (folder / "photos" / sha256[:2]).mkdir(parents=True)
    (folder / "photos" / sha256[:2] / sha256).write_bytes(content)
    db = sqlite3.connect(folder / DATABASE)
    db.executescript(VERSION_1.read_text(encoding="utf-8"))
    db.close()
    return folder


def test_an_archive_of_version_1_opens_whole(version_1):
    with open_archive(version_1) as archive:
        assert archive_schema.version_of(archive.db) == len(STEPS)
        record = load_record(archive, 1)
        assert str(record.entry.joint) == str(JOINT)
        assert (record.entry.set_to_mm, record.result["setting"]["set_to_mm"]) == (49.0, 49.0)
        assert [f.name for f in record.photographs] == ["photo0.jpg"]
        assert [e.record for e in entries(archive, Query(text="remembered"))] == [1]
        assert not verify(archive).faults
        assert keep(archive, jpeg(1)) == 3  # number 2 was removed, and never comes back


def test_the_tables_of_a_new_archive_are_those_of_an_old_one_brought_up(version_1, archive):
    def tables(db):
        rows = db.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL")
        return {name: " ".join(sql.split()) for name, sql in rows}

    with open_archive(version_1) as old:
        assert tables(old.db) == tables(archive.db)


def test_a_further_step_is_taken_once_and_loses_nothing(version_1, monkeypatch):
    step = "ALTER TABLE record ADD COLUMN weather TEXT;\nUPDATE record SET weather = 'dry';\n"
    monkeypatch.setattr(archive_schema, "STEPS", (*STEPS, step))
    monkeypatch.setattr(archive_database, "STEPS", (*STEPS, step))
    for _ in range(2):
        with open_archive(version_1) as archive:
            assert archive_schema.version_of(archive.db) == len(STEPS) + 1
            assert archive.db.execute("SELECT weather FROM record").fetchall() == [("dry",)]
            assert load_record(archive, 1).entry.set_to_mm == 49.0


def test_a_step_that_fails_leaves_the_archive_as_it_was(version_1, monkeypatch):
    step = "ALTER TABLE record ADD COLUMN weather TEXT;\nUPDATE nothing SET weather = 'dry';\n"
    monkeypatch.setattr(archive_schema, "STEPS", (*STEPS, step))
    monkeypatch.setattr(archive_database, "STEPS", (*STEPS, step))
    with pytest.raises(sqlite3.OperationalError), open_archive(version_1):
        pass
    monkeypatch.undo()
    with open_archive(version_1) as archive:
        assert archive_schema.version_of(archive.db) == len(STEPS)
        assert not verify(archive).faults


def test_a_newer_archive_is_refused_in_one_sentence(archive, tmp_path):
    archive.db.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    with refused("archive-newer") as error, open_archive(archive.folder):
        pass
    assert "newer program" in error.value.text and "\n" not in error.value.text
