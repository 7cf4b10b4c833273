"""File to Photo: pixels upright in one channel order, and what Exif tells of them."""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import SupportsFloat

import cv2
import numpy as np
from PIL import ExifTags

from gapvision.errors import PhotoUnreadable, PhotoUnusable
from gapvision.files import open_regular
from gapvision.photo.damage import Damage
from gapvision.photo.decode import DAMAGED, decoded
from gapvision.photo.facts import PhotoFacts
from gapvision.photo.focal import focal_prior, zoom_left_open
from gapvision.photo.light import linear, undo_srgb

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif"})

# 60 MP of uncompressed 16-bit RGB, with room for metadata; checked before the file is read.
MAX_BYTES = 400_000_000

# Of these pixels and more 16 bits a channel are cut to 8, so that no picture takes a gigabyte.
MOST_DEEP_PIXELS = 30_000_000

# The brightest 0.5 % decide, not the mean: a lamp-lit joint in a dark workshop is a good picture.
DARK_LEVEL = 12 / 255
DARK_PERCENTILE = 99.5
BURNT_LEVEL = 250 / 255
BURNT_SHARE = 0.85
# Samples along each side of the picture, for those two checks.
SAMPLES_PER_SIDE = 200


@dataclass(frozen=True, eq=False, slots=True)
class Photo:
    """One photograph, upright: its pixels, and what is told of them.

    Image points are ``(x, y)`` in px, integer at the pixel centre, origin top left, y down.
    ``bgr`` (h, w, 3), uint8 or uint16, read-only: blue first, display-encoded (sRGB curve); see
    `linear`. ``damage`` is the part of it that is not to be trusted.
    """

    facts: PhotoFacts
    bgr: np.ndarray
    damage: Damage | None = None


def load_photo(path: str | Path) -> Photo:
    """Return the photograph in a JPEG, PNG, TIFF or HEIC file, upright.

    Parameters
    ----------
    path : str or Path
        The file. Its contents decide how it is read, not its suffix.

    Returns
    -------
    Photo
        Alpha is dropped, grey becomes three equal channels, 16-bit pictures stay uint16 up to
        `MOST_DEEP_PIXELS`.

    Raises
    ------
    PhotoUnreadable
        ``no-file``, ``folder``, ``no-access``, ``empty-file``, ``not-an-image``, ``truncated``.
    PhotoUnusable
        ``too-small``, ``too-large`` (both before decoding), ``too-dark``, ``burnt-out``.

    Notes
    -----
    The picture is turned once: by OpenCV from the Exif orientation in JPEG, PNG and TIFF, by
    libheif from the file's own rotation and mirror properties in HEIC. The Exif orientation of
    a HEIC file is not applied, as phones write it besides those properties.
    """
    path = Path(path)
    data = _read(path)
    bgr, tags, damage = decoded(data, path.name)
    if bgr.dtype == np.uint16 and bgr.shape[0] * bgr.shape[1] > MOST_DEEP_PIXELS:
        bgr = cv2.convertScaleAbs(bgr, alpha=255 / 65535)
    _check_exposure(bgr, path.name)
    bgr.flags.writeable = False
    size = bgr.shape[1], bgr.shape[0]
    return Photo(_facts(path, hashlib.sha256(data).hexdigest(), size, tags), bgr, damage)


def photo_paths(args: Sequence[str | Path]) -> list[Path]:
    """Return the files meant, each folder replaced by its photographs in order of name.

    Parameters
    ----------
    args : sequence of str or Path
        Files, kept as they are (`load_photo` says if one is missing), and folders.

    Returns
    -------
    list of Path
        In the order given. Folders inside a folder are not searched, hidden files are skipped.

    Raises
    ------
    PhotoUnreadable
        ``no-photos`` if a folder holds none; ``no-access`` if it may not be listed.
    """
    paths = []
    for arg in map(Path, args):
        paths.extend(_photos_in(arg) if os.path.isdir(arg) else [arg])
    return paths


def _photos_in(folder: Path) -> list[Path]:
    try:
        entries = sorted(folder.iterdir(), key=lambda entry: entry.name)
    except OSError as error:
        raise PhotoUnreadable(
            "no-access",
            f"The folder {folder} cannot be opened ({error.strerror}): "
            "photographs are needed, so allow reading it or copy them elsewhere.",
        ) from error
    # Hidden files with a photograph's suffix are what other systems keep about it, not pictures.
    photos = [
        entry
        for entry in entries
        if entry.suffix.lower() in SUFFIXES and not entry.name.startswith(".") and entry.is_file()
    ]
    if not photos:
        raise PhotoUnreadable(
            "no-photos",
            f"The folder {folder} holds no photographs: put the JPEG, PNG, TIFF or HEIC files of "
            "the joint straight into it.",
        )
    return photos


