"""Words that the shell parted, for want of quotes."""

import subprocess
import sys

import pytest

from gapvision.cli.quotes import missing_quotes


@pytest.fixture(autouse=True)
def a_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for path in ("My Photos of May", "camera"):
        (tmp_path / path).mkdir()
    (tmp_path / "camera" / "a b.jpg").write_bytes(b"")
    (tmp_path / "3").mkdir()


@pytest.mark.parametrize(
    ("words", "whole"),
    [
        (["measure", "My", "Photos", "of", "May"], "My Photos of May"),
        (["measure", "camera/a", "b.jpg", "--cover", "75"], "camera/a b.jpg"),
        (["sort", "../x/../camera", "camera/a", "b.jpg"], "camera/a b.jpg"),
        (["measure", "camera", "--upper-diameter", "11", "1/2in"], "11 1/2in"),
        (
            ["measure", "camera", "--upper-diameter=11", "1/2in,12in"],
            "--upper-diameter=11 1/2in,12in",
        ),
        (["measure", "camera", "--reading", "1", "5/8in@widest"], "1 5/8in@widest"),
        (["plan", "--length", "20'", "6in"], "20' 6in"),
        (["preferences", "--cover", "2", '1/2"'], '2 1/2"'),
    ],
)
def test_what_belongs_together_is_named(words, whole):
    assert missing_quotes(words).endswith(f'"{whole}".')
    assert "quotes round" in missing_quotes(words)


@pytest.mark.parametrize(
    "words",
    [
        ["measure", "camera", "My Photos of May"],
        ["measure", "camera", "camera/a b.jpg", "--cover", "75"],
        ["measure", "3", "camera", "--cover", "2 1/2in"],
        ["measure", "nowhere.jpg", "neither.jpg"],
        ["archive", "outcome", "12", "--open", "900,1100"],
        ["archive", "show", "3", "4"],
        [],
    ],
)
def test_what_is_right_is_let_pass(words):
    assert missing_quotes(words) == ""


def test_the_program_says_so_and_does_nothing():
    said = subprocess.run(
        [sys.executable, "-c", "from gapvision.cli.main import main; main()", "measure", "My", "Photos",
         "of", "May"], capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert said.returncode == 2 and said.stdout == ""
    assert said.stderr == 'Error: Put quotes round a path with a space: "My Photos of May".\n'
