"""Photographs in a report: the ones that were measured, small, upright, and telling nothing."""

import hashlib

import cv2
import numpy as np
import pytest
from helpers.reports import PLACE, SERIAL, jpegs, telling_photo
from PIL import Image

from gapvision.answer.report.photos import clean_picture, collect_photos, scaled_photo
from gapvision.errors import MeasurementError
from gapvision.joint.photo_results import photo_name


def photo_json(path, **changes):
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return {"file": str(path), "sha256": digest} | changes


def test_scaled_and_without_anything_but_the_picture(tmp_path):
    content = scaled_photo(telling_photo(tmp_path / "a.jpg"))
    (image,) = jpegs(content)
    assert max(image.size) == 1200 and image.size[0] / image.size[1] == pytest.approx(16 / 9, 0.01)
    assert not image.getexif() and not image.info.get("comment")
    assert PLACE not in content and SERIAL not in content


def test_it_is_upright(tmp_path):
    pixels = np.zeros((600, 900, 3), np.uint8)
    pixels[:, :300] = 255
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned a quarter clockwise: Exif 2.32, tag Orientation
    Image.fromarray(pixels).save(tmp_path / "a.jpg", exif=exif)
    back = cv2.imdecode(np.frombuffer(scaled_photo(tmp_path / "a.jpg"), np.uint8), 0)
    assert back.shape == (900, 600)
    assert back[:250].mean() > 250 and back[350:].mean() < 5


def test_photographs_are_found_where_they_were_and_by_name(tmp_path):
    there = telling_photo(tmp_path / "there.jpg")
    (tmp_path / "moved").mkdir()
    moved = telling_photo(tmp_path / "moved" / "moved.jpg", (800, 1200))
    away = photo_json(moved, file="C:\\photos\\moved.jpg")
    photos, missing = collect_photos({"photos": [photo_json(there), away]}, [tmp_path / "moved"])
    assert [name for name, _ in photos] == ["there.jpg", "moved.jpg"] and not missing


def test_missing_and_other_photographs_are_named(tmp_path):
    path = telling_photo(tmp_path / "a.jpg")
    answer = {
        "photos": [
            photo_json(path, sha256="0" * 64),
            {"file": "gone/b.jpg", "sha256": "1" * 64},
        ]
    }
    photos, missing = collect_photos(answer, [tmp_path])
    assert not photos
    assert missing == (
        "a.jpg: the file of this name is not the one that was measured.",
        "b.jpg: not found.",
    )


def test_a_photograph_that_broke_is_named(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(telling_photo(path).read_bytes()[:5000])
    photos, (said,) = collect_photos({"photos": [photo_json(path)]}, [])
    assert not photos and "breaks off" in said


def test_the_picture_is_cleaned_too(tmp_path):
    content = clean_picture(telling_photo(tmp_path / "a.jpg"))
    assert PLACE not in content and not jpegs(content)[0].getexif()


@pytest.mark.parametrize("content", [b"", b"no picture"])
def test_what_is_no_picture(tmp_path, content):
    (tmp_path / "a.jpg").write_bytes(content)
    with pytest.raises(MeasurementError, match="is no picture"):
        clean_picture(tmp_path / "a.jpg")
    with pytest.raises(MeasurementError, match="cannot be read"):
        clean_picture(tmp_path / "b.jpg")


def test_names_of_either_system():
    assert photo_name("a/b/c.jpg") == photo_name("D:\\b\\c.jpg") == photo_name("c.jpg") == "c.jpg"
