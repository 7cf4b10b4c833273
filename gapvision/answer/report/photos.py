"""Photographs as a report holds them: small, and without anything but what they show."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from gapvision.answer.picture.drawing import WIDTH_PX
from gapvision.errors import MeasurementError, PhotoUnreadable
from gapvision.files import read_regular
from gapvision.joint.photo_results import photo_name
from gapvision.photo.decode import pixels_of
from gapvision.photo.light import to_8bit
from gapvision.photo.photo import load_photo

LONG_SIDE_PX = 1200  # some 170 mm of print at 180 dots an inch
JPEG_QUALITY = 80


def collect_photos(
    answer: dict, folders: Sequence[Path]
) -> tuple[tuple[tuple[str, bytes], ...], tuple[str, ...]]:
    """The photographs of a measurement, scaled, and a sentence on each that is not to be had.

    Parameters
    ----------
    answer : dict
        The measurement's JSON.
    folders : sequence of Path
        Where a photograph is looked for by its name, after the path in the JSON.

    Returns
    -------
    photos : tuple of (name, JPEG bytes)
    missing : tuple of str
        "above.jpg: not found."

    Notes
    -----
    A file of the right name whose SHA-256 is not the measured one is another photograph, or an
    edited one, and is left out.
    """
    photos, missing = [], []
    for photo in answer.get("photos", ()):
        name, digest = photo_name(photo["file"]), photo.get("sha256")
        places = [p for p in (Path(photo["file"]), *(f / name for f in folders)) if p.is_file()]
        if not places:
            missing.append(f"{name}: not found.")
            continue
        same = next((p for p in places if not digest or _sha256(p) == digest), None)
        if same is None:
            missing.append(f"{name}: the file of this name is not the one that was measured.")
            continue
        try:
            photos.append((name, scaled_photo(same)))
        except MeasurementError as error:
            missing.append(f"{name}: {error.text}")
    return tuple(photos), tuple(missing)


def scaled_photo(path: str | Path, long_side_px: int = LONG_SIDE_PX) -> bytes:
    """A photograph as a small upright JPEG without Exif: no place, no serial number, no time.

    Raises
    ------
    PhotoUnreadable, PhotoUnusable
        From `load_photo`.
    """
    # Decoded and encoded anew: nothing of the file but its pixels can be left in it.
    return _encoded(to_8bit(load_photo(path).bgr), long_side_px)


def clean_picture(path: Path) -> bytes:
    """The picture that `measure --picture` drew, as JPEG, likewise.

    Raises
    ------
    PhotoUnreadable
        ``"no-file"`` or ``"not-an-image"``.
    """
    try:
        content = read_regular(path)
    except OSError as error:
        text = f"{path} cannot be read ({error.strerror}): name the file that --picture wrote."
        raise PhotoUnreadable("no-file", text) from error
    bgr, wrong = pixels_of(content, cv2.IMREAD_COLOR) if content else (None, True)
    if bgr is None or wrong:
        text = f"{path} is no picture: name the file that gapvision measure --picture wrote."
        raise PhotoUnreadable("not-an-image", text)
    return _encoded(bgr, max(WIDTH_PX, round(WIDTH_PX * bgr.shape[0] / bgr.shape[1])))


def _encoded(bgr: np.ndarray, long_side_px: int) -> bytes:
    scale = long_side_px / max(bgr.shape[:2])
    if scale < 1:
        bgr = cv2.resize(bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
