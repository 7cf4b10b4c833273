"""What holds for all tests, and what several of them listen to."""

import pytest
from PIL import ImageDraw

from gapvision.archive.store import FOLDER_VARIABLE as ARCHIVE_VARIABLE
from gapvision.inputs.user_folder import FOLDER_VARIABLE


@pytest.fixture(autouse=True)
def own_folder(monkeypatch, tmp_path):
    """No test reads or writes what the person who runs it has stated for all joints."""
    folder = tmp_path / "gapvision"
    monkeypatch.setenv(FOLDER_VARIABLE, str(folder))
    monkeypatch.setenv(ARCHIVE_VARIABLE, str(tmp_path / "archive"))
    return folder


@pytest.fixture
def plain_terminal(monkeypatch, tmp_path):
    """An empty folder, and a terminal wide enough that no message is wrapped."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "250")
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.fixture
def asked(monkeypatch):
    """The options of every measurement asked for; each is answered at once."""
    from cli.test_measure import answer

    seen = []

    def measure(options, progress=None):
        seen.append(options)
        return answer()

    monkeypatch.setattr("gapvision.spine.measure", measure)
    return seen


@pytest.fixture
def said(monkeypatch):
    """Every text that is drawn."""
    texts, draw = [], ImageDraw.ImageDraw.text

    def listen(self, point, text, *args, **kwargs):
        texts.append(text)
        draw(self, point, text, *args, **kwargs)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", listen)
    return texts
