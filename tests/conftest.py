"""What holds for all tests, and what several of them listen to."""

import os

# Before NumPy loads: two processes of tests share two cores, and more threads would only wait.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from reportlab.pdfgen.canvas import Canvas

from gapvision.archive.store import FOLDER_VARIABLE as ARCHIVE_VARIABLE
from gapvision.inputs.user_folder import FOLDER_VARIABLE

STROKED = 1  # text rendering mode: ISO 32000-1:2008, table 106


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
    from helpers.measured import answer

    seen = []

    def measure(options, progress=None):
        seen.append(options)
        return answer()

    monkeypatch.setattr("gapvision.spine.measure", measure)
    return seen


@pytest.fixture
def said(monkeypatch):
    """Every text that reaches a page, in the order of drawing; a picture is rasterised from one."""
    texts, draw = [], Canvas.drawString

    def listen(self, x, y, text, mode=None, **kwargs):
        if mode != STROKED:  # the halo of a text that follows
            texts.append(text)
        draw(self, x, y, text, mode=mode, **kwargs)

    monkeypatch.setattr(Canvas, "drawString", listen)
    return texts
