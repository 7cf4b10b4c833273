"""A TIFF whose packed pixels are damaged: refused, also where its decoder says nothing."""

import io
import struct

import cv2
import numpy as np
import pytest
from helpers.phones import pixels
from PIL import Image, TiffImagePlugin

from gapvision.errors import PhotoUnreadable
from gapvision.photo.decode import decoded
from gapvision.photo.packed import _lzw_bytes, pieces_whole


def tiff(compression, picture=None, **tags):
    out = io.BytesIO()
    made = pixels() if picture is None else picture
    made.save(out, "TIFF", compression=compression, tiffinfo=tags.get("tags", {}))
    return out.getvalue()


def tiled(shape, tile, compression=8):
    """A grey picture in tiles, which neither library writes: TIFF 6.0, section 15."""
    import zlib

    height, width = shape
    grey = np.random.default_rng(2).integers(0, 256, shape, np.uint8)
    pieces = []
    for y in range(0, height, tile):
        for x in range(0, width, tile):
            whole = np.zeros((tile, tile), np.uint8)
            part = grey[y : y + tile, x : x + tile]
            whole[: part.shape[0], : part.shape[1]] = part
            pieces.append(zlib.compress(whole.tobytes()))
    tags = TiffImagePlugin.ImageFileDirectory_v2(b"II*\0\0\0\0\0")
    tags[256], tags[257], tags[258], tags[259] = width, height, 8, compression
    tags[262], tags[277], tags[322], tags[323] = 1, 1, tile, tile
    lengths = [len(p) for p in pieces]
    tags[325] = tuple(lengths)
    tags[324] = tuple(10**6 for _ in pieces)
    begin = 8 + len(tags.tobytes(8))
    tags[324] = tuple(begin + sum(lengths[:k]) for k in range(len(pieces)))
    return b"II*\0" + struct.pack("<I", 8) + tags.tobytes(8) + b"".join(pieces)


DEEP = (np.asarray(pixels()).astype(np.uint16) * 257)[:, :, ::-1]
WHOLE = {
    "LZW": tiff("tiff_lzw"),
    "LZW of differences": tiff("tiff_lzw", tags={317: 2}),
    "LZW grey": tiff("tiff_lzw", pixels().convert("L")),
    "LZW with alpha": tiff("tiff_lzw", pixels().convert("RGBA")),
    "LZW 16 bits": cv2.imencode(".tiff", DEEP)[1].tobytes(),
    "Deflate": tiff("tiff_adobe_deflate"),
    "Deflate 16 bits": cv2.imencode(".tiff", DEEP, [cv2.IMWRITE_TIFF_COMPRESSION, 8])[1].tobytes(),
    "not packed": tiff(None),
    "tiles": tiled((600, 700), 256),
}


@pytest.mark.parametrize("name", WHOLE)
def test_whole_ones_are_read(name):
    data = WHOLE[name]
    assert pieces_whole(TiffImagePlugin.TiffImageFile(io.BytesIO(data)), data)
    assert decoded(data, name)[2] is None


def test_one_on_its_side_is_read():
    exif = Image.Exif()
    exif[0x0112] = 6
    out = io.BytesIO()
    pixels().save(out, "TIFF", compression="tiff_lzw", exif=exif.tobytes())
    assert decoded(out.getvalue(), "a")[0].shape[0] > 0


@pytest.mark.parametrize("name", [n for n in WHOLE if n != "not packed"])
@pytest.mark.parametrize("how", ["filled", "noise", "bit"])
def test_damaged_ones_are_refused(name, how):
    whole = WHOLE[name]
    rng = np.random.default_rng(6)
    for _ in range(1 if "LZW" in name and how == "bit" else 6):
        data = bytearray(whole)
        at = int(rng.integers(len(whole) // 5, len(whole) * 4 // 5))
        if how == "bit":
            # Of LZW a bit by which a code becomes another of as many bytes is not noticed.
            data[at : at + 8] = bytes(b ^ 0x11 for b in data[at : at + 8])
        else:
            data[at : at + 300] = bytes(300) if how == "filled" else rng.bytes(300)
        with pytest.raises(PhotoUnreadable, check=lambda error: error.code == "truncated"):
            decoded(bytes(data), "a")


def lzw(*codes):
    """Codes of nine bits, packed as TIFF 6.0, section 13 packs them."""
    bits = "".join(f"{code:09b}" for code in codes)
    return int(bits.ljust(-(-len(bits) // 8) * 8, "0"), 2).to_bytes(-(-len(bits) // 8), "big")


CLEAR, LAST = 256, 257


@pytest.mark.parametrize(
    ("codes", "unpacked"),
    [
        ((CLEAR, 7, 258, LAST), 3),  # 7, and 7 7
        ((CLEAR, 7, 258, CLEAR, 9, LAST), 4),
        ((CLEAR, 7, 259, LAST), None),  # no such code yet
        ((CLEAR, 7, 258), None),  # no end
        ((CLEAR, 7, CLEAR, 258, LAST), None),  # the table is empty again
        ((), None),
    ],
)
def test_a_piece_of_lzw_unpacks_to_so_many_bytes_or_not_at_all(codes, unpacked):
    assert _lzw_bytes(lzw(*codes) if codes else b"") == unpacked
