"""The commands `slip` and `sort`."""

import json
from datetime import timedelta

import numpy as np
import pypdfium2
import pytest
from helpers.commands import run
from helpers.joints import joint
from helpers.rolls import NORTH_3, START, background, save, with_slip

from gapvision.answer.as_json import answer_json, refusal_json
from gapvision.answer.text import crayon_line
from gapvision.errors import CardNotFound

pytestmark = pytest.mark.usefixtures("plain_terminal")
BARN = "--building", "Barn", "--wall", "north"


def text_of(path):
    with pypdfium2.PdfDocument(path) as pdf:
        return " ".join(" ".join(page.get_textpage().get_text_bounded() for page in pdf).split())


def test_slips_of_a_wall():
    result = run("slip", "s.pdf", *BARN, "--logs", "1-3,10", "--log", "sill")
    assert result.exit_code == 0 and result.stdout.startswith("Slips: s.pdf\n"), result.output
    text = text_of("s.pdf")
    assert [f"Log: {name}" in text for name in ("sill", "1", "2", "3", "10")] == [True] * 5
    assert "Log: 4" not in text


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_answer_on_the_slip(tmp_path, units):
    m = joint()
    (tmp_path / "joint.json").write_text(json.dumps(answer_json(m)))
    result = run("slip", "s.pdf", *BARN, "--log", "3", "--json", "joint.json", "--units", units)
    assert result.exit_code == 0, result.output
    line = crayon_line(m, units).removeprefix("CRAYON: ")
    assert line.rpartition(" | ")[0] in text_of("s.pdf")


def test_the_answer_on_the_slip_has_the_units_it_was_measured_in(tmp_path):
    m = joint(units="in")
    (tmp_path / "joint.json").write_text(json.dumps(answer_json(m)))
    assert run("slip", "s.pdf", *BARN, "--log", "3", "--json", "joint.json").exit_code == 0
    assert 'set 1 15/16"' in text_of("s.pdf") and "set 49 " not in text_of("s.pdf")


def test_a_slip_is_not_overwritten_unasked(tmp_path):
    (tmp_path / "s.pdf").write_bytes(b"mine")
    result = run("slip", "s.pdf", *BARN, "--log", "3")
    assert result.exit_code == 1 and "exists already" in result.stderr
    assert (tmp_path / "s.pdf").read_bytes() == b"mine"
    assert run("slip", "s.pdf", *BARN, "--log", "3", "--overwrite").exit_code == 0


def test_a_refused_joint_has_no_answer_to_print(tmp_path):
    refused = refusal_json(CardNotFound("no-card", "No card was found."))
    (tmp_path / "joint.json").write_text(json.dumps(refused))
    result = run("slip", "s.pdf", *BARN, "--log", "3", "--json", "joint.json")
    assert result.exit_code == 1
    assert result.stderr == "Refused: joint.json holds no answer: No card was found.\n"


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ([], "name a log"),
        (["--logs", "a-b"], "are no logs"),
        (["--logs", "5-1"], "are no logs"),
        (["--logs", "1-999"], "at most 200"),
        (["--logs", "1-3", "--json", "joint.json"], "goes with one log"),
        (["--log", "a;b"], "leave out ';'"),
        (["--log", "木"], "no sign for"),
    ],
)
def test_wrong_usage(args, said):
    result = run("slip", "s.pdf", *BARN, *args)
    assert result.exit_code == 2 and said in result.stderr


def test_slips_are_a_pdf():
    result = run("slip", "s.txt", *BARN, "--log", "3")
    assert result.exit_code == 2 and "ends in .pdf" in result.stderr


@pytest.fixture
def roll(tmp_path):
    """A photograph too early, a slip, a photograph."""
    rng = np.random.default_rng(5)
    pictures = background(rng), with_slip(NORTH_3, 0.15, 3, (0.1, 0.0), 1.0, rng), background(rng)
    (tmp_path / "roll").mkdir()
    for k, grey in enumerate(pictures):
        save(tmp_path / f"roll/IMG_{k}.jpg", grey[::2, ::2], START + timedelta(seconds=k))
    return tmp_path / "roll"


def test_a_roll_is_sorted_and_copied(roll):
    result = run("sort", roll, "--copy-to", "joints", "--json", "roll.json")
    assert result.exit_code == 0, result.output
    assert "Log 3, north wall, Barn: 1 photograph\n  IMG_2.jpg\n" in result.stdout
    assert "NOT SORTED:\n- before the first slip: IMG_0.jpg\n" in result.stdout
    assert "check the counts" in " ".join(result.stdout.split())
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert result.stdout.endswith("Next: gapvision measure joints --keep\n")
    copies = [p.as_posix() for p in (roll.parent / "joints").rglob("*.jpg")]
    assert [c.partition("/joints/")[2] for c in copies] == ["Barn/north/3/IMG_2.jpg"]
    groups = json.loads((roll.parent / "roll.json").read_text())
    assert groups["groups"][0]["log"] == "3"
    assert groups["not_sorted"][0]["why"] == "before the first slip"
    again = run("sort", roll, "--copy-to", "joints", "--json", "-")
    assert json.loads(again.stdout)["format"] == "gapvision-roll"
    assert "0 photographs, 1 were there already" in again.stderr


def test_a_roll_without_a_slip(roll):
    (roll / "IMG_1.jpg").unlink()
    result = run("sort", roll)
    assert result.exit_code == 1 and "Of 2 photographs none shows a slip" in result.stderr


def test_a_folder_without_photographs(tmp_path):
    (tmp_path / "empty").mkdir()
    result = run("sort", "empty")
    assert result.exit_code == 1 and "holds no photographs" in result.stderr


def test_a_folder_that_is_not_there():
    result = run("sort", "nowhere")
    assert result.exit_code == 1 and result.stderr.startswith("Refused: There is no nowhere: name")
