"""The command `report`: what goes in, what comes out, and what is refused."""

import hashlib
import json
from pathlib import Path

import pypdfium2
import pytest
from helpers.commands import run
from helpers.joints import joint
from helpers.reports import picture, telling_photo

from gapvision.answer.as_json import answer_json, stamped
from gapvision.archive.originals import path_of
from gapvision.archive.outcome import Outcome, add_outcome
from gapvision.archive.record import NewRecord, SourceFile, add_record
from gapvision.archive.store import open_archive
from gapvision.inputs.joint_name import parse_joint_name

pytestmark = pytest.mark.usefixtures("plain_terminal")


@pytest.fixture
def measured(tmp_path):
    """A measurement's JSON beside its photograph."""
    answer = answer_json(joint())
    photo = telling_photo(tmp_path / "joint.jpg")
    answer["photos"][0]["sha256"] = hashlib.sha256(photo.read_bytes()).hexdigest()
    (tmp_path / "joint.json").write_text(json.dumps(answer))
    (tmp_path / "picture.jpg").write_bytes(picture())
    return tmp_path / "joint.json"


def kept(*logs, revision=1, units="mm"):
    """Records in the archive, their numbers in order."""
    numbers = []
    with open_archive(create=True) as archive:
        for log in logs:
            answer = answer_json(joint(units=units))
            answer["setting"]["set_to_mm"] = 49.0 + revision
            files = (
                SourceFile(telling_photo(Path("kept.jpg")), "joint.jpg", "photograph", "photos"),
                SourceFile(picture(), "picture.jpg", "picture"),
            )
            new = NewRecord(parse_joint_name("Barn", "north", log), {"units": units}, answer, files)
            numbers.append(add_record(archive, new).record)
        add_outcome(archive, numbers[0], Outcome("2026-06-01", 50.0, 76.0, "closed well"))
    return numbers


def test_html_of_a_json_file(measured):
    result = run(
        "report", measured, "--out", "r.html", "--picture", "picture.jpg",
        "--building", "Barn", "--wall", "north", "--log", "3",
    )  # fmt: skip
    assert result.exit_code == 0 and result.stdout == "Report: r.html\n", result.output
    text = measured.with_name("r.html").read_text(encoding="utf-8")
    assert "Log 3, north wall, Barn" in text and text.count("data:image/jpeg;base64,") == 2


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.28, 841.89)), ("letter", (612, 792))])
def test_pdf_of_a_json_file(measured, paper, size):
    result = run("report", measured, "--out", "r.pdf", "--paper", paper, "--units", "in")
    assert result.exit_code == 0, result.output
    with pypdfium2.PdfDocument(measured.with_name("r.pdf")) as pdf:
        assert pdf[0].get_size() == pytest.approx(size, abs=0.1)
        assert "1 15/16 in" in pdf[0].get_textpage().get_text_bounded()


@pytest.mark.parametrize(("asked", "setting"), [([], "1 15/16 in"), (["--units", "mm"], "49 mm")])
def test_a_report_has_the_units_that_the_joint_was_measured_in(measured, asked, setting):
    """Its things to do and its picture are in those, and one page has one unit unless asked."""
    measured.write_text(json.dumps(answer_json(joint(units="in"))))
    assert run("report", measured, "--out", "r.html", *asked).exit_code == 0
    text = measured.with_name("r.html").read_text(encoding="utf-8")
    assert setting in text.replace("\xa0", " ")


def test_a_kept_joint_is_shown_and_reported_in_its_own_units(tmp_path):
    kept("3", units="in")
    assert "SET 2 in" in run("archive", "show", "1").stdout
    assert "SET 50 mm" in run("archive", "show", "1", "--units", "mm").stdout
    assert run("report", "1", "--out", "r.html").exit_code == 0
    assert "SET 2 in" in (tmp_path / "r.html").read_text(encoding="utf-8").replace("\xa0", " ")


def test_several_files_make_a_wall(measured):
    other = measured.with_name("log4.json")
    other.write_bytes(measured.read_bytes())
    assert run("report", measured, other, "--out", "w.html", "--wall", "north").exit_code == 0
    text = measured.with_name("w.html").read_text(encoding="utf-8")
    assert "<h1>North wall</h1>" in text
    assert ">joint</td>" in text and ">log4</td>" in text  # by the files' names
    run("report", measured, other, "--out", "n.html", "--log", "3", "--log", "4")
    assert ">4</td>" in measured.with_name("n.html").read_text(encoding="utf-8")


def test_photographs_that_are_gone_are_named(measured):
    measured.with_name("joint.jpg").rename(measured.with_name("away.jpg"))
    result = run("report", measured, "--out", "r.html")
    assert result.exit_code == 0
    assert result.stderr == "Left out: joint.jpg: not found.\n"
    folder = measured.parent / "moved"
    folder.mkdir()
    measured.with_name("away.jpg").rename(folder / "joint.jpg")
    assert not run("report", measured, "--out", "s.html", "--photos", folder).stderr


def test_nothing_is_overwritten_unasked(measured):
    out = measured.with_name("r.html")
    out.write_text("mine")
    result = run("report", measured, "--out", out)
    assert result.exit_code == 1 and "exists already" in result.stderr
    assert out.read_text() == "mine"
    assert run("report", measured, "--out", out, "--overwrite").exit_code == 0


