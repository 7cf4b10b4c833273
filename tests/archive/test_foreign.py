"""An archive from anybody: nothing outside it is read, written or deleted, and nothing blocks it for ever."""

import hashlib
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from helpers.archives import files_in, jpeg, keep
from helpers.commands import run

from gapvision.archive.store import DATABASE, open_archive

TESTS = Path(__file__).parents[1]
pytestmark = pytest.mark.skipif(os.name == "nt", reason="links and pipes")
SECONDS = 60  # for what would wait for ever at a pipe


@pytest.fixture
def kept(tmp_path, plain_terminal):
    folder = tmp_path / "archive"
    with open_archive(folder, create=True) as archive:
        for n in range(3):
            keep(archive, jpeg(n))
    return folder


@pytest.fixture
def outside(tmp_path):
    """A file that is nobody's business, by its hash's name."""
    content = jpeg("secret")
    path = tmp_path / "outside" / hashlib.sha256(content).hexdigest()
    path.parent.mkdir()
    path.write_bytes(content)
    return path


def change(folder, *statements):
    """What somebody did to the database with another program."""
    db = sqlite3.connect(folder / DATABASE, isolation_level=None)
    db.execute("PRAGMA ignore_check_constraints = ON")
    db.execute("PRAGMA foreign_keys = OFF")
    for sql, *values in statements:
        db.execute(sql, values)
    db.close()


def stored(folder, n):
    sha256 = hashlib.sha256(jpeg(n)).hexdigest()
    return folder / "photos" / sha256[:2] / sha256


def in_time(*args):
    """A command in a process of its own, which must not wait for ever."""
    code = "from gapvision.cli.main import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, args)],
        capture_output=True, text=True, timeout=SECONDS, check=False,
        env=os.environ | {"COLUMNS": "250"},
    )  # fmt: skip


def no_traceback(result):
    """What a process printed on standard error is sentences."""
    assert "Traceback" not in result.stderr, result.stderr
    return result


# --- names that lead out of it --------------------------------------------------------------------


@pytest.mark.parametrize("way", ["absolute", "up", "dots", "number", "blob"])
@pytest.mark.parametrize("args", [["verify", "--repair"], ["remove", "2", "--yes"]])
def test_no_name_in_the_database_deletes_a_file_outside(kept, outside, way, args):
    name = {
        "absolute": str(outside), "up": f"../../../outside/{outside.name}", "dots": "..",
        "number": 7, "blob": os.fsencode(outside),
    }[way]  # fmt: skip
    change(kept, ("INSERT INTO leftover VALUES (?)", name))
    result = run("archive", *args)
    assert result.exit_code in (0, 1) and not isinstance(result.exception, OSError | TypeError)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert outside.exists() and (kept / DATABASE).exists()
    assert run("archive", "remove", "1", "--yes").exit_code == 0  # and it blocks nothing


@pytest.mark.parametrize("way", ["absolute", "up"])
def test_no_name_in_the_database_brings_a_file_from_outside_out(kept, outside, tmp_path, way):
    name = str(outside) if way == "absolute" else f"../../../outside/{outside.name}"
    change(
        kept,
        ("UPDATE content SET sha256 = ? WHERE sha256 = ?", name, stored(kept, 1).name),
        ("UPDATE record_file SET sha256 = ? WHERE sha256 = ?", name, stored(kept, 1).name),
    )
    result = run("archive", "export", "out", "--with-location")
    assert result.exit_code == 1 and "photo0.jpg" in result.stderr
    assert not any(b"secret" in c for c in files_in(tmp_path / "out").values())
    assert "NOT WHOLE" in run("archive", "verify").stdout


def test_links_are_not_followed(kept, outside, tmp_path):
    """Of one photograph, of a folder of them."""
    link = kept / "photos" / outside.name[:2] / outside.name
    link.parent.mkdir(exist_ok=True)
    link.symlink_to(outside)
    change(
        kept,
        ("INSERT INTO content VALUES (?, ?, '.jpg')", outside.name, outside.stat().st_size),
        ("UPDATE record_file SET sha256 = ? WHERE record = 2", outside.name),
    )
    assert run("archive", "export", "out", "--with-location").exit_code == 1
    assert not any(b"secret" in c for c in files_in(tmp_path / "out").values())
    run("archive", "remove", "2", "--yes")
    assert outside.exists()


