"""From pictures of the sheet, drawn here, to the camera file, the picture and the screen."""

import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from helpers.commands import run
from helpers.sheet_views import CORNERS, pose
from PIL import ExifTags, Image

from gapvision.errors import MeasurementError, NotCalibrated
from gapvision.photo.facts import CameraKey, PhotoFacts
from gapvision.photo.lens.calibrate import _on_sensor, calibrate
from gapvision.photo.lens.calibration import Known, PhotoFit
from gapvision.photo.lens.files import camera_folder, new_camera_path
from gapvision.photo.lens.picture import draw_calibration
from gapvision.photo.lens.text import calibration_notes, corner_counts, unreached
from gapvision.scene import card
from gapvision.scene.photo_rows import CardSighting

SIZE = (1140, 860)  # px
# A pinhole that is 1.1 % from what Exif's whole millimetres say: 26 / 36 * 1140 = 823.3.
FOCAL_PX = 832.4
PRINT_PX = 12  # of the drawn print a mm
INK, PAPER, TABLE = 45.0, 205.0, 120.0
MARGIN_MM = 20
KEY = CameraKey("Example", "EX-9", "", *SIZE, 26.0)


@cache
def printed(first=1):
    """The uncut sheet, one channel: two cards one above the other, with white all round."""
    width, height = (round(n * PRINT_PX) for n in (262 + 2 * MARGIN_MM, 204 + 2 * MARGIN_MM))
    sheet = np.full((height, width), PAPER, np.float32)
    for place in (0, 1):
        board = card.board(first + place).generateImage((242 * PRINT_PX, 88 * PRINT_PX))
        x, y = (MARGIN_MM + 10) * PRINT_PX, (MARGIN_MM + 8 + 102 * place) * PRINT_PX
        sheet[y : y + board.shape[0], x : x + board.shape[1]] = np.where(board > 127, PAPER, INK)
    return sheet


def view(rng, first=1, noise=2.0, **poses):
    """A picture of the sheet and nothing else, by a homography; grey levels with noise."""
    turn, shift = pose(rng, distance_mm=(330, 400), roll_deg=12, **poses)
    matrix = np.array([
        [FOCAL_PX, 0, (SIZE[0] - 1) / 2], [0, FOCAL_PX, (SIZE[1] - 1) / 2], [0, 0, 1.0]
    ])  # fmt: skip
    image_from_mm = matrix @ np.column_stack([cv2.Rodrigues(turn)[0][:, :2], shift])
    # The sheet's frame has its origin in the upper nail hole, y down; pixels count from centres.
    mm_from_print = np.array([
        [1 / PRINT_PX, 0, 0.5 / PRINT_PX - MARGIN_MM - 131.0],
        [0, 1 / PRINT_PX, 0.5 / PRINT_PX - MARGIN_MM - 4.0], [0, 0, 1.0],
    ])  # fmt: skip
    large = np.diag([2.0, 2.0, 1.0])
    large[:2, 2] = 0.5  # drawn twice as large and reduced, so that nothing aliases
    blurred = cv2.GaussianBlur(printed(first), (0, 0), 3.0)
    picture = cv2.warpPerspective(
        blurred, large @ image_from_mm @ mm_from_print, (2 * SIZE[0], 2 * SIZE[1]),
        flags=cv2.INTER_LINEAR, borderValue=TABLE,
    )  # fmt: skip
    picture = cv2.resize(picture, SIZE, interpolation=cv2.INTER_AREA)
    return np.clip(picture + rng.normal(0, noise, picture.shape), 0, 255).astype(np.uint8)


def save(path, picture, model="EX-9", zoom=None, orientation=None, focal35=26):
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Example", model
    if orientation:
        exif[ExifTags.Base.Orientation] = orientation
    ifd = exif.get_ifd(ExifTags.IFD.Exif)
    ifd[ExifTags.Base.FocalLengthIn35mmFilm] = focal35
    if zoom:
        ifd[ExifTags.Base.DigitalZoomRatio] = zoom
    Image.fromarray(picture).save(path, quality=95, exif=exif)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Eight good photographs, one of another camera, one zoomed, one without a sheet."""
    rng = np.random.default_rng(11)
    out = tmp_path_factory.mktemp("sheet")
    for k in range(8):
        save(out / f"good{k}.jpg", view(rng))
    save(out / "other.jpg", view(rng), model="EX-1")
    save(out / "zoomed.jpg", view(rng), zoom=2.0)
    save(out / "bare.jpg", rng.integers(90, 150, SIZE[::-1]).astype(np.uint8))
    return out


@pytest.fixture(scope="module")
def calibrated(folder):
    return calibrate([folder])


def test_lens_that_drew_the_pictures_is_found(calibrated):
    """Truth: the homographies' focal length, no distortion."""
    key, found = calibrated
    assert key == KEY
    assert len(found.photos) == 8
    assert found.focal_px.value == pytest.approx(FOCAL_PX, rel=0.003)
    assert abs(found.focal_px.value - FOCAL_PX) < 2.5 * found.focal_px.u
    assert abs(found.k1.value) < 0.01
    assert 330 < found.distance_mm < 480
    assert not found.anisotropic


