"""What photographs tell besides the picture: gone from exports, and the picture bit for bit there."""

import io
import struct
import zlib
from functools import cache

import cv2
import numpy as np
import pillow_heif
import pytest
from helpers.phones import IFD, SECRETS, XMP, Base, exif_of_a_phone, jpeg, pixels, saved
from PIL import Image, ImageCms, PngImagePlugin

from gapvision.photo.photo import load_photo
from gapvision.photo.scrub import NotScrubbable, scrubbed
from gapvision.photo.scrub.hevc import clean_record


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
    profile = large_profile()  # in two segments
    content = jpeg(progressive=progressive, icc_profile=profile)
    out = scrubbed(content)
    check_nothing_told(out)
    assert scan_of(out) == scan_of(content)
    bgr = check_still_measurable(out, tmp_path, "out.jpg")
    (tmp_path / "in.jpg").write_bytes(content)
    assert (bgr == load_photo(tmp_path / "in.jpg").bgr).all()
    assert bgr.shape == (800, 600, 3)  # upright: the orientation stayed
    with Image.open(io.BytesIO(out)) as image:
        assert len(image.info["icc_profile"]) > 65536
        assert (as_seen(image.info["icc_profile"]) == as_seen(profile)).all()
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


def test_other_kinds_are_not_passed_on():
    with pytest.raises(NotScrubbable):
        scrubbed(b"RIFF....WEBP my street")


# --- what hides where nobody looks ----------------------------------------------------------------

SECRET = b"my street 12, 61.5 N"


def segment(marker, body):
    return b"\xff" + bytes([marker]) + struct.pack(">H", len(body) + 2) + body


def with_segment(content, marker, body):
    return content[:2] + segment(marker, body) + content[2:]


def large_profile():
    """A profile whose curves have 16384 points each, too long for one segment."""
    # No byte of it is FF, so that no piece of it looks like a marker.
    curve = (np.linspace(0, 0xFEFE, 16384).astype(np.uint16) & 0xFFFE).astype(">u2").tobytes()
    head = b"curv\0\0\0\0" + struct.pack(">I", 16384)
    curves = {b"rTRC": curve, b"gTRC": curve[2:] + curve[-2:], b"bTRC": curve[4:] + curve[-4:]}
    return profile_with(b"", {name: head + values for name, values in curves.items()})