def test_a_folder_of_photographs_that_is_a_link_is_not_cleared(kept, outside):
    """Its files would be taken for what killed runs left."""
    (kept / "photos" / outside.name[:2]).symlink_to(outside.parent)
    assert run("archive", "verify", "--repair").exit_code == 0
    assert outside.exists()


def test_photographs_on_another_disk_by_a_link_are_not_touched(kept, tmp_path):
    (kept / "photos").rename(tmp_path / "elsewhere")
    (kept / "photos").symlink_to(tmp_path / "elsewhere")
    before = files_in(tmp_path / "elsewhere")
    (tmp_path / "elsewhere" / "new-mine").write_text("mine")
    result = run("archive", "verify", "--repair")
    assert result.exit_code == 1 and "is a link" in result.stdout
    assert files_in(tmp_path / "elsewhere") == before | {"new-mine": b"mine"}


# --- what is no file ------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["folder", "full folder", "pipe", "link"])
def test_what_lies_in_a_photograph_s_place_blocks_nothing(kept, what, tmp_path):
    path = stored(kept, 0)
    path.unlink()
    if "folder" in what:
        path.mkdir()
        if what == "full folder":
            (path / "mine.txt").write_text("mine")
    elif what == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/dev/zero")
    assert "NOT WHOLE" in no_traceback(in_time("archive", "verify")).stdout
    exported = no_traceback(in_time("archive", "export", "out"))
    assert exported.returncode == 1 and "Joints: 3, photographs: 2." in exported.stdout
    again = no_traceback(in_time("archive", "remeasure", "1"))
    assert again.returncode == 1 and again.stderr.startswith("Refused: record 1:")
    removed = no_traceback(in_time("archive", "remove", "1", "--yes", "--reason", "test"))
    assert "Removed: record 1" in removed.stdout and "Left behind: photos/" in removed.stdout
    assert removed.returncode == 1
    assert no_traceback(in_time("archive", "remove", "2", "--yes")).returncode == 0
    with open_archive(kept) as archive:  # the photograph can be kept again
        keep(archive, jpeg(0))
    result = run("archive", "verify", "--repair")
    assert result.exit_code == 0 and "faults: 0. Whole" in result.stdout, result.output
    if what == "full folder":  # nothing that was in the way is lost
        assert [p.read_text() for p in kept.rglob("mine.txt")] == ["mine"]


@pytest.mark.parametrize("name", [DATABASE, f"{DATABASE}-wal", f"{DATABASE}-journal"])
@pytest.mark.parametrize("what", ["pipe", "link"])
def test_a_database_that_is_no_file(kept, tmp_path, name, what):
    path = kept / name
    if path.exists():
        path.rename(tmp_path / "db")
    if what == "pipe":
        os.mkfifo(path)
    else:
        (tmp_path / "db").touch()
        path.symlink_to(tmp_path / "db")
    before = (tmp_path / "db").read_bytes() if (tmp_path / "db").exists() else b""
    result = no_traceback(in_time("archive", "list"))
    assert result.returncode == 1 and result.stderr.count("\n") == 1
    assert not (tmp_path / "db").exists() or (tmp_path / "db").read_bytes() == before


@pytest.mark.parametrize("what", ["pipe", "device", "link to a device"])
def test_measure_reads_ordinary_files_only(tmp_path, plain_terminal, what):
    path = tmp_path / "level.jpg"
    if what == "pipe":
        os.mkfifo(path)
    elif what == "device":
        path = Path("/dev/zero")
    else:
        path.symlink_to("/dev/zero")
    for args in (["measure", path], ["camera", path]):
        result = no_traceback(in_time(*args))
        assert result.returncode == 1 and "no ordinary file" in result.stderr, result.stderr
    os.mkfifo(tmp_path / "joint.json")
    for args in (
        ["check", "joint.json", "--reading", "30@0"],
        ["report", "joint.json", "--out", "r.html"],
    ):
        result = no_traceback(in_time(*args))
        assert result.returncode == 1 and "no ordinary file" in result.stderr, result.stderr


