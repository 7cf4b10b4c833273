"""What photographs tell besides the picture: gone from exports, and the picture bit for bit there."""

import io
import struct
import zlib

import cv2
import numpy as np
import pillow_heif
import pytest
from helpers.phones import IFD, SECRETS, XMP, Base, exif_of_a_phone, jpeg, pixels, saved
from PIL import Image, PngImagePlugin

from gapvision.photo.photo import load_photo
from gapvision.photo.scrub import NotScrubbable, scrubbed


def exif_in(content):
    with Image.open(io.BytesIO(content)) as image:
        exif = image.getexif()
        return {**exif, **exif.get_ifd(IFD.Exif)}, dict(exif.get_ifd(IFD.GPSInfo))


def scan_of(content):
    """From the start of the first scan on: the compressed picture itself."""
    return content[content.index(b"\xff\xda") :]


def check_nothing_told(content):
    tags, gps = exif_in(content)
    assert not gps
    assert not {Base.BodySerialNumber, Base.LensSerialNumber, Base.CameraOwnerName} & set(tags)
    assert Base.MakerNote not in tags
    for secret in (*SECRETS, b"GPSLatitude", struct.pack(">I", 61) + struct.pack(">I", 1)):
        assert secret not in content


def check_still_measurable(content, tmp_path, name):
    """What `measure` reads of the file is as in the original."""
    (tmp_path / name).write_bytes(content)
    photo = load_photo(tmp_path / name)
    facts = photo.facts
    assert (facts.make, facts.model, facts.lens, facts.focal35_mm, facts.taken) == (
        "Example", "EX-1", "EX main", 26.0, "2026-05-14T09:12:33+02:00",
    )  # fmt: skip
    return photo.bgr


@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_keeps_its_compressed_picture_bit_for_bit(tmp_path, progressive):
    profile = b"a profile of colours" * 5000  # in two segments
    content = jpeg(progressive=progressive, icc_profile=profile)
    out = scrubbed(content)
    check_nothing_told(out)
    assert scan_of(out) == scan_of(content)
    bgr = check_still_measurable(out, tmp_path, "out.jpg")
    (tmp_path / "in.jpg").write_bytes(content)
    assert (bgr == load_photo(tmp_path / "in.jpg").bgr).all()
    assert bgr.shape == (800, 600, 3)  # upright: the orientation stayed
    with Image.open(io.BytesIO(out)) as image:
        assert image.info["icc_profile"] == profile
    assert scrubbed(out) == out


def test_jpeg_loses_what_phones_append_behind_the_picture():
    content = jpeg(comment=b"my street")
    video = b"\x00\x00\x00\x18ftypmp42 my street"
    assert scrubbed(content + jpeg() + video) == scrubbed(content)


def test_jpeg_with_restart_markers_and_without_exif(tmp_path):
    options = [cv2.IMWRITE_JPEG_RST_INTERVAL, 4]
    content = cv2.imencode(".jpg", np.asarray(pixels()), options)[1].tobytes()
    assert content.count(b"\xff\xd0") > 1
    assert scrubbed(content) == content  # OpenCV writes nothing that tells anything


@pytest.mark.parametrize("share", [0.3, 0.999])
def test_a_broken_jpeg_is_not_passed_on(share):
    content = jpeg()
    with pytest.raises(NotScrubbable, match="damaged"):
        scrubbed(content[: int(len(content) * share)])


def test_png(tmp_path):
    told = PngImagePlugin.PngInfo()
    told.add_text("Author", "Owner Name")
    told.add_itxt("XML:com.adobe.xmp", XMP.decode())
    content = saved("PNG", exif=exif_of_a_phone().tobytes(), pnginfo=told)
    out = scrubbed(content)
    check_nothing_told(out)
    bgr = check_still_measurable(out, tmp_path, "out.png")
    assert bgr.shape == (800, 600, 3)
    upright = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
    assert (bgr == upright).all()
    assert chunks(out)[b"IDAT"] == chunks(content)[b"IDAT"]


def chunks(content):
    """Bodies by kind; each checksum is checked by zlib's CRC."""
    out, at = {}, 8
    while at < len(content):
        size, kind = struct.unpack_from(">I4s", content, at)
        body = content[at + 8 : at + 8 + size]
        assert struct.unpack_from(">I", content, at + 8 + size)[0] == zlib.crc32(kind + body)
        out[kind] = out.get(kind, b"") + body
        at += size + 12
    return out


def test_heic_is_overwritten_in_place(tmp_path):
    pillow_heif.register_heif_opener()
    heif = pillow_heif.from_pillow(pixels())
    file = io.BytesIO()
    heif.save(file, quality=90, exif=exif_of_a_phone().tobytes(), xmp=XMP)
    content = file.getvalue()
    assert b"SN-1234567" in content and b"GPSLatitude" in content
    out = scrubbed(content)
    check_nothing_told(out)
    assert len(out) == len(content)
    bgr = check_still_measurable(out, tmp_path, "out.heic")
    (tmp_path / "in.heic").write_bytes(content)
    assert (bgr == load_photo(tmp_path / "in.heic").bgr).all()
    assert scrubbed(out) == out


def test_heic_with_a_video_behind_it_is_left_out():
    file = io.BytesIO()
    pillow_heif.from_pillow(pixels()).save(file)
    with pytest.raises(NotScrubbable, match="more in it"):
        scrubbed(file.getvalue() + struct.pack(">I4s", 16, b"mpvd") + b"my place")


def test_tiff_goes_as_it_is_or_not_at_all():
    plain = saved("TIFF")
    assert scrubbed(plain) == plain
    with pytest.raises(NotScrubbable, match="TIFF"):
        scrubbed(saved("TIFF", tiffinfo={270: "my street"}))


def test_other_kinds_are_not_passed_on():
    with pytest.raises(NotScrubbable):
        scrubbed(b"RIFF....WEBP my street")