def test_photographs_left_out_are_named_with_the_reason(calibrated):
    _, found = calibrated
    why = dict(found.poor)
    assert set(why) == {"other.jpg", "zoomed.jpg", "bare.jpg"}
    assert "another camera" in why["other.jpg"]
    assert "digital zoom of 2" in why["zoomed.jpg"]
    notes = " ".join(calibration_notes(found))
    assert all(file in notes for file in why)


def test_same_lens_however_the_camera_was_held(folder, tmp_path):
    """Pictures whose Exif says that the sensor was turned are the same pictures of the sensor."""
    turns = {
        1: None,
        3: cv2.ROTATE_180,
        6: cv2.ROTATE_90_CLOCKWISE,
        8: cv2.ROTATE_90_COUNTERCLOCKWISE,
    }
    held = [1, 3, 6, 8, 6, 8, 3, 6]
    for k, orientation in enumerate(held):
        on_sensor = cv2.imread(str(folder / f"good{k}.jpg"), cv2.IMREAD_GRAYSCALE)
        # Lossless, so that the very same pixels are found.
        save(tmp_path / f"turned{k}.png", on_sensor, orientation=orientation)
        upright = cv2.imread(str(tmp_path / f"turned{k}.png"), cv2.IMREAD_GRAYSCALE)
        turned = (
            on_sensor if turns[orientation] is None else cv2.rotate(on_sensor, turns[orientation])
        )
        assert np.array_equal(upright, turned)  # the reader turns it as the test believes
    key, found = calibrate([tmp_path])
    assert key == KEY and not found.poor
    middle = (np.array(SIZE) - 1) / 2
    for known, true in zip(found.principal_px, middle, strict=True):
        assert abs(known.value - true) < 4 * known.u
    assert abs(found.focal_px.value - FOCAL_PX) < 2.5 * found.focal_px.u


def test_a_picture_given_twice_counts_once(folder, tmp_path):
    """Or the lens would be known better by nothing."""
    for k in range(5):
        (tmp_path / f"good{k}.jpg").write_bytes((folder / f"good{k}.jpg").read_bytes())
    _, once = calibrate([tmp_path])
    (tmp_path / "twice.jpg").write_bytes((folder / "good0.jpg").read_bytes())
    _, twice = calibrate([tmp_path])
    assert twice.poor == (("twice.jpg", "the same picture as another"),)
    assert twice.focal_px.value == pytest.approx(once.focal_px.value, rel=1e-9)
    assert twice.focal_px.u == pytest.approx(once.focal_px.u, rel=1e-5)


@pytest.mark.parametrize("orientation", [1, 3])
def test_an_upright_picture_without_a_word_of_it_was_turned_right(orientation):
    """Another program turned it and its Exif: the principal point is the sensor's all the same."""
    facts = PhotoFacts(
        Path("a.jpg"), "", SIZE[1], SIZE[0], 1.0, 1.0, "exif", "", "", "", None, None, None,
        orientation,
    )  # fmt: skip
    at = np.array([[10.0, 20.0], [300.0, 500.0]])
    sighting = CardSighting(1, np.arange(2), at, 0.1, np.eye(3), 5.0)
    on_sensor = _on_sensor(sighting, facts).corner_px
    np.testing.assert_array_equal(
        on_sensor, _on_sensor(sighting, replace(facts, orientation=6)).corner_px
    )
    np.testing.assert_array_equal(on_sensor, [[20.0, SIZE[1] - 11], [500.0, SIZE[1] - 301]])


def test_cards_of_two_sheets_are_refused(tmp_path):
    rng = np.random.default_rng(12)
    for k in range(3):
        save(tmp_path / f"a{k}.jpg", view(rng))
        save(tmp_path / f"b{k}.jpg", view(rng, first=5))
    with pytest.raises(NotCalibrated, match="Cards 1, 2, 5, 6") as caught:
        calibrate([tmp_path])
    assert caught.value.code == "many-sheets"


