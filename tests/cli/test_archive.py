"""The archive on the command line: keeping, finding, telling, removing; one sentence for bad input."""

import csv
import hashlib
import io
import json
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
import typer
from helpers.archives import jpeg, new_record
from helpers.commands import run
from helpers.joints import joint, photo

from gapvision.archive.export import Exported
from gapvision.archive.originals import path_of
from gapvision.archive.query import load_record
from gapvision.archive.record import add_record
from gapvision.archive.store import open_archive
from gapvision.archive.text import record_text
from gapvision.cli.archive.group import app as archive_app

pytestmark = pytest.mark.usefixtures("plain_terminal")

JOINT = ("--building", "Lake house", "--wall", "north", "--log", "3")


@pytest.fixture
def measured(monkeypatch, tmp_path):
    """A photograph on the disk, of which the answer is made up and the picture not drawn."""
    path = tmp_path / "level.jpg"
    path.write_bytes(jpeg())
    shown = photo(str(path), sha256=hashlib.sha256(jpeg()).hexdigest())
    monkeypatch.setattr("gapvision.spine.measure", lambda *_: joint(photos=(shown,)))
    monkeypatch.setattr(
        "gapvision.answer.picture.picture.draw_picture", lambda *_: np.zeros((8, 8, 3), np.uint8)
    )
    return path


@pytest.fixture
def three():
    """Three records in the archive that the environment names."""
    with open_archive(create=True) as archive:
        for n, status in enumerate(("measured", "doubtful", "measured")):
            add_record(archive, new_record((jpeg(n),), status=status))


def refused(result, match):
    assert result.exit_code == 1, result.output
    assert result.stderr.startswith("Refused: ") and match in result.stderr
    assert result.stderr.count("\n") == 1 and "Traceback" not in result.output
    return True


# --- keeping --------------------------------------------------------------------------------------


def test_a_joint_is_kept_with_everything(measured, tmp_path):
    result = run("measure", measured, "--cover", "75", "--keep", *JOINT)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("SET ")
    assert "Kept: record 1, Lake house, wall north, log 3, revision 1" in result.stderr
    shown = json.loads(run("archive", "show", "1", "--json", "-").stdout)
    assert (shown["building"], shown["wall"], shown["log"]) == ("Lake house", "north", "3")
    assert shown["options"]["cover_mm"] == 75.0
    assert [f["role"] for f in shown["files"]] == ["photograph", "picture"]
    assert shown["result"]["photos"][0]["file"] == "level.jpg"
    assert (tmp_path / "archive" / "archive.sqlite").is_file()
    assert run("archive", "verify").exit_code == 0


def test_kept_again_is_another_revision(measured):
    run("measure", measured, "--keep", *JOINT)
    assert "revision 2" in run("measure", measured, "--keep", *JOINT).stderr


def test_an_archive_named_by_its_folder(measured, tmp_path):
    result = run("measure", measured, "--keep", *JOINT, "--archive", "other")
    assert result.exit_code == 0 and (tmp_path / "other" / "archive.sqlite").is_file()
    assert "Lake house" in run("archive", "list", "--archive", "other").stdout
    refused(run("archive", "list"), "There is no archive")


@pytest.mark.parametrize(
    ("args", "match"),
    [
        (["--keep"], "--building, --wall, --log"),
        (["--keep", "--building", "a", "--log", "3"], "--wall"),
        (["--keep", "--building", "a", "--wall", " ", "--log", "3"], "cannot name the wall"),
        (["--keep", "--building", "a" * 81, "--wall", "b", "--log", "3"], "has 81 letters"),
        (["--wall", "north"], "--wall"),
        (["--archive", "there"], "--archive"),
    ],
)
def test_keeping_needs_the_joint_and_the_joint_needs_keeping(asked, args, match, tmp_path):
    result = run("measure", "level.jpg", *args)
    assert result.exit_code == 2 and match in result.stderr
    assert not asked and not (tmp_path / "archive").exists()


def test_an_archive_that_cannot_be_opened_is_refused_before_any_work(asked):
    Path("kept").mkdir()
    Path("kept/archive.sqlite").write_text("no database" * 100)
    result = run("measure", "a.jpg", "--keep", *JOINT, "--archive", "kept")
    assert result.exit_code == 1 and "damaged or no archive" in result.stderr
    assert not asked


def test_the_answer_stands_where_keeping_fails(measured):
    measured.unlink()
    result = run("measure", measured, "--keep", *JOINT)
    assert result.stdout.startswith("SET ")
    refused(result, "level.jpg")


