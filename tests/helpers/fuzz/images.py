"""Photographs: small ones of every kind with damaged bytes and odd Exif, and one of the demo's."""

from __future__ import annotations

import io
import json
import math
import os
import warnings
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from helpers.demo import FOLDER, TRUTH, options
from helpers.fuzz.entrance import Entrance, mutated, odd_texts
from helpers.phones import exif_of_a_phone, pixels, saved
from hypothesis import strategies as st
from PIL import ExifTags, Image, TiffImagePlugin

from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.photo.photo import load_photo
from gapvision.photo.scrub import NotScrubbable, scrubbed
from gapvision.spine import measure

HEADER = 700  # bytes in which all that a decoder is told of the picture stands
SCALE = 0.4  # of the demo's photographs, so that one measurement takes a second
_HEIC = ("HEIC", "HEIC grey")


@cache
def _bases() -> dict[str, bytes]:
    """A valid photograph of every kind that can be read, without a card."""
    import pillow_heif

    exif = exif_of_a_phone().tobytes()
    heic, grey = io.BytesIO(), io.BytesIO()
    pillow_heif.from_pillow(pixels()).save(heic, exif=exif)
    pillow_heif.from_pillow(pixels().convert("L")).save(grey)
    deep = np.asarray(pixels()).astype(np.uint16) * 257
    return {
        "JPEG": saved("JPEG", exif=exif),
        "JPEG progressive": saved("JPEG", progressive=True),
        "PNG": saved("PNG", exif=exif),
        "PNG 16": cv2.imencode(".png", deep)[1].tobytes(),
        "TIFF": saved("TIFF"),
        "TIFF packed": saved("TIFF", compression="tiff_lzw"),
        "TIFF 16": cv2.imencode(".tiff", deep)[1].tobytes(),
        "HEIC": heic.getvalue(),
        "HEIC grey": grey.getvalue(),
    }


@st.composite
def _damaged(draw) -> bytes:
    if draw(st.integers(0, 19)) == 0:
        first = draw(
            st.sampled_from((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"\0\0\0 ftypheic"))
        )
        return first + draw(st.binary(max_size=200))
    base = _bases()[draw(st.sampled_from(sorted(_bases())))]
    return draw(mutated(base, draw(st.sampled_from((16, HEADER, None)))))


def _check_damaged(content: bytes, folder: Path) -> None:
    """A refusal: nothing in it is a card."""
    path = folder / "photo.jpg"
    path.write_bytes(content)
    try:
        photo = load_photo(path)
        assert photo.bgr.ndim == 3 and photo.bgr.shape[2] == 3
        assert photo.bgr.dtype in (np.uint8, np.uint16)
        assert photo.facts.size == photo.bgr.shape[1::-1]
    except MeasurementError as error:
        assert error.text.endswith(".")
    else:
        try:
            measure(MeasureOptions(photos=(path,)))
        except MeasurementError as error:
            assert error.text.endswith(".")
        else:
            raise AssertionError("a number from a picture without a card")
    try:
        scrubbed(content)
    except NotScrubbable as error:
        assert str(error)


_TAGS = (
    ExifTags.Base.Make, ExifTags.Base.Model, ExifTags.Base.Orientation, ExifTags.Base.DateTime,
    ExifTags.Base.OffsetTime,
)  # fmt: skip
_OWN_TAGS = (
    ExifTags.Base.FocalLengthIn35mmFilm, ExifTags.Base.DigitalZoomRatio, ExifTags.Base.LensModel,
    ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal, ExifTags.Base.FocalLength,
)  # fmt: skip
_TAG_VALUES = st.one_of(
    odd_texts,
    st.integers(0, 65535),
    st.integers(0, 2**32 - 1),
    st.builds(
        TiffImagePlugin.IFDRational, st.integers(0, 2**32 - 1), st.sampled_from((0, 1, 7, 2**31))
    ),
    st.binary(max_size=12),
    st.sampled_from(
        ("2026:05:14 09:12:33", "0000:00:00 00:00:00", "+02:00", "+99:99", "9999:12:31 23:59:60")
    ),
)