def profile_with(text, others=None):
    """sRGB by littleCMS, with a text among its tags and one behind them."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    count = struct.unpack_from(">I", profile, 128)[0]
    table = [list(struct.unpack_from(">4sII", profile, 132 + 12 * i)) for i in range(count)]
    bodies = [profile[at : at + size] for _, at, size in table]
    for i, (name, _, _) in enumerate(table):
        bodies[i] = (others or {}).get(name, bodies[i])
        if name == b"cprt":
            bodies[i] = b"text\0\0\0\0" + text + b"\0"
    table.append([b"dmnd", 0, 0])
    bodies.append(b"text\0\0\0\0" + text + b"\0")
    out, at = b"", 132 + 12 * len(table)
    entries = b""
    for (name, _, _), body in zip(table, bodies, strict=True):
        body += b"\0" * (-len(body) % 4)
        entries += struct.pack(">4sII", name, at, len(body))
        out, at = out + body, at + len(body)
    whole = profile[:128] + struct.pack(">I", len(table)) + entries + out + text
    return struct.pack(">I", len(whole)) + whole[4:]


def as_seen(profile):
    """What some colours of a picture with this profile are in Lab."""
    colours = Image.fromarray(np.arange(192, dtype=np.uint8).reshape(8, 8, 3))
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    lab = ImageCms.createProfile("LAB")
    turned = ImageCms.applyTransform(colours, ImageCms.buildTransform(source, lab, "RGB", "LAB"))
    return np.asarray(turned)


@pytest.mark.parametrize(
    ("marker", "body"),
    [
        (0xEE, b"Adobe\0\x64\0\0\0\0\x01" + SECRET),  # behind what Adobe's segment says
        (0xE0, b"JFIF\0\1\1\0\0\1\0\1\0\0" + SECRET),
        (0xE0, b"JFIF\0\1\1\0\0\1\0\1\x01\x07" + SECRET + b"!"),  # as a thumbnail of 1 x 7 px
        (0xE2, b"ICC_PROFILE\0\1\1" + SECRET),
        (0xF0, SECRET), (0xF7, SECRET), (0x02, SECRET), (0xEE, SECRET), (0xEF, SECRET), (0xFE, SECRET),
    ],
)  # fmt: skip
def test_jpeg_segments_hide_nothing(marker, body):
    content = with_segment(saved("JPEG", quality=90), marker, body)
    out = scrubbed(content)
    assert SECRET not in out and scan_of(out) == scan_of(content)
    assert (decoded_bgr(out) == decoded_bgr(saved("JPEG", quality=90))).all()
    assert scrubbed(out) == out


def decoded_bgr(content):
    return cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_UNCHANGED)


def test_frames_and_tables_that_are_longer_than_they_say_are_not_passed_on():
    content = saved("JPEG", quality=90)
    at = content.index(b"\xff\xc0")
    size = struct.unpack_from(">H", content, at + 2)[0]
    longer = (
        content[: at + 2] + struct.pack(">H", size + len(SECRET)) + content[at + 4 : at + 2 + size]
        + SECRET + content[at + 2 + size :]
    )  # fmt: skip
    with pytest.raises(NotScrubbable, match="damaged"):
        scrubbed(longer)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_colour_profiles_lose_their_texts_and_keep_their_colours(kind):
    profile = profile_with(SECRET)
    content = saved(kind, icc_profile=profile)
    out = scrubbed(content)
    with Image.open(io.BytesIO(out)) as image:
        kept = image.info["icc_profile"]
    assert SECRET not in out and SECRET not in kept
    assert (as_seen(kept) == as_seen(profile)).all()
    assert scrubbed(out) == out


def test_what_is_no_colour_profile_goes():
    out = scrubbed(saved("JPEG", icc_profile=SECRET * 4000))
    assert SECRET not in out


def test_png_with_more_in_its_stream_than_a_picture():
    content = saved("PNG")
    body = chunks(content)[b"IDAT"]
    at = content.index(b"IDAT") - 4
    head, end = content[:at], content[content.rindex(b"IEND") - 4 :]

    def chunk(kind, data):
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    with pytest.raises(NotScrubbable, match="more in it"):
        scrubbed(head + chunk(b"IDAT", body + SECRET) + end)
    assert SECRET not in scrubbed(head + chunk(b"IDAT", body) + end + SECRET)
    assert SECRET not in scrubbed(head + chunk(b"pHYs", bytes(9)) + chunk(b"IDAT", body) + end)


@cache
def heic(**more):
    file = io.BytesIO()
    pillow_heif.from_pillow(pixels()).save(file, quality=90, **more)
    return file.getvalue()


def boxes(content, at=0, end=None):
    """Kind, begin of the body and end of each box."""
    while at < (end or len(content)):
        size, kind = struct.unpack_from(">I4s", content, at)
        yield kind, at + 8, at + size
        at += size


@pytest.mark.parametrize("kind", [b"free", b"skip"])
def test_heic_boxes_that_are_free_are_empty(kind):
    content = heic()
    hidden = content + struct.pack(">I4s", 8 + len(SECRET), kind) + SECRET
    out = scrubbed(hidden)
    assert SECRET not in out and len(out) == len(hidden)
    assert (pixels_of_heic(out) == pixels_of_heic(content)).all()


def pixels_of_heic(content):
    return np.asarray(pillow_heif.open_heif(io.BytesIO(content)))


def test_heic_data_that_no_picture_names_is_empty():
    content = heic()
    *_, (kind, begin, end) = boxes(content)
    assert kind == b"mdat" and end == len(content)
    hidden = bytearray(content + SECRET)
    struct.pack_into(">I", hidden, begin - 8, end - begin + 8 + len(SECRET))
    out = scrubbed(bytes(hidden))
    assert SECRET not in out
    assert (pixels_of_heic(out) == pixels_of_heic(content)).all()


def unit(kind, body):
    """A unit of HEVC with its length before it."""
    return struct.pack(">IBB", len(body) + 2, kind << 1, 1) + body


def enhancement(text):
    """The payload of a unit that carries data of nobody's registration (H.265, D.2.6 and D.3.6)."""
    return bytes((5, 16 + len(text))) + b"0123456789abcdef" + text + b"\x80"


@pytest.mark.parametrize("kind", [39, 40, 38, 41, 48, 63])
@pytest.mark.parametrize("place", ["before", "behind"])
def test_heic_picture_data_hide_nothing_between_their_slices(kind, place):
    content = heic()
    hidden = with_unit(content, unit(kind, enhancement(SECRET)), place)
    assert (pixels_of_heic(hidden) == pixels_of_heic(content)).all()
    out = scrubbed(hidden)
    assert SECRET not in out and len(out) == len(hidden)
    assert (pixels_of_heic(out) == pixels_of_heic(content)).all()
    assert scrubbed(out) == out


