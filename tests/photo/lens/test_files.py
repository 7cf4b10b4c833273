"""Which calibration belongs to which photograph, and what it is worth there."""

import json
import os
from pathlib import Path

import pytest

import gapvision
from gapvision.answer.evidence_text import evidence_text
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions, Scriber, Stretch
from gapvision.inputs.user_folder import config_folder
from gapvision.lengths import parse_diameter
from gapvision.photo.facts import CameraKey, PhotoFacts
from gapvision.photo.lens.files import camera_folder, camera_paths, match_camera, read_camera
from gapvision.photo.lens.prior import LEAST_RELATIVE_U, choose_lens
from gapvision.scene.priors import Priors
from gapvision.spine import measure

FILE = {
    "make": '"Example"', "model": '"EX-9"', "lens": '"main"', "focal35_mm": 26.0,
    "width_px": 4032, "height_px": 3024, "distance_mm": 390.0,
    "focal_px": 2956.8, "u_focal_px": 0.4, "k1": 0.02, "u_k1": 0.0002,
}  # fmt: skip


def photo(width=4032, height=3024, **changes):
    told = {
        "path": Path("a.jpg"), "sha256": "", "width": width, "height": height, "make": "Example",
        "model": "EX-9", "lens": "main", "focal35_mm": 26.0, "digital_zoom": None,
        "focal_px": 0.722 * width, "u_focal_px": 80.0, "focal_source": "exif", "taken": None,
    }  # fmt: skip
    return PhotoFacts(**told | changes)


@pytest.fixture
def kept():
    """Puts a calibration into the camera folder."""

    def keep(name="mine", **changes):
        camera_folder().mkdir(parents=True, exist_ok=True)
        values = {k: v for k, v in (FILE | changes).items() if v is not None}
        text = "\n".join(f"{k} = {v}" for k, v in values.items())
        (camera_folder() / f"{name}.toml").write_text(text)

    return keep


def test_folder_is_where_the_variable_says(own_folder):
    assert config_folder() == own_folder and camera_folder() == own_folder / "cameras"
    assert camera_paths() == []  # and need not be there


def test_folder_is_the_system_s_own_otherwise(monkeypatch):
    """The folders that Linux (XDG base directories), macOS and Windows keep for this."""
    monkeypatch.delenv("GAPVISION_CONFIG_DIR")
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    assert (
        config_folder()
        .as_posix()
        .endswith((".config/gapvision", "Support/gapvision", "Local/gapvision"))
    )


def test_matching_calibration_is_taken_and_said(kept):
    kept()
    lens, source = choose_lens(photo())
    assert source == "calibration mine"
    assert (lens.focal_px, lens.k1) == (2956.8, 0.02)


@pytest.mark.parametrize("size", [(2016, 1512), (3024, 4032), (4000, 3000), (8064, 6048)])
def test_scaled_to_other_sizes_of_the_same_shape(kept, size):
    """Focal length in pixels goes with the picture's size; k1 has none."""
    kept()
    lens, source = choose_lens(photo(*size))
    assert source == "calibration mine"
    assert lens.focal_px == pytest.approx(2956.8 * max(size) / 4032)
    assert lens.k1 == 0.02


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"digital_zoom": 2.0}, "digital zoom of 2"),
        ({"lens": "wide"}, "another lens"),
        ({"focal35_mm": 13.0}, "another lens"),
        ({"focal35_mm": None}, "another lens"),
        ({"width": 4032, "height": 2268}, "another shape"),
    ],
)
def test_refused_for_another_lens_zoom_or_shape_and_said(kept, changes, why):
    kept()
    this = photo(**changes)
    lens, source = choose_lens(this)
    assert source.startswith("exif: calibration mine is ") and why in source
    assert (lens.focal_px, lens.u_focal_px) == (this.focal_px, this.u_focal_px)
    assert (lens.k1, lens.u_k1) == (0.0, Priors().k1)


@pytest.mark.parametrize("changes", [{"model": "EX-1"}, {"make": "Other"}, {"model": ""}])
def test_another_camera_is_nobody_s_business(kept, changes):
    kept()
    assert choose_lens(photo(**changes))[1] == "exif"


@pytest.mark.parametrize("zoom", [None, 1.0])
def test_no_zoom_is_no_zoom(kept, zoom):
    kept()
    assert match_camera(photo(digital_zoom=zoom))[0] is not None


def test_of_two_sizes_the_nearest(kept):
    kept("full")
    kept("half", width_px=2016, height_px=1512, focal_px=1470.0)
    assert match_camera(photo(2016, 1512))[0].name == "half"
    assert match_camera(photo(3900, 2925))[0].name == "full"