# --- finding --------------------------------------------------------------------------------------


def test_lists_are_filtered(three):
    today = date.today()
    for args, count in (
        ((), 3),
        (("--status", "doubtful"), 1),
        (("--gap", "37..39"), 3),
        (("--gap", "..1in"), 0),
        (("--setting", "50.."), 0),
        (("--since", today), 3),
        (("--until", today - timedelta(days=1)), 0),
        (("--since", today + timedelta(days=1)), 0),
        (("--wall", " NORTH "), 3),
        (("--limit", 2), 2),
    ):
        result = run("archive", "list", *args)
        assert result.exit_code == 0
        assert result.stdout.count("Lake house") == count, args
    assert run("archive", "search", "lake", "nor").stdout.count("Lake house") == 3


def test_lists_for_programs_and_spreadsheets(three):
    said = json.loads(run("archive", "list", "--json", "-").stdout)
    assert (said["format"], said["version"]) == ("gapvision-archive-list", 1)
    assert [r["record"] for r in said["records"]] == [3, 2, 1]
    result = run("archive", "search", "lake", "--csv", "joints.csv")
    assert result.stdout == "Written: joints.csv\n"
    text = Path("joints.csv").read_bytes().decode("utf-8-sig")
    assert [r["record"] for r in csv.DictReader(io.StringIO(text))] == ["3", "2", "1"]
    before = Path("joints.csv").read_bytes()
    refused(run("archive", "list", "--csv", "joints.csv", "--limit", "1"), "exists already")
    assert Path("joints.csv").read_bytes() == before
    assert run("archive", "list", "--csv", "joints.csv", "--overwrite").exit_code == 0
    assert sorted(p.name for p in Path().iterdir()) == ["archive", "joints.csv"]


@pytest.mark.parametrize(
    ("args", "match"),
    [
        (["list", "--gap", "40"], "write 30..45"),
        (["list", "--gap", "50..40"], "exchange"),
        (["list", "--gap", ".."], "write 30..45"),
        (["list", "--since", "31.5.2026"], "2026-05-31"),
        (["list", "--status", "fine"], "fine"),
        (["list", "--json", "-", "--csv", "-"], "standard output"),
        (["search", "--", "--"], "WORD"),
        (["outcome", "1"], "--caliper 46.8@310"),
        (["outcome", "1", "--caliper", "46.8"], "41.5@1200"),
        (["outcome", "1", "--trial", "78@310"], "setting and the width"),
        (["outcome", "1", "--open", "900"], "two places"),
        (["outcome", "1", "--setting-used", "0"], "above zero"),
        (["outcome", "1", "--date", "May", "--remarks", "x"], "2026-05-31"),
        (["outcome", "1", "--date", "2999-01-01", "--remarks", "x"], "still to come"),
        (["remeasure"], "name records"),
        (["show", "one"], "RECORD"),
    ],
)
def test_wrong_usage(three, args, match):
    result = run("archive", *args)
    assert result.exit_code == 2
    assert match in result.stderr and "Traceback" not in result.output


@pytest.mark.parametrize("number", ["9", "9" * 30])
@pytest.mark.parametrize("command", ["show", "outcome", "export", "remeasure", "remove"])
def test_records_that_are_not_there(three, command, number):
    args = {
        "outcome": [number, "--remarks", "x"],
        "export": ["out", "1", number],
        "remove": ["1", number, "--yes"],
    }
    refused(run("archive", command, *args.get(command, [number])), f"no record {number}")
    assert not Path("out").exists()
    assert run("archive", "show", "1").exit_code == 0


@pytest.mark.parametrize(
    "told", [["--caliper", "38@99999"], ["--trial", "49:78@-99999"], ["--caliper", "38@-99999"]]
)
def test_what_was_read_where_nothing_was_measured(three, told):
    refused(run("archive", "outcome", "1", *told), "99999 mm was not measured")
    assert "What was told later" not in run("archive", "show", "1").stdout


@pytest.mark.parametrize(
    ("told", "match"),
    [
        (["--narrowest-cover", "3"], "A cover of 3 mm was told (that many inches or centimetres?"),
        (["--narrowest-cover", "0.076"], "(that many metres? write 76mm)"),
        (["--narrowest-cover", "900"], "10 to 360 mm are possible"),
        (["--setting-used", "2"], "A setting of 2 mm was told (that many inches or centimetres?"),
        (["--setting-used", "49in"], "(that many mm? write 49mm)"),
        (["--trial", "49:3@0"], "A trial line's width of 3 mm was told (that many inches"),
        (["--trial", "2:78@0"], "A trial line's setting of 2 mm"),
        (["--caliper", "38in@0"], "(that many mm? write 38mm)"),
    ],
)
def test_what_cannot_have_come_of_a_joint_is_refused_with_the_likely_unit(three, told, match):
    refused(run("archive", "outcome", "1", *told), match)
    assert "What was told later" not in run("archive", "show", "1").stdout


