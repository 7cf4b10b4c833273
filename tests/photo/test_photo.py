"""Photographs as files: upright once, light by the published curve, every refusal in its words."""

from __future__ import annotations

import errno
import hashlib
import io
import struct
import zlib

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageOps

from gapvision.errors import PhotoUnreadable, PhotoUnusable
from gapvision.photo.focal import focal_prior
from gapvision.photo.light import linear, to_8bit
from gapvision.photo.photo import load_photo, photo_paths

WIDTH, HEIGHT = 720, 450
FAST = {"preset": "ultrafast"}  # of the HEIC encoder


def scene() -> np.ndarray:
    """RGB picture without any symmetry: smooth ramps, a white bar at the top, a red patch."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    rgb = np.stack([x / WIDTH * 200, y / HEIGHT * 180, (x + 2 * y) / 10], axis=-1)
    rgb[10:40, 30:500] = 255
    rgb[300:420, 600:700] = (230, 20, 40)
    return rgb.astype(np.uint8)


def exif(orientation: int = 1, **camera: object) -> Image.Exif:
    tags = Image.Exif()
    tags[0x0112] = orientation
    tags[0x010F], tags[0x0110] = camera.pop("make", "Acme"), "Phone 7"
    names = {"f35": 0xA405, "zoom": 0xA404, "lens": 0xA434, "taken": 0x9003, "offset": 0x9011}
    tags.get_ifd(0x8769).update({names[name]: value for name, value in camera.items()})
    return tags


def jpeg_bytes(rgb: np.ndarray | None = None, **save: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(scene() if rgb is None else rgb).save(out, "JPEG", quality=90, **save)
    return out.getvalue()


def written(tmp_path, name: str, data: bytes):
    path = tmp_path / name
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF"])
def test_each_exif_orientation_matches_pillow_exif_transpose(tmp_path, form, orientation):
    out = io.BytesIO()
    Image.fromarray(scene()).save(out, form, exif=exif(orientation, f35=26).tobytes())
    photo = load_photo(written(tmp_path, "IMG_1", out.getvalue()))
    upright = np.asarray(ImageOps.exif_transpose(Image.open(out)))[..., ::-1]
    assert photo.bgr.shape == upright.shape
    # Pillow's and OpenCV's JPEG decoders may round and interpolate colour differently by a level
    # or two on smooth ground; a wrong turn differs by a hundred.
    difference = np.abs(photo.bgr.astype(int) - upright)
    assert np.mean(difference) < (0.5 if form == "JPEG" else 1e-9)
    assert photo.facts.focal_px == pytest.approx(26 / 36 * WIDTH)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_all_orientations_of_one_scene_give_the_same_upright_picture(tmp_path, orientation):
    undo = {2: [1], 3: [3], 4: [0], 5: [5], 6: [2], 7: [6], 8: [4]}.get(orientation, [])
    stored = Image.fromarray(scene())
    for step in undo:  # from Exif 2.32's table: what the camera stores for this orientation
        stored = stored.transpose(
            {
                0: Image.Transpose.FLIP_TOP_BOTTOM,
                1: Image.Transpose.FLIP_LEFT_RIGHT,
                2: Image.Transpose.ROTATE_90,
                3: Image.Transpose.ROTATE_180,
                4: Image.Transpose.ROTATE_270,
                5: Image.Transpose.TRANSPOSE,
                6: Image.Transpose.TRANSVERSE,
            }[step]
        )
    out = io.BytesIO()
    stored.save(out, "PNG", exif=exif(orientation))
    photo = load_photo(written(tmp_path, "a.png", out.getvalue()))
    np.testing.assert_array_equal(photo.bgr[..., ::-1], scene())


@pytest.mark.parametrize("orientation", [1, 2, 6, 7])
def test_heic_round_trip_is_upright_once(tmp_path, orientation):
    image = pillow_heif.from_pillow(Image.fromarray(scene()))
    image.info["exif"] = exif(orientation, f35=24, taken="2025:11:25 10:20:30").tobytes()
    path = tmp_path / "IMG_2.HEIC"
    image.save(path, quality=90, enc_params=FAST)
    photo = load_photo(path)
    turned = Image.fromarray(scene())
    turned.getexif()[0x0112] = orientation
    upright = np.asarray(ImageOps.exif_transpose(turned))[..., ::-1]
    assert photo.bgr.shape == upright.shape
    assert np.mean(np.abs(photo.bgr.astype(int) - upright)) < 3  # lossy coding, levels of 255
    assert photo.facts.focal_px == pytest.approx(24 / 36 * WIDTH)
    assert photo.facts.taken == "2025-11-25T10:20:30"


@pytest.mark.parametrize("mode", ["L", "RGBA"])
def test_heic_grey_and_alpha_become_three_channels(tmp_path, mode):
    path = tmp_path / "a.heif"
    picture = Image.fromarray(scene()).convert(mode)
    pillow_heif.from_pillow(picture).save(path, quality=90, enc_params=FAST)
    photo = load_photo(path)
    expected = np.asarray(picture.convert("RGB"))[..., ::-1]
    assert photo.bgr.shape == (HEIGHT, WIDTH, 3)
    assert np.mean(np.abs(photo.bgr.astype(int) - expected)) < 3


def test_heic_of_ten_bits_stays_16_bit(tmp_path):
    path = tmp_path / "a.heic"
    deep = scene().astype(np.uint16) * 257
    raw = deep.astype("<u2").tobytes()
    pillow_heif.encode("RGB;16", (WIDTH, HEIGHT), raw, path, quality=90, enc_params=FAST)
    photo = load_photo(path)
    assert photo.bgr.dtype == np.uint16
    assert np.mean(np.abs(photo.bgr.astype(int) - deep[..., ::-1])) < 3 * 257


@pytest.mark.parametrize("suffix", [".png", ".tiff"])
@pytest.mark.parametrize("channels", [1, 3, 4])
def test_16_bit_png_and_tiff_keep_every_bit(tmp_path, suffix, channels):
    values = np.random.default_rng(5).integers(0, 65536, (HEIGHT, WIDTH, channels), np.uint16)
    path = written(tmp_path, "deep" + suffix, cv2.imencode(suffix, values)[1].tobytes())
    photo = load_photo(path)
    assert photo.bgr.dtype == np.uint16
    np.testing.assert_array_equal(photo.bgr, np.broadcast_to(values[..., :3], photo.bgr.shape))


def test_more_16_bit_pixels_than_memory_takes_are_read_in_8(tmp_path, monkeypatch):
    """Each level at its nearest: what is measured moves by half a level at most."""
    monkeypatch.setattr("gapvision.photo.photo.MOST_DEEP_PIXELS", WIDTH * HEIGHT - 1)
    values = np.random.default_rng(5).integers(0, 65536, (HEIGHT, WIDTH, 3), np.uint16)
    photo = load_photo(written(tmp_path, "deep.png", cv2.imencode(".png", values)[1].tobytes()))
    assert photo.bgr.dtype == np.uint8
    np.testing.assert_array_equal(photo.bgr, np.rint(values / 257))


@pytest.mark.parametrize("mode", ["L", "LA", "RGBA", "P", "CMYK"])
def test_other_8_bit_colour_modes_become_three_channels(tmp_path, mode):
    form = "TIFF" if mode == "CMYK" else "PNG"
    picture = Image.fromarray(scene()).convert(mode)
    out = io.BytesIO()
    picture.save(out, form)
    photo = load_photo(written(tmp_path, "a", out.getvalue()))
    expected = np.asarray(picture.convert("RGB"))[..., ::-1]
    assert photo.bgr.dtype == np.uint8
    assert np.mean(np.abs(photo.bgr.astype(int) - expected)) < 1


def test_photo_holds_the_facts_of_the_file(tmp_path):
    when = {"taken": "2025:11:25 10:20:30", "offset": "+02:00"}
    tags = exif(6, f35=26, zoom=1.0, lens="Acme 6.8 mm", **when)
    data = jpeg_bytes(exif=tags)
    photo = load_photo(written(tmp_path, "IMG_3.jpg", data))
    assert (photo.facts.file, photo.facts.path) == ("IMG_3.jpg", tmp_path / "IMG_3.jpg")
    assert photo.facts.sha256 == hashlib.sha256(data).hexdigest()
    assert (photo.facts.make, photo.facts.model, photo.facts.lens) == (
        "Acme",
        "Phone 7",
        "Acme 6.8 mm",
    )
    assert (photo.facts.focal35_mm, photo.facts.digital_zoom) == (26.0, 1.0)
    assert photo.facts.taken == "2025-11-25T10:20:30+02:00"
    assert (photo.facts.width, photo.facts.height) == (HEIGHT, WIDTH)
    assert not photo.bgr.flags.writeable


def test_focal_prior_by_hand_for_26_mm_on_12_megapixels():
    # 26/36 * 4032 = 2912 px; by the diagonal 26/43.267 * 5040 = 3028.6 px, which must lie
    # within two standard uncertainties.
    value, u, source = focal_prior(4032, 26.0)
    assert (value, source) == (2912.0, "exif")
    assert u / value == pytest.approx(np.sqrt((0.5 / 26) ** 2 / 3 + 0.02**2 + 0.005**2), rel=1e-12)
    assert 0.022 < u / value < 0.03
    assert abs(26 / np.hypot(36, 24) * np.hypot(4032, 3024) - value) < 2 * u


@pytest.mark.parametrize("f35", [None, 0, 1, 60000])
def test_focal_length_is_assumed_without_a_credible_tag(tmp_path, f35):
    camera = {} if f35 is None else {"f35": f35}
    photo = load_photo(written(tmp_path, "a.jpg", jpeg_bytes(exif=exif(**camera))))
    assert photo.facts.focal_source == "assumed"
    assert photo.facts.focal_px == pytest.approx(27 / 36 * WIDTH)
    assert photo.facts.u_focal_px == pytest.approx(0.12 * photo.facts.focal_px)
    # The usual main cameras of phones, 24-30 mm, lie within one standard uncertainty.
    assert all(
        abs(f / 36 * WIDTH - photo.facts.focal_px) < photo.facts.u_focal_px
        for f in (24, 26, 28, 30)
    )


@pytest.mark.parametrize(("make", "widened"), [("Apple", False), ("Acme", True)])
def test_digital_zoom_widens_the_prior_unless_the_tag_holds_it(tmp_path, make, widened):
    tags = exif(f35=52, zoom=2.0, make=make)
    photo = load_photo(written(tmp_path, "a.jpg", jpeg_bytes(exif=tags)))
    assert photo.facts.digital_zoom == 2.0
    # Unsure: the focal length may be twice as long in pixels, two standard uncertainties away.
    assert (photo.facts.u_focal_px >= 0.5 * photo.facts.focal_px) == widened


def test_picture_without_exif_is_read(tmp_path):
    photo = load_photo(written(tmp_path, "a.jpg", jpeg_bytes()))
    assert (photo.facts.make, photo.facts.lens, photo.facts.taken, photo.facts.focal35_mm) == (
        "",
        "",
        None,
        None,
    )


def test_corrupt_exif_costs_its_facts_only(tmp_path):
    data = jpeg_bytes(exif=exif(f35=26, taken="0000:00:00 00:00:00"))
    start = data.find(b"Exif\0\0")
    for at in range(start + 6, start + 60, 2):
        bad = data[:at] + b"\xff" + data[at + 1 :]
        photo = load_photo(written(tmp_path, "a.jpg", bad))
        assert photo.bgr.shape[2] == 3
        assert photo.facts.taken is None


def test_tiff_with_its_exif_out_of_reach_is_read(tmp_path):
    data = saved("TIFF", tiffinfo={0x8769: 99_999_999})
    assert load_photo(written(tmp_path, "a.tif", data)).facts.focal_source == "assumed"


def test_linear_follows_iec_61966_2_1():
    # IEC 61966-2-1: V/12.92 up to 0.04045, else ((V + 0.055)/1.055)^2.4; mid grey 0.5 is 0.21404.
    deep = linear(np.array([0, round(0.04045 * 65535), 32768, 65535], np.uint16))
    assert deep.dtype == np.float32
    # One step of 16 bits is 1.5e-5 of the encoded value, at most 2.3 times that in light.
    np.testing.assert_allclose(deep, [0, 0.04045 / 12.92, 0.21404, 1], atol=2e-5)
    eight = linear(np.array([[0, 10, 11], [128, 188, 255]], np.uint8))
    hand = [[0, 10 / 255 / 12.92, 0.0033465], [0.2158605, 0.5028865, 1]]
    np.testing.assert_allclose(eight, hand, atol=1e-6)


def test_linear_is_the_same_in_8_and_16_bits_for_every_level_and_shape():
    levels = np.arange(256, dtype=np.uint8).reshape(2, 32, 4)[:, ::2]
    np.testing.assert_array_equal(linear(levels), linear(levels.astype(np.uint16) * 257))
    assert linear(levels).shape == levels.shape
    assert linear(np.empty((0, 3), np.uint8)).shape == (0, 3)
    with pytest.raises(ValueError, match="values must be uint8 or uint16, not float64"):
        linear(np.array([0.5]))


def test_to_8bit_rounds_every_16_bit_level_to_the_nearest():
    levels = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    np.testing.assert_array_equal(to_8bit(levels), np.rint(levels / 257))
    eight = scene()
    assert to_8bit(eight) is eight
    with pytest.raises(ValueError, match="bgr must be uint8 or uint16, not float32"):
        to_8bit(np.zeros((4, 5), np.float32))


def refused(kind, code: str, match: str, path) -> None:
    with pytest.raises(kind, match=match) as caught:
        load_photo(path)
    assert caught.value.code == code
    assert path.name in caught.value.text
    assert caught.value.text.endswith(".")


def test_missing_file_is_refused(tmp_path):
    refused(PhotoUnreadable, "no-file", "There is no file .*: check the name", tmp_path / "a.jpg")


def test_folder_in_place_of_a_file_is_refused(tmp_path):
    refused(PhotoUnreadable, "folder", "is a folder, and one photograph is needed", tmp_path)


def test_forbidden_file_is_refused(tmp_path, monkeypatch):
    def forbid(*args, **more):
        raise PermissionError(errno.EACCES, "Permission denied")

    path = written(tmp_path, "a.jpg", jpeg_bytes())
    monkeypatch.setattr(io, "FileIO", forbid)
    refused(PhotoUnreadable, "no-access", r"cannot be opened \(Permission denied\)", path)


def test_empty_file_is_refused(tmp_path):
    path = written(tmp_path, "a.jpg", b"")
    refused(PhotoUnreadable, "empty-file", "is empty", path)


@pytest.mark.parametrize(
    "data",
    [
        b"hello, this is text",
        b"GIF89a" + bytes(500),
        b"\0\0\0\x14ftypqt  " + bytes(500),
        b"\xff\xd8\xff\xe0" + bytes(500),
        b"\x89PNG\r\n\x1a\n" + bytes(500),
        b"II*\0" + bytes(500),
    ],
    ids=["text", "gif", "film", "no jpeg", "no png", "no tiff"],
)
def test_what_is_no_picture_is_refused(tmp_path, data):
    path = written(tmp_path, "a.jpg", data)
    refused(PhotoUnreadable, "not-an-image", "a JPEG, PNG, TIFF or HEIC photograph is needed", path)


def test_tiff_of_floats_is_refused(tmp_path):
    out = io.BytesIO()
    Image.fromarray(scene()[..., 0].astype(np.float32)).save(out, "TIFF")
    path = written(tmp_path, "a.tif", out.getvalue())
    refused(PhotoUnreadable, "not-an-image", "8 or 16 bits a channel", path)


def heic_bytes() -> bytes:
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene())).save(out, quality=50, enc_params=FAST)
    return out.getvalue()


def saved(form: str, **save: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(scene()).save(out, form, **save)
    return out.getvalue()


@pytest.mark.parametrize(
    ("form", "keep"),
    [(f, k) for f in ("PNG", "TIFF", "HEIC") for k in (0.5, 0.98)] + [("JPEG", 0.3), ("JPEG", 0.5)],
)
def test_truncated_file_is_refused(tmp_path, form, keep):
    data = {
        "JPEG": jpeg_bytes,
        "PNG": lambda: saved("PNG"),
        "TIFF": lambda: cv2.imencode(".tiff", scene())[1].tobytes(),
        "HEIC": heic_bytes,
    }[form]()
    path = written(tmp_path, "a", data[: int(len(data) * keep)])
    # OpenCV's TIFF keeps its directory at the end, so that a cut leaves no picture to speak of.
    code = "not-an-image" if form == "TIFF" else "truncated"
    refused(PhotoUnreadable, code, "holds no picture|breaks off or is damaged", path)


@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_of_which_little_is_lost_is_read_and_tells_what(tmp_path, progressive):
    data = jpeg_bytes(progressive=progressive)
    photo = load_photo(written(tmp_path, "a.jpg", data[: int(len(data) * 0.98)]))
    assert photo.bgr.shape == (HEIGHT, WIDTH, 3)
    assert (photo.damage.x1, photo.damage.y1) == (WIDTH, HEIGHT)
    assert photo.damage.located != progressive
    whole = load_photo(written(tmp_path, "b.jpg", data))
    assert whole.damage is None
    kept = slice(0, photo.damage.y0)
    np.testing.assert_array_equal(photo.bgr[kept], whole.bgr[kept])


def test_heic_without_its_boxes_is_refused(tmp_path):
    path = written(tmp_path, "a.heic", heic_bytes().replace(b"hvc1", b"none"))
    refused(PhotoUnreadable, "truncated", "breaks off or is damaged", path)


def test_truncated_tiff_with_its_directory_first_is_refused(tmp_path):
    data = saved("TIFF")
    refused(PhotoUnreadable, "truncated", "breaks off", written(tmp_path, "a", data[:-9000]))


def test_jpeg_padded_with_zeros_is_noticed_despite_the_end_of_its_thumbnail(tmp_path):
    thumbnail = jpeg_bytes(scene()[::8, ::8].copy())
    block = b"Exif\0\0" + thumbnail
    data = jpeg_bytes()
    data = data[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + data[2:]
    assert load_photo(written(tmp_path, "whole.jpg", data)).facts.height == HEIGHT
    padded = data[:-4000] + bytes(4000)
    assert load_photo(written(tmp_path, "a.jpg", padded)).damage.located
    padded = data[:-15000] + bytes(15000)
    refused(PhotoUnreadable, "truncated", "breaks off", written(tmp_path, "a.jpg", padded))


def test_jpeg_with_another_picture_cut_short_behind_it_is_read(tmp_path):
    data = jpeg_bytes()
    photo = load_photo(written(tmp_path, "a.jpg", data + data[: len(data) // 2]))
    np.testing.assert_array_equal(photo.bgr, load_photo(written(tmp_path, "b.jpg", data)).bgr)


def test_too_small_picture_is_refused(tmp_path):
    path = written(tmp_path, "a.jpg", jpeg_bytes(scene()[:400]))
    refused(PhotoUnusable, "too-small", "720 x 400 pixels and at least 0.3 million", path)


@pytest.mark.parametrize(
    ("width", "height", "most"),
    [
        (8000, 8000, "60 million"),
        (12000, 12000, "60 million"),
        (32001, 300, "32000 can be measured each way"),
        (300, 60000, "32000 can be measured each way"),
    ],
)
def test_too_large_picture_is_refused_before_decoding(tmp_path, width, height, most):
    def chunk(name: bytes, body: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + body))
        return struct.pack(">I", len(body)) + name + body + check

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = chunk(b"IDAT", zlib.compress(bytes(100)))
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + pixels + chunk(b"IEND", b"")
    path = written(tmp_path, "bomb.png", data)
    refused(PhotoUnusable, "too-large", f"{width} x {height} pixels and at most {most}", path)


def test_too_large_file_is_refused_before_reading(tmp_path):
    path = tmp_path / "a.tif"
    with path.open("wb") as out:
        out.truncate(500_000_000)  # a hole, takes no room
    refused(PhotoUnusable, "too-large", "500 MB and at most 400", path)


def test_almost_black_picture_is_refused(tmp_path):
    noise = np.random.default_rng(2).integers(0, 9, (HEIGHT, WIDTH, 3), np.uint8)
    path = written(tmp_path, "a.png", cv2.imencode(".png", noise)[1].tobytes())
    refused(PhotoUnusable, "too-dark", "almost black even at its brightest", path)


def test_lamp_lit_card_in_a_black_workshop_is_read(tmp_path):
    dark = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    dark[200:260, 300:360] = 40  # 1.1 % of the picture
    photo = load_photo(written(tmp_path, "a.png", cv2.imencode(".png", dark)[1].tobytes()))
    assert photo.bgr.max() == 40


@pytest.mark.parametrize(("dtype", "white"), [(np.uint8, 255), (np.uint16, 65535)])
def test_burnt_out_picture_is_refused_and_snow_is_not(tmp_path, dtype, white):
    burnt = np.full((HEIGHT, WIDTH, 3), white, dtype)
    burnt[:45] = white // 3
    path = written(tmp_path, "a.png", cv2.imencode(".png", burnt)[1].tobytes())
    refused(PhotoUnusable, "burnt-out", "pure white over 90 % of its area", path)
    burnt[:90] = white // 3
    snow = written(tmp_path, "snow.png", cv2.imencode(".png", burnt)[1].tobytes())
    assert load_photo(snow).bgr.dtype == dtype


def test_photo_paths_expand_folders_by_name_and_keep_files(tmp_path):
    folder = tmp_path / "joint"
    (folder / "sub.jpg").mkdir(parents=True)
    for name in ["b.JPG", "a.heic", "c.Tiff", "d.png", "e.jpeg", "notes.txt", "._b.JPG", "f.dng"]:
        (folder / name).touch()
    missing = tmp_path / "missing.jpg"
    found = photo_paths([missing, folder])
    expected = [folder / name for name in ["a.heic", "b.JPG", "c.Tiff", "d.png", "e.jpeg"]]
    assert found == [missing, *expected]


def test_folder_without_photographs_is_refused(tmp_path):
    (tmp_path / "notes.txt").touch()
    with pytest.raises(PhotoUnreadable, match="holds no photographs: put the JPEG") as caught:
        photo_paths([tmp_path])
    assert caught.value.code == "no-photos"