# --- tables that are not ours ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "sql",
    [
        "PRAGMA user_version = -1", "PRAGMA user_version = 0", "DROP TABLE tombstone",
        "DROP TABLE words", "ALTER TABLE outcome DROP COLUMN remarks",
        "CREATE TRIGGER t AFTER INSERT ON outcome BEGIN DELETE FROM record; END",
    ],
)  # fmt: skip
def test_tables_that_are_not_those_of_an_archive(kept, sql):
    change(kept, (sql,))
    for args in (["list"], ["verify"], ["verify", "--repair"], ["remove", "1", "--yes"]):
        result = run("archive", *args)
        assert result.exit_code == 1 and result.stderr.count("\n") == 1, result.output
        assert "archive.sqlite" in result.stderr


CELLS = [
    "UPDATE record SET set_to_mm = 'wide' WHERE record = 2",
    "UPDATE record SET widest_gap_mm = 9e999 WHERE record = 2",
    "UPDATE record SET building = x'ff00' WHERE record = 2",
    "UPDATE record SET kept_at = 7.5 WHERE record = 2",
    "UPDATE record SET status = 'fine' WHERE record = 2",
    "UPDATE document SET result = x'ff' WHERE record = 2",
    "UPDATE document SET result = '[]' WHERE record = 2",
    "UPDATE document SET result = printf('%.*c', 100000, '[') WHERE record = 2",
    "UPDATE document SET result = json_set(result, '$.photos', 3) WHERE record = 2",
    "UPDATE document SET result = json_set(result, '$.setting', null) WHERE record = 2",
    "UPDATE document SET options = 'null' WHERE record = 2",
    "UPDATE document SET options = json_set(options, '$.units', 'feet') WHERE record = 2",
    "UPDATE document SET options = json_set(options, '$.camera', json('{}')) WHERE record = 2",
    "UPDATE record_file SET name = x'00' WHERE record = 2",
    "UPDATE record_file SET given = 'above' WHERE record = 2",
    "INSERT INTO outcome VALUES (9, 2, '2026-05-20T10:00:00Z', '2026-05-20', 0, 'much', 1, '')",
    "INSERT INTO outcome VALUES (9, 2, x'00', '2026-05-20', 0, 1, 1, '')",
]


@pytest.mark.parametrize("sql", CELLS)
def test_a_damaged_record_is_one_sentence_and_stops_no_other(kept, tmp_path, sql):
    change(kept, (sql,))
    for args in (["list"], ["list", "--csv", "-"], ["search", "lake"], ["outcomes"]):
        result = run("archive", *args)
        assert result.exit_code in (0, 1), (args, result.exception)
        assert not result.exception or isinstance(result.exception, SystemExit)
        if args[0] == "list":
            assert result.stdout.count("Lake house") >= 2
    for args in (["show", "2"], ["show", "2", "--json", "-"], ["remeasure", "2"]):
        result = run("archive", *args)
        assert not result.exception or isinstance(result.exception, SystemExit), args
    assert run("archive", "verify").exit_code == 1
    result = run("archive", "export", "out")
    assert result.exit_code in (0, 1), result.exception
    folders = [p for p in (tmp_path / "out").iterdir() if p.is_dir()]
    assert len(folders) >= 2
    if len(folders) == 2:
        assert result.exit_code == 1 and "record 2" in result.stderr
        assert "record 2" in (tmp_path / "out" / "README.txt").read_text()
    assert run("archive", "remove", "1", "--yes").exit_code == 0


def test_of_options_that_are_absent_the_default_holds(kept):
    change(kept, ("UPDATE document SET options = '{}' WHERE record = 2",))
    assert run("archive", "show", "2").exit_code == 0
    assert run("archive", "verify").exit_code == 0
    assert run("archive", "outcome", "2", "--caliper", "30@0").exit_code == 0
    assert run("archive", "outcomes").exit_code == 0
    assert run("archive", "export", "out").exit_code == 0