def test_named_file_overrides(kept, tmp_path):
    kept()
    path = tmp_path / "other.toml"
    path.write_text(
        "focal_px = 3000.0\nu_focal_px = 30.0\nk1 = 0.0\nu_k1 = 0.01\nwidth_px = 4032\n"
    )
    lens, source = choose_lens(photo(digital_zoom=2.0), path)
    assert source == "file other.toml" and lens.focal_px == 3000.0


def test_broken_file_is_passed_over_and_said(kept):
    kept("broken", focal_px='"long"')
    assert choose_lens(photo())[1] == "exif: calibration broken cannot be read"
    kept()
    assert choose_lens(photo())[1] == "calibration mine"


@pytest.mark.parametrize("distance", [250.0, 390.0, 1500.0, None])
def test_prior_is_never_tighter_than_focusing_allows(kept, distance):
    """A thin lens of 6 mm: from 250 mm to 1500 mm the image distance changes by 2 %, half of which
    is 1 %; from the log's own distance nothing changes, and the floor of 0.5 % stands."""
    kept(distance_mm=distance)
    lens, _ = choose_lens(photo())
    image = {d: 1 / (1 / 6 - 1 / d) for d in (250.0, 390.0, 1500.0)}
    refocus = 0.0 if distance is None else abs(image[distance] / image[1500.0] - 1) / 2
    # f / d stands for f / (d - f): 2.4 % of the term at 250 mm.
    assert lens.u_focal_px / lens.focal_px == pytest.approx(max(refocus, 0.005), rel=0.04)
    assert LEAST_RELATIVE_U == 0.005 and lens.u_k1 >= 0.001


def test_measure_takes_it_by_itself_and_says_so(kept):
    """A bundled photograph of 3264 px by a calibration of 4032 px; the answer stays near the truth."""
    folder = Path(gapvision.__file__).parent / "cli" / "demo_photos"
    kept(model='"EX-1"', lens=None, focal_px=2912.0, k1=0.0)
    truth = json.loads((folder / "truth.json").read_text())
    measurement = measure(
        MeasureOptions(
            photos=(folder / truth["files"][0],),
            upper_diameter=parse_diameter(truth["upper_diameter"]),
            lower_diameter=parse_diameter(truth["lower_diameter"]),
            stretch=Stretch(truth["from_mm"], truth["to_mm"]),
            scriber=Scriber(largest_mm=30.0, step_mm=0.5),
        )
    )
    assert [p.exposure.lens for p in measurement.photos] == ["calibration mine"]
    assert "calibration mine" in evidence_text(measurement)
    off = abs(measurement.widest_gap.value_mm - truth["widest_gap_mm"])
    assert off < measurement.widest_gap.U95_mm
    assert (2 * measurement.set_to_mm).is_integer()
    assert measurement.cautions[0].code == "scriber-too-small"


def test_name_of_a_file_is_safe_in_any_folder():
    key = CameraKey("A/B ..\\", "x: y*", "", 100, 50, 26.5)
    assert key.name == "a-b-x-y-26-5mm-100x50"


@pytest.mark.skipif(os.name == "nt", reason="pipes")
@pytest.mark.parametrize("how", ["pipe", "empty", "deep", "digits", "link"])
def test_a_calibration_that_cannot_be_had_is_said(kept, how):
    """One that an earlier run left empty, and what never ends if it is read."""
    kept("broken")
    path = camera_folder() / "broken.toml"
    if how in ("pipe", "link"):
        path.unlink()
    if how == "pipe":
        os.mkfifo(path)
    elif how == "link":
        path.symlink_to("nowhere.toml")
    else:
        path.write_text(
            {
                "empty": "", "deep": "a = " + "[" * 5000 + "]" * 5000,
                "digits": path.read_text().replace("2956.8", "9" * 400),
            }[how]
        )  # fmt: skip
    assert choose_lens(photo())[1] == "exif: calibration broken cannot be read"
    with pytest.raises(MeasurementError) as caught:
        read_camera(path)
    assert "\n" not in caught.value.text and "broken.toml" in caught.value.text


def test_a_folder_of_calibrations_that_cannot_be_read_is_said(own_folder):
    own_folder.mkdir()
    camera_folder().write_text("a file where the folder should be")
    assert "cannot be read" in choose_lens(photo())[1]
    with pytest.raises(MeasurementError, match="cannot be read"):
        camera_paths()
