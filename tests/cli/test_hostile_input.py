"""What nobody should type, and pictures that no camera takes: one sentence, never a traceback."""

import json
import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from helpers.archives import keep
from helpers.commands import run
from helpers.measured import answer as measured

from gapvision.answer.as_json import answer_json, stamped
from gapvision.archive.store import open_archive
from gapvision.cli import main as cli

LONG = "n" * 300
NO_TEXT = "\udcff"  # a byte that is no UTF-8, as Python has it from the command line


@pytest.fixture(autouse=True)
def here(plain_terminal):
    with open_archive(create=True) as archive:
        keep(archive)


def one_sentence(result, status=1):
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code == status, result.output
    if status == 1:
        assert result.stderr.count("\n") == 1 and result.stderr.startswith("Refused: ")
    return result


@pytest.mark.parametrize("long", [LONG, "9" * 5000, "a/" * 3000, "f" * 300 + "/a.jpg"])
@pytest.mark.parametrize(
    "args",
    [
        ["measure", "{}"], ["measure", "level.jpg", "--json", "{}"], ["measure", "level.jpg", "--picture",
        "{}.jpg"], ["measure", "level.jpg", "--outlines", "{}"], ["camera", "{}"], ["sort", "{}"],
        ["measure", "level.jpg", "--inside", "{}"], ["report", "{}", "--out", "r.html"],
        ["report", "1", "--out", "{}.html"], ["check", "{}", "--reading", "30@0"],
        ["card", "{}"], ["archive", "export", "{}"], ["archive", "list", "--archive", "{}"],
        ["archive", "list", "--csv", "{}"], ["archive", "show", "1", "--json", "{}"],
        ["plan", "--length", "3000", "--json", "{}"], ["field-test", "{}"],
    ],
)  # fmt: skip
def test_names_that_are_too_long(args, long, monkeypatch):
    if "level.jpg" in args and "--inside" not in args:
        monkeypatch.setattr("gapvision.spine.measure", lambda *_: pytest.fail("was measured"))
    cv2.imwrite("level.jpg", np.zeros((8, 8), np.uint8))
    result = run(*(a.format(long) for a in args))
    assert isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (1, 2) and "Traceback" not in result.output


@pytest.mark.parametrize(
    "args",
    [
        ["list", "--until", "9999-12-31"], ["list", "--since", "0001-01-01"],
        ["list", "--limit", "9" * 20], ["list", "--building", NO_TEXT], ["search", NO_TEXT + "a"],
    ],
)  # fmt: skip
def test_dates_numbers_and_names_at_the_end_of_what_there_is(args, monkeypatch):
    for zone in ("UTC", "Pacific/Kiritimati", "Pacific/Pago_Pago"):
        monkeypatch.setenv("TZ", zone)
        result = run("archive", *args)
        assert result.exit_code == 0, result.exception
        assert ("Lake house" in result.stdout) == (NO_TEXT not in args[-1])


def test_a_year_of_three_digits_is_before_those_of_four():
    assert "Lake house" in run("archive", "list", "--since", "0999-01-01").stdout
    assert "No record" in run("archive", "list", "--until", "0999-01-01").stdout


@pytest.mark.parametrize(
    "args",
    [
        ["outcome", "1", "--remarks"],
        ["remove", "1", "--yes", "--reason"],
        ["remove", "1", "--yes", "--by"],
    ],
)
def test_words_that_are_no_text_are_refused(args):
    one_sentence(run("archive", *args, NO_TEXT), status=2)
    assert "Lake house" in run("archive", "list").stdout


@pytest.mark.parametrize("args", [["show"], ["remeasure"], ["export", "out"], ["remove", "--yes"]])
@pytest.mark.parametrize("number", ["9" * 20, "-" + "9" * 20])
def test_numbers_that_no_record_has(args, number):
    words = ["archive", *args, "--", number]
    one_sentence(run(*words))


@pytest.mark.parametrize("size", [(65000, 10), (10, 65000), (11, 30000), (60000, 5)])
@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_pictures_that_no_camera_takes(size, suffix):
    noise = np.random.default_rng(1).integers(0, 255, (size[1], size[0], 3), np.uint8)
    cv2.imwrite(f"strip.{suffix}", noise)
    for command in ("measure", "camera"):
        result = one_sentence(run(command, f"strip.{suffix}"))
        assert f"{size[0]} x {size[1]} pixels" in result.stderr


# --- JSON from anybody ----------------------------------------------------------------------------

VALUES = [None, True, "x", [], {}, [[]], -1, 0, 10**400, 1e308, "9" * 400, {"value_mm": []}]