# --- telling --------------------------------------------------------------------------------------


def test_outcomes_are_told_and_summed_up(three):
    result = run(
        "archive", "outcome", "1", "--setting-used", "49", "--caliper", "38@widest",
        "--caliper", "1 1/4in@0~0.3mm", "--trial", "49:78@0", "--narrowest-cover", "79",
        "--open", "200,100", "--remarks", "a knot", "--date", "2026-05-20", "--units", "mm",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines() == [
        "Told of record 1 by now:",
        "  Date              2026-05-20",
        "  Setting used      49 mm",
        "  Narrowest cover   79 mm",
        "  Caliper           31.8 mm at 0 mm",
        "  Caliper           38 mm at 310 mm",
        "  Trial line        78 mm at 0 mm, set to 49 mm",
        "  Open              from 100 mm to 200 mm",
        "  Remarks           a knot",
    ]
    assert "a knot" in run("archive", "show", "1").stdout
    summary = run("archive", "outcomes")
    assert "Joints with outcomes: 1." in summary.stdout
    said = json.loads(run("archive", "outcomes", "--json", "-").stdout)
    assert {kind: d["n"] for kind, d in said["differences"].items()} == {
        "gap": 1, "trial": 1, "cover": 1,
    }  # fmt: skip
    assert run("archive", "outcome", "1", "--instead").stdout.count("\n") == 2


# --- removing, checking, exporting, measuring again -----------------------------------------------


def test_a_stored_joint_still_says_to_lower_first(three):
    with open_archive() as archive:
        stored = load_record(archive, 1)
    lowering = {"ready": False, "left_mm": 0.0, "right_mm": 12.0, "wanted_widest_mm": 30.0}
    told = replace(stored, result=stored.result | {"decision": {"lowering": lowering}})
    text = record_text(told, (), [], "mm")
    assert "\nLOWER FIRST: right notch 12 mm, then measure again\n" in text
    assert "LOWER IT FIRST" not in text and "handbooks" not in text.split("Widest gap")[0]
    assert max(map(len, text.splitlines())) <= 80
    assert "LOWER" not in record_text(stored, (), [], "mm")


def test_removing_asks(three):
    assert run("archive", "remove", "2", input="n\n").exit_code == 1
    assert run("archive", "remove", "2").exit_code == 1  # nobody there to answer
    assert run("archive", "list").stdout.count("Lake house") == 3
    result = run("archive", "remove", "2", "--reason", "wrong wall", "--by", "me", input="y\n")
    assert result.exit_code == 0 and "Removed: record 2 and 1 files." in result.stdout
    refused(run("archive", "show", "2"), "by me: wrong wall")


def test_verify_is_status_1_on_a_fault(three, tmp_path):
    assert "faults: 0. Whole" in run("archive", "verify").stdout
    photographs = [p for p in (tmp_path / "archive" / "photos").rglob("*") if p.is_file()]
    photographs[0].write_bytes(b"rot")
    (tmp_path / "archive" / "photos" / "new-half").touch()
    result = run("archive", "verify")
    assert result.exit_code == 1
    assert photographs[0].name in result.stdout and "NOT WHOLE" in result.stdout
    assert "--repair" in result.stdout
    result = run("archive", "verify", "--repair")
    assert "Removed what interrupted runs left: 1 files." in result.stdout and result.exit_code == 1


def test_export_says_what_is_not_in_it(three, monkeypatch):
    done = Exported(1, 0, ("a.tif is a TIFF.",), ())
    monkeypatch.setattr("gapvision.archive.export.export", lambda *_: done)
    result = run("archive", "export", "out.zip")
    assert result.exit_code == 0 and "Not exported: a.tif is a TIFF." in result.stderr
    monkeypatch.setattr("gapvision.archive.export.export", lambda *_: Exported(1, 0, (), ("x",)))
    assert run("archive", "export", "out.zip").exit_code == 1


def test_measuring_again_beside_the_stored_answer(measured):
    run("measure", measured, "--keep", *JOINT)
    measured.unlink()  # the archive has its own
    result = run("archive", "remeasure", "1")
    assert result.exit_code == 0, result.output
    assert "Set to            49 mm                   the same" in result.stdout
    assert run("archive", "list").stdout.count("Lake house") == 1


def test_measuring_again_from_the_stored_files_and_keeping_it(measured, monkeypatch):
    run("measure", measured, "--reading", "38@310", "--keep", *JOINT)
    seen = []

    def measure(options, progress=None):
        seen.append(options)
        assert [p.read_bytes() for p in options.photos] == [jpeg()]
        found = joint(set_to_mm=51.0)
        shown = replace(found.photos[0], file=str(options.photos[0]))
        return replace(found, photos=(shown,))

    monkeypatch.setattr("gapvision.spine.measure", measure)
    monkeypatch.setattr(
        "gapvision.archive.record.source_files", lambda options, photos, picture: ()
    )
    result = run("archive", "remeasure", "--building", "lake house", "--keep")
    assert result.exit_code == 0, result.output
    assert "49 mm                   51 mm" in result.stdout
    assert "Kept as record 2, revision 2." in result.stdout
    assert seen[0].by_hand.readings[0].value_mm == 38.0 and seen[0].photos[0].name == "level.jpg"
    assert not seen[0].photos[0].exists()
    assert json.loads(run("archive", "show", "2", "--json", "-").stdout)["remeasured"] == 1


def test_a_refusal_does_not_stop_the_others(three, monkeypatch, tmp_path):
    monkeypatch.setattr("gapvision.spine.measure", lambda *_: joint())
    with open_archive() as archive:
        (sha256,) = archive.db.execute("SELECT sha256 FROM record_file WHERE record = 2").fetchone()
        path_of(archive, sha256).unlink()
    result = run("archive", "remeasure", "1", "2", "3", "--jobs", "1")
    assert result.exit_code == 1
    assert result.stdout.count("the same") >= 8
    assert result.stderr.startswith("Refused: record 2: ") and result.stderr.count("\n") == 1
    assert result.stdout.splitlines()[-1].startswith("3 records: ")
    assert result.stdout.splitlines()[-1].endswith("the same, 1 not measured.")


def test_of_many_only_a_line_each_and_again_only_what_is_not_kept(measured, three, monkeypatch):
    monkeypatch.setattr("gapvision.cli.archive.remeasure.IN_FULL", 2)
    monkeypatch.setattr("gapvision.spine.measure", lambda *_: joint(set_to_mm=52.0))
    monkeypatch.setattr("gapvision.archive.record.source_files", lambda *_: ())
    args = ("archive", "remeasure", "--building", "Lake house", "--keep", "--jobs", "1")
    result = run(*args)
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert "set mm" in lines[0] and lines[1].startswith("     1 Lake house/north/3 ")
    assert all("49 > 52" in line for line in lines[1:4]) and lines[2].endswith("measured")
    assert lines[4:] == ["", "3 records: 3 changed, 0 the same."]
    again = run(*args)
    assert again.stdout.splitlines()[-1].endswith("3 of them measured again before.")
    assert run("archive", "list").stdout.count("Lake house") == 6
    named = run("archive", "remeasure", "1", "--keep", "--jobs", "1")
    assert "Kept before as record" in named.stdout and "not measured again" in named.stdout


@pytest.mark.parametrize(
    ("args", "said"),
    [(["--shared"], "goes with --cluster"), (["--cluster", "a", "--jobs", "2"], "leave one")],
)
def test_what_does_not_go_with_a_cluster_is_wrong_usage(three, args, said):
    result = run("archive", "remeasure", "1", *args)
    assert result.exit_code == 2 and said in result.stderr


# --- start-up -------------------------------------------------------------------------------------


def test_listing_loads_neither_arrays_nor_pictures(three):
    """What makes a program start slowly; `tests/studies/archive_benchmark.py` has the times."""
    code = (
        "import sys; from gapvision.cli import main as cli; sys.argv = ['gapvision', 'archive', 'list'];\n"
        "try: cli.main()\nexcept SystemExit: pass\n"
        "print(*{'numpy', 'cv2', 'scipy', 'PIL', 'rich', 'jinja2'} & set(sys.modules))"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    ).stdout
    assert told.count("Lake house") == 3 and told.splitlines()[-1] == ""


@pytest.mark.parametrize("command", typer.main.get_command(archive_app).commands)
def test_help_fits_plain_terminals(command, monkeypatch):
    monkeypatch.delenv("COLUMNS")
    result = run("archive", command, "--help")
    assert result.exit_code == 0 and f"  gapvision archive {command}" in result.stdout
    assert result.stdout.isascii() and max(map(len, result.stdout.splitlines())) <= 80
