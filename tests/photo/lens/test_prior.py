"""The lens's prior: what a calibration file says, at the photograph's own size."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from gapvision.errors import MeasurementError
from gapvision.photo.lens.prior import LEAST_RELATIVE_U, lens_of

FILE = {"focal_px": 2990.0, "u_focal_px": 45.0, "k1": -0.021, "u_k1": 0.004, "width_px": 4032}


def photo(width=4032, height=3024):
    return SimpleNamespace(size=(width, height), focal_px=2912.0, u_focal_px=80.0)


def written(tmp_path, text=None, **changes):
    path = tmp_path / "phone.toml"
    values = {k: v for k, v in (FILE | changes).items() if v is not None}
    path.write_text(text or "\n".join(f"{k} = {v}" for k, v in values.items()), encoding="utf-8")
    return path


def test_without_a_file_the_photograph_says():
    lens = lens_of(photo())
    assert (lens.focal_px, lens.u_focal_px, lens.k1) == (2912.0, 80.0, 0.0)
    assert 0.001 < lens.u_k1 < 0.1  # radial distortion of phones' corrected pictures, loosely


def test_file_at_the_photograph_s_own_size(tmp_path):
    lens = lens_of(photo(), written(tmp_path))
    assert (lens.focal_px, lens.u_focal_px) == pytest.approx((2990.0, 45.0))
    assert (lens.k1, lens.u_k1) == (-0.021, 0.004)


@pytest.mark.parametrize("size", [(2016, 1512), (1512, 2016), (8064, 6048)])
def test_scaled_by_the_long_side(tmp_path, size):
    """Half the pixels, half the focal length; coordinates over it, and so k1, stay."""
    lens = lens_of(photo(*size), written(tmp_path))
    scale = max(size) / 4032
    assert (lens.focal_px, lens.u_focal_px) == pytest.approx((2990.0 * scale, 45.0 * scale))
    assert (lens.k1, lens.u_k1) == (-0.021, 0.004)


def test_never_tighter_than_focusing_allows(tmp_path):
    """A thin lens of 4 to 7 mm focused from infinity to 1 m lengthens by 0.4 to 0.7 %."""
    lens = lens_of(photo(2016, 1512), written(tmp_path, u_focal_px=1.5))
    assert lens.u_focal_px / lens.focal_px == pytest.approx(0.005)
    assert LEAST_RELATIVE_U == 0.005


def test_comments_and_other_keys_do_no_harm(tmp_path):
    text = '# my phone\nname = "main camera"\n' + "\n".join(f"{k} = {v}" for k, v in FILE.items())
    assert lens_of(photo(), written(tmp_path, text)).focal_px == 2990.0


def test_missing_file():
    with pytest.raises(MeasurementError, match="phone.toml could not be read") as caught:
        lens_of(photo(), Path("no-such-folder/phone.toml"))
    assert caught.value.code == "no-camera-file"


def test_folder_in_place_of_a_file(tmp_path):
    with pytest.raises(MeasurementError, match="could not be read"):
        lens_of(photo(), tmp_path)


@pytest.mark.parametrize("key", list(FILE))
def test_missing_number(tmp_path, key):
    with pytest.raises(MeasurementError, match=key) as caught:
        lens_of(photo(), written(tmp_path, **{key: None}))
    assert caught.value.code == "bad-camera-file"


@pytest.mark.parametrize("key", ["focal_px", "u_focal_px", "u_k1", "width_px"])
@pytest.mark.parametrize("value", [0, -1, "nan"])
def test_number_not_above_zero(tmp_path, key, value):
    with pytest.raises(MeasurementError, match="not above zero") as caught:
        lens_of(photo(), written(tmp_path, **{key: value}))
    assert caught.value.code == "bad-camera-file"


@pytest.mark.parametrize("value", ['"wide"', "[1, 2]", "2026-01-02"])
def test_no_number(tmp_path, value):
    with pytest.raises(MeasurementError, match="lacks a usable") as caught:
        lens_of(photo(), written(tmp_path, focal_px=value))
    assert caught.value.code == "bad-camera-file"


@pytest.mark.parametrize("key", ["focal_px", "u_focal_px", "k1", "u_k1", "width_px"])
@pytest.mark.parametrize("value", ["nan", "inf"])
def test_no_finite_number(tmp_path, key, value):
    with pytest.raises(MeasurementError) as caught:
        lens_of(photo(), written(tmp_path, **{key: value}))
    assert caught.value.code == "bad-camera-file"


@pytest.mark.parametrize("content", [b"focal_px: 2990\n", b"\x89PNG\r\n\x1a\n\xff\xfe", b""])
def test_no_toml(tmp_path, content):
    path = tmp_path / "phone.toml"
    path.write_bytes(content)
    with pytest.raises(MeasurementError, match="lacks a usable") as caught:
        lens_of(photo(), path)
    assert caught.value.code == "bad-camera-file"
    assert "\n" not in caught.value.text


@pytest.mark.parametrize("size", ["height_px = 0", "height_px = -100000000000000000000"])
def test_no_picture_has_no_height(tmp_path, size):
    path = written(tmp_path)
    path.write_text(f'{path.read_text()}\nmodel = "One"\n{size}\n')
    with pytest.raises(MeasurementError, match="not above zero") as caught:
        lens_of(photo(), path)
    assert caught.value.code == "bad-camera-file"
