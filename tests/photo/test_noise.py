"""Decoders in C write to standard error by themselves: nothing of it is seen, and what it means is said."""

import os
import struct
import subprocess
import sys
import threading
import zlib

import cv2
import numpy as np
import pytest
from helpers.phones import saved

from gapvision.errors import PhotoUnreadable
from gapvision.photo.decode import decoded, overheard


def chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def odd_png(*chunks):
    content = saved("PNG")
    return content[:33] + b"".join(chunks) + content[33:]


def flat(shape=(700, 900, 4)):
    return cv2.resize(
        np.random.default_rng(4).integers(0, 255, (7, 9, shape[2]), np.uint8), shape[1::-1]
    )


def jpeg_with(behind=b"", kept=1.0):
    content = saved("JPEG", quality=90)
    return content[: int(len(content) * kept) - 2] + behind + b"\xff\xd9"


def spoilt_lzw():
    """A strip whose codes end before its rows do."""
    noise = np.random.default_rng(4).integers(0, 255, (700, 900, 3), np.uint8)
    content = bytearray(cv2.imencode(".tiff", noise)[1])
    content[5000:9000] = bytes(4000)
    return bytes(content)


READ = {
    "cut_below.jpg": lambda: jpeg_with(kept=0.8),
    "extra.jpg": lambda: jpeg_with(behind=b"garbage" * 10),
    "profile.png": lambda: odd_png(chunk(b"iCCP", b"x\0\0" + zlib.compress(b"junk" * 50))),
    "odd.png": lambda: odd_png(chunk(b"gAMA", bytes(4)), chunk(b"sBIT", b"\x09\x09\x09")),
    "alpha.tif": lambda: cv2.imencode(".tiff", flat())[1].tobytes(),
}
DAMAGED = {
    "cut.jpg": lambda: jpeg_with(kept=0.3),
    "cut.tif": lambda: saved("TIFF")[:500_000],
    "spoilt.tif": spoilt_lzw,
    "spoilt.png": lambda: bytes(b ^ (n == 500_000) for n, b in enumerate(saved("PNG"))),
}
HEARS = """
import sys
from pathlib import Path
from gapvision.errors import PhotoUnreadable
from gapvision.photo.decode import decoded
try:
    print(decoded(Path(sys.argv[1]).read_bytes(), "a")[0].shape)
except PhotoUnreadable as error:
    print(error.code)
"""


@pytest.mark.parametrize("name", [*READ, *DAMAGED])
def test_nothing_is_written_to_standard_error(tmp_path, name):
    path = tmp_path / name
    path.write_bytes((READ | DAMAGED)[name]())
    done = subprocess.run(
        [sys.executable, "-c", HEARS, path], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stderr == ""
    assert done.stdout.strip() == ("truncated" if name in DAMAGED else done.stdout.strip())


@pytest.mark.parametrize("name", READ)
def test_what_is_odd_or_mostly_whole_is_read(name):
    assert min(decoded(READ[name](), name)[0].shape[:2]) >= 600


@pytest.mark.parametrize("name", DAMAGED)
def test_a_picture_of_which_pixels_are_missing_is_refused(name):
    """It was measured, with grey or noise in their place, without a word to the builder."""
    with pytest.raises(PhotoUnreadable, check=lambda error: error.code == "truncated"):
        decoded(DAMAGED[name](), name)


def test_what_others_write_meanwhile_is_not_lost(capfd):
    with overheard() as said:
        os.write(2, b"\x1b[2K a bar\nCorrupt JPEG data: bad Huffman code\n")
    assert said == ["Corrupt JPEG data: bad Huffman code"]
    assert capfd.readouterr().err == "\x1b[2K a bar\n"


def test_several_threads_leave_standard_error_as_it_was(capfd):
    content = jpeg_with(behind=b"garbage" * 10)
    threads = [threading.Thread(target=decoded, args=(content, "a")) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    os.write(2, b"still here\n")
    assert capfd.readouterr().err == "still here\n"


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (struct.pack(">I4s", 28, b"ftyp") + b"avif\0\0\0\0avifmif1miaf" + bytes(400), "AVIF"),
        (b"RIFF\0\0\0\0WEBPVP8 " + bytes(400), "WebP"),
        (b"GIF89a" + bytes(400), "GIF"),
        (b"BM" + bytes(400), "BMP"),
        (b"%PDF-1.7" + bytes(400), "PDF"),
    ],
)
def test_pictures_of_other_kinds_are_named(content, kind):
    with pytest.raises(PhotoUnreadable, match=f"is a {kind} file|is an {kind} file") as caught:
        decoded(content, "a.jpg")
    assert caught.value.code == "not-an-image" and "JPEG" in caught.value.text
