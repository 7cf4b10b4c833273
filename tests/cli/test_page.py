"""`gapvision page`: what it says at its start, and what it refuses."""

import socket

import cv2
import numpy as np
import pytest
from helpers.commands import run
from helpers.pages import program

from gapvision.files import held
from gapvision.page import serve
from gapvision.page.drafts import drafts_folder
from gapvision.page.safety import Pairing


def pixels(code):
    """The drawing of a code in half blocks, as a picture of its own size, light where it is."""
    halves = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}
    rows = [[halves[c] for c in line] for line in code.splitlines() if line.strip()]
    assert len({len(row) for row in rows}) == 1
    upper, lower = (np.array([[c[k] for c in row] for row in rows], np.uint8) for k in (0, 1))
    return np.stack([upper, lower], 1).reshape(2 * len(rows), -1)


def test_the_code_holds_the_address_that_is_printed_and_fits_a_small_terminal():
    pairing = Pairing()
    text = serve.told("192.168.143.201", 8462, pairing)
    lines = text.splitlines()
    assert len(lines) <= 24 and all(len(line) <= 80 for line in lines)
    link = f"http://192.168.143.201:8462/pair/{pairing.secret}"
    assert link in lines
    drawn = text[: text.index("Point")]
    large = cv2.resize(pixels(drawn), None, fx=8, fy=8, interpolation=cv2.INTER_NEAREST)
    framed = cv2.copyMakeBorder(large, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=255)
    assert cv2.QRCodeDetector().detectAndDecode(framed)[0] == link


@pytest.fixture
def port():
    """One that is free."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def test_on_this_computer_alone_there_is_no_secret(tmp_path, port):
    with program(tmp_path / "archive", port) as process:
        process.terminate()
        out, _ = process.communicate(timeout=30)
    assert f"Open http://127.0.0.1:{port}/ on this computer." in out
    assert "pair" not in out and "Traceback" not in out


def test_a_second_page_of_one_archive_is_refused(tmp_path, port):
    archive = tmp_path / "archive"
    with held(drafts_folder(archive)) as alone:
        assert alone
        done = run("page", "--archive", archive, "--port", port)
    assert done.exit_code == 1 and "Another gapvision page serves" in done.stderr


def test_a_port_in_use_is_refused_in_a_sentence(tmp_path):
    with serve.bound_to("127.0.0.1", 0) as taken:
        taken.listen()
        port = taken.getsockname()[1]
        done = run("page", "--archive", tmp_path / "archive", "--port", port)
    assert done.exit_code == 1 and f"The port {port} is in use" in done.stderr


def test_a_computer_on_no_network_is_told_to_join_one(tmp_path, monkeypatch, port):
    monkeypatch.setattr(serve, "ELSEWHERE", ("256.0.0.1", 9))  # which nobody reaches
    done = run("page", "--network", "--archive", tmp_path / "archive", "--port", port)
    assert done.exit_code == 1 and "join the phone's hotspot" in done.stderr


@pytest.mark.parametrize("port", ["0", "70000", "x"])
def test_a_port_that_is_none_is_wrong_usage(port):
    assert run("page", "--port", port).exit_code == 2
