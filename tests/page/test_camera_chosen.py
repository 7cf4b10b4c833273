"""A photograph that lost its lens's data: told at once, and the camera chosen by name instead."""

import cv2
import pytest
from helpers.demo import FOLDER
from helpers.pages import JOINT

from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.inputs.preferences import Preferences
from gapvision.page.entries import asked, read_form
from gapvision.page.verdicts import CHOOSE, LENS_LOST, verdict_of
from gapvision.photo.lens.files import cameras_in

EX_1 = """\
make = "Example"
model = "EX-1"
lens = ""
width_px = 4032
height_px = 3024
focal_px = 2956.8
u_focal_px = 0.4
k1 = 0.02
u_k1 = 0.0002
"""


@pytest.fixture
def cameras(tmp_path):
    """A camera folder with one calibration, EX-1."""
    folder = tmp_path / "cameras"
    folder.mkdir()
    (folder / "EX-1.toml").write_text(EX_1)
    with cameras_in(folder):
        yield folder


@pytest.fixture
def bare(tmp_path):
    """The demo's level photograph without what its file tells, as some in-page cameras send it."""
    path = tmp_path / "bare.jpg"
    cv2.imwrite(str(path), cv2.imread(str(FOLDER.joinpath("photo0.jpg"))))
    return path


def test_a_photograph_without_its_lens_s_data_says_so(bare, tmp_path):
    with cameras_in(tmp_path / "none"):
        verdict, _ = verdict_of(bare, MeasureOptions(photos=(bare,)))
    assert verdict["ok"]
    assert verdict["text"].endswith(f"{LENS_LOST}.")


def test_the_camera_is_asked_for_where_one_is_calibrated(bare, cameras):
    verdict, _ = verdict_of(bare, MeasureOptions(photos=(bare,)))
    assert verdict["text"].endswith(f"{LENS_LOST}{CHOOSE}.")
    chosen, _ = verdict_of(bare, asked(JOINT | {"camera": "EX-1"}, (bare,), Preferences()))
    assert LENS_LOST not in chosen["text"]


def test_a_photograph_that_tells_its_lens_is_not_bothered(tmp_path):
    path = tmp_path / "photo0.jpg"
    path.write_bytes(FOLDER.joinpath("photo0.jpg").read_bytes())
    verdict, _ = verdict_of(path, MeasureOptions(photos=(path,)))
    assert LENS_LOST not in verdict["text"]


def test_the_form_takes_the_cameras_there_are(cameras):
    entered = read_form(JOINT | {"camera": "EX-1"}, Preferences())
    assert not entered.faults
    assert asked(entered.entries, (), Preferences()).camera == cameras / "EX-1.toml"
    assert "EX-9" in read_form(JOINT | {"camera": "EX-9"}, Preferences()).faults[""]
    with pytest.raises(MeasurementError, match="EX-9"):
        asked(JOINT | {"camera": "EX-9"}, (), Preferences())


def test_the_form_shows_them_only_where_there_are_any(page, tmp_path, monkeypatch):
    monkeypatch.setattr("gapvision.page.form_view.camera_paths", lambda: [])
    assert 'name="camera"' not in page.get("/new").text
    monkeypatch.setattr("gapvision.page.form_view.camera_paths", lambda: [tmp_path / "EX-1.toml"])
    shown = page.get("/new").text
    assert 'name="camera" value="EX-1"' in shown and 'value="" checked' in shown