def test_when_and_by_which_program_stands_in_the_json(measured):
    answer = stamped(json.loads(measured.read_text()), "2026-05-14T11:12:33+02:00")
    measured.write_text(json.dumps(answer | {"program_version": "0.9.9"}))
    assert run("report", measured, "--out", "r.html").exit_code == 0
    text = measured.with_name("r.html").read_text(encoding="utf-8")
    assert "2026-05-14 11:12 (UTC+02:00)" in text and "gapvision 0.9.9" in text
    for wrong in ("2026-05-14T11:12:33", "May", 5):
        measured.write_text(json.dumps(answer | {"measured_at": wrong}))
        result = run("report", measured, "--out", "s.html")
        assert result.exit_code == 1 and "joint.json is damaged: measured_at" in result.stderr


def test_a_stored_photograph_that_is_damaged_is_left_out():
    (number,) = kept("3")
    with open_archive() as archive:
        path = path_of(archive, hashlib.sha256(Path("kept.jpg").read_bytes()).hexdigest())
    content = bytearray(path.read_bytes())
    content[-100] ^= 1  # still a picture, though another
    path.write_bytes(content)
    result = run("report", number, "--out", "r.html")
    assert result.exit_code == 0 and "joint.jpg: missing or damaged" in result.stderr
    assert Path("r.html").read_text(encoding="utf-8").count("data:image/jpeg;base64,") == 1


def test_a_record_of_the_archive():
    (number,) = kept("3")
    result = run("report", number, "--out", "r.html")
    assert result.exit_code == 0, result.output
    with open("r.html", encoding="utf-8") as file:
        text = file.read()
    for said in ("Log 3, north wall, Barn", "50\xa0mm", "closed well", "gapvision 0."):
        assert said in text
    assert text.count("data:image/jpeg;base64,") == 2


def test_a_wall_of_the_archive_by_the_latest_of_each_log():
    kept("3", "4", "10")
    kept("4", revision=2)
    result = run("report", "--building", "Barn", "--wall", "north", "--out", "w.pdf")
    assert result.exit_code == 0, result.output
    with pypdfium2.PdfDocument("w.pdf") as pdf:
        text = " ".join(pdf[0].get_textpage().get_text_bounded().split())
    at = "440 mm left of card 1 38.0 ± 1.8 mm"
    outcome = "set 50 mm; narrowest 76 mm; closed well"
    told = f"3 SET 50 mm 75 mm {at} {outcome} 4 SET 51 mm 75 mm {at} {outcome} 10"
    assert told in text and f"10 SET 50 mm 75 mm {at} not told" in text
    result = run("report", "--building", "Barn", "--wall", "north", "--log", "4", "--out", "j.html")
    assert result.exit_code == 0
    with open("j.html", encoding="utf-8") as file:
        assert "<h1>Log 4, north wall, Barn</h1>" in file.read()


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["none.json", "--out", "r.html"], "none.json cannot be read"),
        (["joint.jpg", "--out", "r.html"], "joint.jpg is no JSON"),
        (["joint.json", "--out", "none/r.html"], "There is no folder none"),
        (["joint.json", "--out", "r.html", "--picture", "joint.json"], "is no picture"),
        (["7", "--out", "r.html"], "There is no archive"),
        (["--building", "B", "--wall", "w", "--out", "r.html"], "There is no archive"),
    ],
)
def test_refusals_are_one_sentence(measured, args, said):
    result = run("report", *args)
    assert result.exit_code == 1 and result.stderr.startswith("Refused: ")
    assert said in result.stderr and result.stderr.count("\n") == 1
    assert not measured.with_name("r.html").exists()


@pytest.mark.parametrize(
    ("find", "put"),
    [
        ('"readings": []', '"readings": [{"u_mm": {}, "E_n": "much", "looks_like": null}]'),
        ('"readings": []', '"decision": {"covers": [{"cover_mm": "wide"}]}, "readings": []'),
        ('"value_mm": 38.0', '"value_mm": NaN'),
    ],
)
def test_damaged_files_are_refused(measured, find, put):
    text = measured.read_text()
    assert find in text
    measured.write_text(text.replace(find, put, 1).replace('"decision": null', '"x": null'))
    result = run("report", measured, "--out", "r.html")
    assert result.exit_code == 1 and result.exception.code == 1
    assert "joint.json is " in result.stderr and result.stderr.count("\n") == 1


def test_records_that_are_not_there():
    kept("3")
    assert "no record 99" in run("report", "99", "--out", "r.html").stderr
    missing = run("report", "--building", "Barn", "--wall", "south", "--out", "r.html")
    assert missing.exit_code == 1 and "no record of wall south of Barn" in missing.stderr


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ([], "name a JSON file"),
        (["--building", "Barn"], "name a JSON file"),
        (["joint.json", "7"], "not both"),
        (["7", "--wall", "north"], "records know their joint"),
        (["7", "--picture", "picture.jpg"], "the archive has its own"),
        (["joint.json", "--archive", "a"], "not with files"),
        (["joint.json", "joint.json", "--picture", "picture.jpg"], "goes with one joint"),
        (["joint.json", "joint.json", "--log", "3"], "1 for 2 files"),
        (["joint.json", "--photos", "none"], "there is no folder none"),
    ],
)
def test_wrong_usage(measured, args, said):
    result = run("report", *args, "--out", "r.html")
    assert result.exit_code == 2 and said in result.stderr


def test_a_report_is_html_or_pdf(measured):
    result = run("report", measured, "--out", "r.txt")
    assert result.exit_code == 2 and ".html or .pdf" in result.stderr
