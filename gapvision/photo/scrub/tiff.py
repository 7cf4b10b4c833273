"""TIFF 6.0: pixels and notes are interwoven by their places in the file, so that it is written anew."""

from __future__ import annotations

import io
import struct
import warnings
import zlib

import cv2
import numpy as np
from PIL import ExifTags, TiffImagePlugin

from gapvision.photo.decode import pixels_of
from gapvision.photo.scrub.notes import NotScrubbable, clean_profile, exif_that_stays

_MOST_PIXELS = 100_000_000
_DEFLATE = 8  # compression: Adobe Photoshop TIFF technical notes, 2002
_ICC, _ALPHA = 34675, 338
# From an upright picture back to how it lies in the file, by its orientation (TIFF 6.0, tag 274).
_UNTURNED = {
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: np.rot90(a),
    7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
    8: lambda a: np.rot90(a, -1),
}
_NOT_ANEW = "a TIFF of a kind that cannot be written anew"
_AS_MEASURED = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH


def free_tiff(content: bytes) -> bytes:
    """The same pixels in a new file, with the Exif that may stay; else `NotScrubbable` is raised."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = TiffImagePlugin.TiffImageFile(io.BytesIO(content))
        if image.n_frames > 1:
            raise NotScrubbable("a TIFF of several pages")
        if image.width * image.height > _MOST_PIXELS:
            raise NotScrubbable("too large")
        main, inner = exif_that_stays(image.getexif())
        profile = clean_profile(image.info.get("icc_profile") or b"")
        alpha = image.tag_v2.get(_ALPHA, 0)
    pixels, wrong = pixels_of(content, cv2.IMREAD_UNCHANGED)
    if pixels is None or wrong:
        raise NotScrubbable("damaged")
    if pixels.dtype not in (np.uint8, np.uint16):
        raise NotScrubbable(_NOT_ANEW)
    measured, _ = pixels_of(content, _AS_MEASURED)
    if measured is None:
        raise NotScrubbable(_NOT_ANEW)
    held = main.get(ExifTags.Base.Orientation)
    turned = _UNTURNED.get(held) if isinstance(held, int) else None
    for stored in (
        pixels,
        *([turned(pixels)] if turned else ()),
    ):  # OpenCV turns some kinds upright
        out = _written(np.ascontiguousarray(stored), main, inner, profile, alpha)
        again, _ = pixels_of(out, _AS_MEASURED)
        if again is not None and np.array_equal(measured, again):
            return out
    raise NotScrubbable(_NOT_ANEW)


def _written(
    pixels: np.ndarray, main: dict[int, object], inner: dict[int, object],
    profile: bytes, alpha: object,
) -> bytes:  # fmt: skip
    """A TIFF of one strip.

    Parameters
    ----------
    pixels : array, shape (h, w) or (h, w, 3 or 4), uint8 or uint16
        Blue first.
    main, inner : dict
        Tags by number, of the file and of Exif.
    profile : bytes
        Of colours; empty where there is none.
    alpha : int or tuple of int
        What the fourth sample is, where there is one.
    """
    samples = 1 if pixels.ndim == 2 else pixels.shape[2]
    if samples > 1:
        order = cv2.COLOR_BGR2RGB if samples == 3 else cv2.COLOR_BGRA2RGBA
        pixels = cv2.cvtColor(pixels, order)
    packed = zlib.compress(pixels.astype(pixels.dtype.newbyteorder("<"), copy=False).tobytes())
    tags = TiffImagePlugin.ImageFileDirectory_v2(b"II*\0\0\0\0\0")
    for tag, value in main.items():
        tags[tag] = value
    tags[256], tags[257] = pixels.shape[1], pixels.shape[0]
    tags[258] = (8 * pixels.dtype.itemsize,) * samples
    tags[259], tags[262], tags[277] = _DEFLATE, 1 if samples == 1 else 2, samples
    tags[273], tags[278], tags[279], tags[284] = 0, pixels.shape[0], len(packed), 1
    if samples == 4:
        tags[_ALPHA] = alpha  # whether the colours are multiplied by it
    if profile:
        tags.tagtype[_ICC] = 7
        tags[_ICC] = profile
    if inner:
        tags[ExifTags.IFD.Exif] = inner
    head = tags.tobytes(8)  # which adds its own length to where the strip lies
    return b"II*\0" + struct.pack("<I", 8) + head + packed
