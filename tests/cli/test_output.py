"""The command line beside a faked measurement: files, terminals, failures of the picture."""

import io
import json
import sys
from pathlib import Path

import pytest
import typer
from helpers.answers import joint
from helpers.commands import run

from gapvision.cli import terminal
from gapvision.errors import MeasurementError


def failing(error):
    def measure(*args, **kwargs):
        raise error

    return measure


@pytest.fixture
def measured(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gapvision.spine.measure", lambda *_: joint())


def test_json_into_a_folder(measured):
    result = run("measure", "b.jpg", "--json", ".", "--overwrite")
    assert result.exit_code == 1
    assert "is a folder" in result.stderr


def test_answer_stands_where_the_picture_fails(measured, monkeypatch):
    error = MeasurementError("not-written", "The disk is full.")
    monkeypatch.setattr("gapvision.answer.picture.picture.write_picture", failing(error))
    result = run("measure", "a.jpg", "--picture", "a.jpg", "--json", "a.json")
    assert result.exit_code == 1
    assert result.stdout.startswith("SET ")
    assert json.loads(Path("a.json").read_text())["status"] == "measured"


def test_a_bug_keeps_its_traceback(measured, monkeypatch):
    monkeypatch.setattr("gapvision.spine.measure", failing(ZeroDivisionError()))
    assert isinstance(run("measure", "a.jpg").exception, ZeroDivisionError)


def test_cards_of_no_such_paper_or_number(tmp_path):
    for args in (["--count", "0"], ["--first", "40"], ["--paper", "a3"], ["--first", "one"]):
        assert run("card", tmp_path / "cards.pdf", *args).exit_code == 2
    assert not (tmp_path / "cards.pdf").exists()


def test_demo_prints_what_it_returns(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        "gapvision.cli.demo_joint.run_demo",
        lambda folder, units, whole_log, progress: f"{folder} {units} {whole_log}",
    )
    result = run("demo", "--units", "in")
    assert (result.exit_code, result.stdout) == (0, f"{tmp_path} in False\n")
    result = run("demo", "--whole-log")
    assert (result.exit_code, result.stdout) == (0, f"{tmp_path} mm True\n")


class Terminal(io.TextIOWrapper):
    def isatty(self):
        return True


@pytest.mark.parametrize(("encoding", "sign"), [("ascii", "+-"), ("utf-8", "±")])
def test_terminals_without_a_plus_minus_sign(monkeypatch, encoding, sign):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding))
    terminal.say("47 ± 1 mm, level.jpg")
    sys.stdout.flush()
    assert raw.getvalue().decode(encoding) == f"47 {sign} 1 mm, level.jpg\n"


def test_file_names_that_are_no_unicode(monkeypatch):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stderr", io.TextIOWrapper(raw, encoding="utf-8"))
    terminal.say("joint\udce9.jpg", err=True)
    sys.stderr.flush()
    assert raw.getvalue() == b"joint\\udce9.jpg\n"


def test_a_refusal_is_wrapped_for_people_and_one_line_for_programs(monkeypatch):
    long = "It shows no card, and one printed card must hang whole and flat in each. " * 3
    for stream, lines in ((Terminal(io.BytesIO(), encoding="utf-8"), 3), (io.StringIO(), 1)):
        monkeypatch.setattr(sys, "stderr", stream)
        with pytest.raises(typer.Exit), terminal.exit_status():
            raise MeasurementError("no-card", long.strip())
        stream.flush()
        stream.seek(0)
        said = stream.read().splitlines()
        assert len(said) == lines and " ".join(said) == f"Refused: {long.strip()}"
        assert lines == 1 or max(map(len, said)) <= 80


@pytest.mark.parametrize(("photos", "shown"), [(1, False), (3, True)])
def test_progress_only_for_several_photographs(monkeypatch, photos, shown):
    raw = io.BytesIO()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", Terminal(raw, encoding="utf-8"))
    with terminal.progress_bar() as progress:
        for done in range(1, photos + 1):
            progress(done, photos)
    sys.stderr.flush()
    assert (f"{photos}/{photos}" in raw.getvalue().decode()) is shown


def test_no_progress_where_nobody_looks(monkeypatch):
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with terminal.progress_bar() as progress:
        assert progress is None


def test_colour_only_on_terminals_that_want_it(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr(sys, "stdout", Terminal(io.BytesIO()))
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    assert terminal.in_color(err=False)
    assert not terminal.in_color(err=True)
    monkeypatch.setenv("NO_COLOR", "1")
    assert not terminal.in_color(err=False)


@pytest.mark.parametrize("command", ["measure", "card", "plan", "demo", "field-test"])
def test_help_fits_plain_terminals(command):
    result = run(command, "--help")
    assert result.exit_code == 0
    assert f"  gapvision {command}" in result.stdout
    assert result.stdout.isascii()
    assert max(map(len, result.stdout.splitlines())) <= 80