def test_nothing_but_bare_pictures(folder):
    with pytest.raises(NotCalibrated, match="bare.jpg") as caught:
        calibrate([folder / "bare.jpg"])
    assert caught.value.code == "no-sheet"


def test_parts_of_the_frame_that_no_photograph_reached(calibrated):
    _, found = calibrated
    width, height = SIZE
    x, y = np.meshgrid(np.linspace(5, width * 0.62, 40), np.linspace(5, height - 5, 40))
    places = np.stack([x.ravel(), y.ravel()], 1)
    left_only = replace(found, photos=(PhotoFit("a", places, 0 * places, 0.3),))
    assert unreached(left_only) == [
        "the upper right", "the middle right", "the lower right"
    ]  # fmt: skip
    assert corner_counts(left_only).sum() == len(places)
    assert any("upper right" in note for note in calibration_notes(left_only))


def test_uneven_print_is_told(calibrated):
    _, found = calibrated
    uneven = replace(found, aspect=Known(1.004, 0.0002))
    assert "0.40 % longer across" in calibration_notes(uneven)[0]


def test_picture_shows_empty_cells_and_residuals(calibrated):
    """Orange of the empty cells only where there are such cells; arrows in the lower half."""
    _, found = calibrated
    pixels = np.asarray(draw_calibration(found))
    orange = np.all(pixels == (246, 205, 170), axis=-1).sum()
    assert (orange > 0) == bool((corner_counts(found) == 0).any())
    lower = pixels[len(pixels) // 2 :]
    assert np.all(lower == (0, 114, 178), axis=-1).sum() > len(CORNERS)


def test_command_writes_lists_shows_and_removes(folder, tmp_path):
    done = run("camera", folder, "--picture", tmp_path / "lens.png")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("PHONE SAVED: Example EX-9, 26 mm, 1140 x 860 px.")
    assert max(map(len, done.stdout.split("Written:")[0].splitlines())) <= 80
    with Image.open(tmp_path / "lens.png") as picture:
        assert picture.width > 1000
    path = camera_folder() / f"{KEY.name}.toml"
    assert str(path) in done.stdout
    values = tomllib.loads(path.read_text())
    assert values["focal_px"] == pytest.approx(FOCAL_PX, rel=0.003)
    assert {"u_focal_px", "k1", "u_k1", "distance_mm"} < set(values)
    assert (values["make"], values["model"], values["width_px"]) == ("Example", "EX-9", 1140)
    assert sorted(values["quality"]["left_out"]) == ["bare.jpg", "other.jpg", "zoomed.jpg"]

    assert KEY.name in run("camera", "--list").stdout
    assert run("camera", "--show", KEY.name).stdout.strip() == path.read_text().strip()
    again = run("camera", folder)
    assert again.exit_code == 1 and "--overwrite" in again.stderr
    assert tomllib.loads(path.read_text()) == values
    assert run("camera", "--remove", KEY.name).exit_code == 0
    assert not path.exists()
    assert "none" in run("camera", "--list").stdout


@pytest.mark.parametrize(
    "args", [[], ["--list", "--show", "x"], ["a.jpg", "--list"], ["--list", "--picture", "a.png"]]
)
def test_wrong_usage(args):
    result = run("camera", *args)
    assert result.exit_code == 2 and "Traceback" not in result.output


@pytest.mark.parametrize("flag", ["--show", "--remove"])
def test_no_such_calibration(flag):
    result = run("camera", flag, "../nothing")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1 and "There is no calibration" in result.stderr


def test_camera_that_does_not_say_its_name():
    with pytest.raises(MeasurementError, match="original files") as caught:
        new_camera_path(replace(KEY, make="", model=""), overwrite=False)
    assert caught.value.code == "no-exif"


def test_example_is_one_that_the_program_would_read():
    """The numbers beside it are those of the rendered sheet that it was made from."""
    from gapvision.photo.lens.files import read_camera

    example = Path(__file__).parents[3] / "calibration" / "example.toml"
    known = read_camera(example)
    assert known.key == CameraKey("Example", "EX-2", "", 4032, 3024, 26.0)
    true_focal, true_k1 = 2956.8, 0.02
    assert known.focal_px == pytest.approx(true_focal, rel=0.001)
    assert abs(known.focal_px - true_focal) < 1.96 * known.u_focal_px
    assert known.k1 == pytest.approx(true_k1, abs=0.002)
    assert abs(known.k1 - true_k1) < 1.96 * known.u_k1