def test_records_that_no_list_can_show_are_named(kept):
    change(kept, (CELLS[0],))
    result = run("archive", "list")
    assert "Record 2 cannot be read" in result.stderr and "verify" in result.stderr
    assert json.loads(run("archive", "list", "--json", "-").stdout)["records"][0]["record"] == 3


def test_of_records_that_a_short_list_does_not_come_to_it_says_nothing(kept):
    """All of a hundred thousand would be looked through to list twenty."""
    change(kept, (CELLS[0].replace("= 2", "= 1"),))
    assert "cannot be read" not in run("archive", "list", "--limit", "1").stderr
    for args in ([], ["--limit", "2"], ["--limit", "1", "--csv", "-"]):
        assert "Record 1 cannot be read" in run("archive", "list", *args).stderr


# --- a journal that was lost ----------------------------------------------------------------------


KEPT_AND_KILLED = """
import os, sys
from pathlib import Path
from helpers.archives import jpeg, keep
from gapvision.archive.store import open_archive
with open_archive(Path(sys.argv[1]), create=True) as archive:
    keep(archive, jpeg(7))
    os.kill(os.getpid(), 9)
"""


def test_photographs_of_a_lost_record_are_set_aside_and_named(kept):
    """Of a stick that was pulled, or of which only archive.sqlite was copied."""
    env = os.environ | {"PYTHONPATH": str(TESTS)}
    subprocess.run([sys.executable, "-c", KEPT_AND_KILLED, kept], env=env, timeout=60, check=False)
    for end in ("-wal", "-shm"):
        (kept / f"{DATABASE}{end}").unlink()
    assert run("archive", "list").stdout.count("Lake house") == 3
    name = stored(kept, 7).name
    assert name in run("archive", "verify").stdout and stored(kept, 7).exists()
    result = run("archive", "verify", "--repair")
    assert result.exit_code == 0 and name in result.stdout and "set-aside" in result.stdout
    (aside,) = kept.rglob(f"{name}*")
    assert aside.read_bytes() == jpeg(7) and aside.suffix == ".jpg"
    assert "Set aside earlier: 1 files" in run("archive", "verify", "--repair").stdout
    assert aside.exists()


# --- what a removal says --------------------------------------------------------------------------


def test_a_removal_that_could_not_delete_says_what_it_did(kept, monkeypatch):
    """It said that nothing was kept, and the record was gone."""
    unlink = Path.unlink

    def held(path, missing_ok=False):
        if len(path.name) == 64:
            raise PermissionError(1, "Operation not permitted")
        unlink(path, missing_ok)

    with monkeypatch.context() as held_fast:
        held_fast.setattr(Path, "unlink", held)
        result = run("archive", "remove", "1", "--yes")
    assert result.exit_code == 1 and "Removed: record 1 and 0 files." in result.stdout
    assert "Left behind: photos/" in result.stdout and "not permitted" in result.stdout
    assert stored(kept, 0).exists()
    assert (
        "Removed what interrupted runs left: 1 files."
        in run("archive", "verify", "--repair").stdout
    )
    assert not stored(kept, 0).exists()


def test_a_removal_whose_second_half_found_no_disk_says_so(kept, monkeypatch):
    from gapvision.archive import originals as archive_originals
    from gapvision.archive.store import writing

    def full(archive, *args):
        if args:
            raise archive_originals.MeasurementError("archive-full", "The disk is full.")
        return writing(archive)

    monkeypatch.setattr(archive_originals, "writing", full)
    result = run("archive", "remove", "1", "--yes")
    assert result.exit_code == 1
    assert (
        "Removed: record 1" in result.stdout and "Left behind: The disk is full." in result.stdout
    )


def test_a_user_without_a_name_can_remove(kept, monkeypatch):
    def nameless():
        raise KeyError("getpwuid(): uid not found: 4711")

    monkeypatch.setattr("getpass.getuser", nameless)
    assert run("archive", "remove", "1", "--yes").exit_code == 0