def leaves(value, path=()):
    """Places in a JSON, as far as the first few of each list."""
    yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list):
        for n, inner in enumerate(value[:2]):
            yield from leaves(inner, (*path, n))


def replaced(answer, path, value):
    out = json.loads(json.dumps(answer))
    at = out
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return out


@pytest.mark.parametrize("seed", range(3))
def test_a_kept_answer_with_anything_in_it(seed):
    answer = json.loads(json.dumps(stamped(answer_json(measured()), "2026-05-14T10:00:00+02:00")))
    places = [p for p in leaves(answer) if p]
    rng = np.random.default_rng(seed)
    for n in rng.permutation(len(places))[:20]:
        value = VALUES[rng.integers(len(VALUES))]
        Path("j.json").write_text(json.dumps(replaced(answer, places[n], value)))
        for args in (
            ["check", "j.json", "--reading", "30@0"],
            ["report", "j.json", "--out", "r.html"],
        ):
            result = run(*args, *(["--overwrite"] if "--out" in args else []))
            ended = result.exception is None or isinstance(result.exception, SystemExit)
            assert ended, (args, places[n], value, result.exception)
            assert result.exit_code in (0, 1)


@pytest.mark.parametrize(
    "text", ["[" * 100_000, '{"a":' * 50_000, "9" * 5000, "\ufeff{}", "NaN", ""]
)
def test_json_that_is_none(text):
    Path("j.json").write_text(text, encoding="utf-8")
    one_sentence(run("check", "j.json", "--reading", "30@0"))
    one_sentence(run("report", "j.json", "--out", "r.html"))


def test_toml_that_is_nested_too_deeply():
    Path("deep.toml").write_text("a = " + "[" * 50_000)
    cv2.imwrite("level.jpg", np.zeros((8, 8), np.uint8))
    one_sentence(run("preferences", "--camera", "deep.toml"))
    Path("test").mkdir()
    Path("test/field-test.toml").write_text("a = " + "{b = " * 50_000)
    result = run("field-test", "test")
    assert isinstance(result.exception, SystemExit) and result.exit_code == 1


# --- the last line of defence ---------------------------------------------------------------------


def test_a_mistake_of_the_program_is_one_sentence_and_a_file_to_send(monkeypatch, capsys):
    def stumbles():
        raise KeyError("station_mm")

    monkeypatch.setattr(cli, "app", stumbles)
    monkeypatch.setattr(sys, "argv", ["gapvision", "measure", "level.jpg"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    said = capsys.readouterr()
    assert ended.value.code == 1 and said.out == ""
    assert said.err.count("\n") == 1 and "Traceback" not in said.err
    (file,) = Path().glob("gapvision-mistake-*.txt")
    assert file.name in said.err and "mistake of the program" in said.err
    text = file.read_text(encoding="utf-8")
    for word in ("Traceback", "KeyError: 'station_mm'", "measure level.jpg", "Python", "numpy"):
        assert word in text


def test_where_the_file_cannot_be_written_another_place_is_found(monkeypatch, capsys, tmp_path):
    def stumbles():
        raise RecursionError("maximum recursion depth exceeded")

    monkeypatch.setattr(cli, "app", stumbles)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temp"))
    (tmp_path / "temp").mkdir()
    (tmp_path / "gone").mkdir()
    monkeypatch.chdir(tmp_path / "gone")
    (tmp_path / "gone").rmdir()
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 1
    (file,) = (tmp_path / "temp").glob("gapvision-mistake-*.txt")
    assert str(file) in capsys.readouterr().err


@pytest.mark.skipif(os.name == "nt", reason="pipes")
def test_a_reader_that_goes_away_is_no_mistake():
    """As in ``gapvision archive list | head -1``."""
    code = "from gapvision.cli.main import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", code, "archive", "list", "--json", "-"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    ) as child:  # fmt: skip
        child.stdout.close()
        error = child.stderr.read()
    assert b"Traceback" not in error and b"mistake" not in error
    assert not list(Path().glob("gapvision-mistake-*"))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_a_full_disk_behind_the_output_is_told():
    code = "from gapvision.cli.main import main; main()"
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", code, "archive", "list"],
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert done.returncode == 1 and "a disk is full" in done.stderr
    assert done.stderr.count("\n") == 1


def test_memory_that_does_not_suffice_is_no_mistake(monkeypatch, capsys):
    def greedy():
        raise MemoryError

    monkeypatch.setattr(cli, "app", greedy)
    with pytest.raises(SystemExit):
        cli.main()
    assert "memory" in capsys.readouterr().err
    assert not list(Path().glob("gapvision-mistake-*"))