def with_unit(content, more, place):
    """Units put before or behind the slices of a file whose only data are one picture's."""
    *_, (kind, begin, end) = boxes(content)
    iloc = content.index(b"iloc")
    # Where the picture's data begin; one piece, from there on; and how many they are.
    at = content.index(struct.pack(">IHI", begin, 1, 0), iloc) + 10
    size = struct.unpack_from(">I", content, at)[0]
    assert kind == b"mdat" and begin + size == end == len(content)
    data = more + content[begin:] if place == "before" else content[begin:] + more
    out = bytearray(content[:begin] + data)
    struct.pack_into(">I", out, begin - 8, len(data) + 8)
    struct.pack_into(">I", out, at, len(data))
    return bytes(out)


def test_heic_decoder_settings_hide_nothing():
    text = enhancement(SECRET)
    nal = struct.pack(">HBB", len(text) + 2, 39 << 1, 1) + text
    record = bytes(21) + b"\xff\1" + b"\xa7\0\1" + nal
    out = clean_record(record)
    assert SECRET not in out and len(out) == len(record)
    assert out == clean_record(out)
    with pytest.raises(NotScrubbable, match="damaged"):
        clean_record(record + SECRET)
    parameters = bytes(21) + b"\xff\1" + b"\xa1\0\1\0\3" + b"\x42\1a"
    assert clean_record(parameters) == parameters


def test_heic_of_another_coding_is_not_passed_on():
    """Also AV1 has units in which anybody may write anything."""
    with pytest.raises(NotScrubbable, match="whose notes are not known"):
        scrubbed(heic().replace(b"hvc1", b"av01"))


def test_heic_whose_units_are_not_as_long_as_its_data_is_not_passed_on():
    content = heic()
    *_, (_, begin, _) = boxes(content)
    longer = bytearray(content)
    struct.pack_into(">I", longer, begin, 0x7FFFFFFF)
    with pytest.raises(NotScrubbable, match="damaged"):
        scrubbed(bytes(longer))


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(60, 80), (60, 80, 3), (60, 80, 4)])
def test_tiff_is_written_anew_with_the_same_pixels(depth, shape):
    rng = np.random.default_rng(5)
    picture = rng.integers(0, np.iinfo(depth).max, shape, depth, endpoint=True)
    content = cv2.imencode(".tiff", picture)[1].tobytes()
    out = scrubbed(content + SECRET)
    assert SECRET not in out
    assert (decoded_bgr(out) == decoded_bgr(content)).all() and decoded_bgr(out).dtype == depth
    assert scrubbed(out) == out


def test_tiff_loses_its_notes_and_keeps_what_is_measured_by(tmp_path):
    exif = exif_of_a_phone()
    content = saved("TIFF", exif=exif.tobytes())
    assert b"my street" in content and b"SN-1234567" in content
    out = scrubbed(content)
    check_nothing_told(out)
    bgr = check_still_measurable(out, tmp_path, "out.tif")
    (tmp_path / "in.tif").write_bytes(content)
    assert (bgr == load_photo(tmp_path / "in.tif").bgr).all()
    assert bgr.shape == (800, 600, 3)  # upright: the orientation stayed


@pytest.mark.parametrize("orientation", range(1, 9))
def test_tiff_keeps_how_it_is_turned(orientation):
    exif = Image.Exif()
    exif[Base.Orientation] = orientation
    content = saved("TIFF", exif=exif.tobytes())
    out = scrubbed(content)
    assert (decoded_bgr(out) == decoded_bgr(content)).all()
    with Image.open(io.BytesIO(out)) as image:
        assert image.tag_v2[Base.Orientation] == orientation


def test_tiff_of_several_pages_is_not_passed_on():
    file = io.BytesIO()
    pixels().save(file, "TIFF", save_all=True, append_images=[pixels()])
    with pytest.raises(NotScrubbable, match="pages"):
        scrubbed(file.getvalue())


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIC"])
def test_no_bytes_make_it_stumble(kind):
    """Of a few hundred damaged files each is freed or refused."""
    content = heic() if kind == "HEIC" else saved(kind, exif=exif_of_a_phone().tobytes())
    rng = np.random.default_rng(11)
    for _ in range(150):
        damaged = bytearray(
            content[: rng.integers(20, len(content))] if rng.random() < 0.3 else content
        )
        for at in rng.integers(0, min(len(damaged), 900), rng.integers(1, 9)):
            damaged[at] = rng.integers(0, 256)
        try:
            scrubbed(bytes(damaged))
        except NotScrubbable:
            continue