def _check_exif(tags: tuple[dict, dict], folder: Path) -> None:
    """Facts are sane whatever is written, and a camera's words are plain text on one line."""
    exif = Image.Exif()
    exif.update(tags[0])
    exif[ExifTags.IFD.Exif] = tags[1]
    path = folder / "photo.jpg"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            pixels().save(path, "JPEG", exif=exif)
        except Exception:  # what no writer can write no camera can
            return
    try:
        facts = load_photo(path).facts
    except MeasurementError as error:
        assert error.text
        return
    size = max(facts.size)
    assert 0.2 * size < facts.focal_px < 40 * size, f"{facts.focal_px} px"
    assert 0 < facts.u_focal_px < math.inf
    for words in (facts.make, facts.model, facts.lens):
        assert words == " ".join(words.split()) and "\0" not in words
    json.dumps([facts.make, facts.model, facts.lens, facts.taken], allow_nan=False).encode()
    assert len(os.fsencode(facts.key.name)) < 10_000


@cache
def _demos() -> tuple[bytes, ...]:
    """The demo's level photograph made smaller, with a camera's Exif, as phones and programs write it."""
    import pillow_heif

    picture = Image.open(io.BytesIO(FOLDER.joinpath(TRUTH["files"][0]).read_bytes()))
    size = [round(SCALE * side) for side in picture.size]
    small, exif = picture.resize(size, Image.Resampling.LANCZOS), picture.info.get("exif", b"")
    plain, restarts, progressive, heic, lzw = (io.BytesIO() for _ in range(5))
    small.save(plain, "JPEG", quality=92, exif=exif)
    small.save(restarts, "JPEG", quality=92, exif=exif, restart_marker_rows=1)
    small.save(progressive, "JPEG", quality=92, exif=exif, progressive=True)
    pillow_heif.from_pillow(small).save(heic, quality=85, exif=exif)
    small.save(lzw, "TIFF", compression="tiff_lzw")
    return tuple(f.getvalue() for f in (plain, restarts, progressive, heic, lzw))


@st.composite
def _damaged_demo(draw) -> bytes:
    """Anything may happen to its bytes; or a sector of a disk is lost; or the end."""
    base = draw(st.sampled_from(_demos()))
    how = draw(st.sampled_from(("mutated", "filled", "noise", "cut")))
    if how == "mutated":
        return draw(mutated(base))
    at = draw(st.integers(len(base) // 50, len(base) - 600))
    if how == "cut":
        return base[:at]
    lost = draw(st.sampled_from((64, 512, 4096)))
    other = (
        bytes(lost) if how == "filled" else draw(st.randoms(use_true_random=False)).randbytes(lost)
    )
    return (base[:at] + other + base[at + lost :])[: len(base)]


def _check_demo(content: bytes, folder: Path) -> None:
    """Refused, doubtful or right, whatever has happened to the file on its way."""
    path = folder / "photo.jpg"
    path.write_bytes(content)
    try:
        m = measure(options(path))
    except MeasurementError as error:
        assert error.text.endswith(".")
        return
    if m.status == "measured":
        for found, true in (
            (m.setting, TRUTH["setting_mm"]),
            (m.widest_gap, TRUTH["widest_gap_mm"]),
        ):
            assert abs(found.value_mm - true) <= found.U95_mm, f"{found} and not {true}, quietly"


ENTRANCES = {
    "pictures with damaged bytes": Entrance(_damaged(), _check_damaged, 40),
    "odd Exif": Entrance(
        st.tuples(
            st.dictionaries(st.sampled_from(_TAGS), _TAG_VALUES, max_size=4),
            st.dictionaries(st.sampled_from(_OWN_TAGS), _TAG_VALUES, max_size=4),
        ),
        _check_exif,
        20,
    ),
    "a photograph of a joint with damaged bytes": Entrance(_damaged_demo(), _check_demo, 1),
}