def _read(path: Path) -> bytes:
    name = path.name
    if os.path.isdir(path):
        raise PhotoUnreadable(
            "folder",
            f"{path} is a folder, and one photograph is needed here: name a file in it.",
        )
    try:
        with open_regular(path) as file:
            size = os.fstat(file.fileno()).st_size
            data = file.read() if size <= MAX_BYTES else b""
        if size > MAX_BYTES:
            raise PhotoUnusable(
                "too-large",
                f"{name} has {size / 1e6:.0f} MB and at most {MAX_BYTES / 1e6:.0f} can be "
                "measured: save it as JPEG.",
            )
    except FileNotFoundError as error:
        raise PhotoUnreadable(
            "no-file",
            f"There is no file {path}, and a photograph is needed: check the name and the folder.",
        ) from error
    except OSError as error:
        raise PhotoUnreadable(
            "no-access",
            f"{name} cannot be opened ({error.strerror}): a readable photograph is needed, "
            "so allow reading it or copy it elsewhere.",
        ) from error
    if not data:
        raise PhotoUnreadable(
            "empty-file", f"{name} is empty (0 bytes), and a photograph is needed: {DAMAGED}."
        )
    return data


def _check_exposure(bgr: np.ndarray, name: str) -> None:
    """Refuse a picture in which nothing can be seen, judged on a grid of pixels."""
    step_y, step_x = (max(1, side // SAMPLES_PER_SIDE) for side in bgr.shape[:2])
    sample = bgr[::step_y, ::step_x]
    white = np.iinfo(bgr.dtype).max
    luma = linear(sample) @ np.array([0.0722, 0.7152, 0.2126], np.float32)
    if np.percentile(luma, DARK_PERCENTILE) < undo_srgb(DARK_LEVEL):
        raise PhotoUnusable(
            "too-dark",
            f"{name} is almost black even at its brightest, and the edges of both logs must be "
            "seen: light the joint and retake it.",
        )
    burnt = float(np.mean(sample.min(axis=2) >= BURNT_LEVEL * white))
    if burnt > BURNT_SHARE:
        raise PhotoUnusable(
            "burnt-out",
            f"{name} is pure white over {100 * burnt:.0f} % of its area, and the edges of both "
            "logs must be seen: retake it with less exposure, the sun behind you.",
        )


def _facts(
    path: Path, sha256: str, size: tuple[int, int], tags: Mapping[int, object]
) -> PhotoFacts:
    """What the file, of the upright picture's size in px, tells beside its pixels."""
    make = _text(tags.get(ExifTags.Base.Make))
    focal35_mm = _positive(tags.get(ExifTags.Base.FocalLengthIn35mmFilm))
    digital_zoom = _positive(tags.get(ExifTags.Base.DigitalZoomRatio))
    focal_px, u_focal_px, source = focal_prior(
        max(size), focal35_mm, zoom_left_open(digital_zoom, make)
    )
    return PhotoFacts(
        path=path,
        sha256=sha256,
        width=size[0],
        height=size[1],
        focal_px=focal_px,
        u_focal_px=u_focal_px,
        focal_source=source,
        make=make,
        model=_text(tags.get(ExifTags.Base.Model)),
        lens=_text(tags.get(ExifTags.Base.LensModel)),
        focal35_mm=focal35_mm,
        digital_zoom=digital_zoom,
        taken=_taken(tags),
        orientation=int(_positive(tags.get(ExifTags.Base.Orientation)) or 1),
    )


def _positive(value: object) -> float | None:
    """Exif number, None if absent, corrupt, or 0, which Exif uses for unknown."""
    if not isinstance(value, str | bytes | SupportsFloat):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _text(value: object) -> str:
    """Exif text on one line, empty if absent."""
    return " ".join(value.replace("\0", " ").split()) if isinstance(value, str) else ""


def _taken(tags: Mapping[int, object]) -> str | None:
    original = _text(tags.get(ExifTags.Base.DateTimeOriginal))
    for text, offset in (
        (original, _text(tags.get(ExifTags.Base.OffsetTimeOriginal))),
        (_text(tags.get(ExifTags.Base.DateTime)), _text(tags.get(ExifTags.Base.OffsetTime))),
    ):
        for stamp, form in ((text + offset, "%Y:%m:%d %H:%M:%S%z"), (text, "%Y:%m:%d %H:%M:%S")):
            try:
                return datetime.strptime(stamp, form).isoformat()
            except ValueError:
                continue
    return None
