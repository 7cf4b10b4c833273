"""A file's bytes to upright pixels and Exif tags: JPEG, PNG, TIFF and HEIC."""

from __future__ import annotations

import io
import os
import struct
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import ExifTags, Image, ImageFile, JpegImagePlugin, PngImagePlugin, TiffImagePlugin

from gapvision.errors import PhotoUnreadable, PhotoUnusable
from gapvision.photo.damage import Damage, damage_of_jpeg
from gapvision.photo.packed import pieces_whole

if TYPE_CHECKING:
    from pillow_heif import HeifFile

# Below 0.3 MP (640 x 480) a card's marks are a few pixels wide; above 60 MP (the largest
# phone pictures have 50) one photograph would take more than a gigabyte in the later stages.
MIN_PIXELS = 300_000
MAX_PIXELS = 60_000_000
MAX_SIDE = 32_000  # OpenCV counts places in a picture in 16 bits
MIN_SIDE = 240  # half of 480: no card is whole in a narrower strip of so few pixels

# Of a damaged picture that is still measured, since what is left can show a joint and its cards.
MOST_LOST = 0.5

_END_OF_JPEG = b"\xff\xd9"
_FILLED = bytes(64)  # what a lost part of a file is filled with, and hardly ever a picture's codes
READABLE = "a JPEG, PNG, TIFF or HEIC photograph is needed"
DAMAGED = "copy it from the phone again or retake it"
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
_OPENERS: dict[str, Callable[[io.BytesIO], ImageFile.ImageFile]] = {
    "JPEG": JpegImagePlugin.JpegImageFile,
    "PNG": PngImagePlugin.PngImageFile,
    "TIFF": TiffImagePlugin.TiffImageFile,
}
_DEEPER_THAN_16_BITS = frozenset({"I", "F"})  # Pillow's modes of 32-bit integers and floats
# What Pillow and pillow-heif raise on contents that are not what the first bytes promised.
_BAD_CONTENTS = (
    ArithmeticError,
    EOFError,
    LookupError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    struct.error,
)


# Other files that are given for photographs, by their first bytes.
_OTHERS = {b"GIF8": "a GIF", b"BM": "a BMP", b"%PDF": "a PDF"}
_AVIF_BRANDS = frozenset({b"avif", b"avis"})

_STDERR = 2
# Standard error is one for all threads, and so are the filters of warnings.
_ONE_AT_A_TIME, _FILTERS = threading.Lock(), threading.Lock()
# How libjpeg, libpng, libtiff and OpenCV begin what they say, and of it what tells of wrong pixels.
_DECODERS = (
    "Corrupt JPEG data", "Premature end", "Invalid ", "Unsupported marker", "Inconsistent progression",
    "Warning: unknown JFIF", "libpng ", "[ WARN:", "[ERROR:",
)  # fmt: skip
_WRONG_PIXELS = (
    "remature end", "bad Huffman code", "instead of RST", "extraneous bytes before marker", "TIFF_Error",
    "libpng error",
)  # fmt: skip


def decoded(data: bytes, name: str) -> tuple[np.ndarray, dict[int, object], Damage | None]:
    """Upright pixels (h, w, 3), Exif tags by number and what is damaged of a photograph's bytes.

    Parameters
    ----------
    data : bytes
        Their first decide how they are read.
    name : str
        What refusals call the file.

    Returns
    -------
    array, shape (h, w, 3), uint8 or uint16
        Blue first, display-encoded. Alpha is dropped, grey becomes three equal channels.
    dict
        Empty where the file has none, or corrupt ones.
    Damage or None
        Of a JPEG of which the greater part is whole, or may be. Of other kinds the rest cannot be trusted.

    Raises
    ------
    PhotoUnreadable
        ``not-an-image``, ``truncated``.
    PhotoUnusable
        ``too-small``, ``too-large``, both before decoding.
    """
    kind = _kind(data)
    if kind is None:
        other = _other_kind(data)
        seen = (
            f"is {other} file, which is not read" if other else "is not a picture that can be read"
        )
        raise PhotoUnreadable("not-an-image", f"{name} {seen}: {READABLE}.")
    return _decode_heif(data, name) if kind == "HEIF" else _decode(data, kind, name)


def _kind(data: bytes) -> str | None:
    """Kind of file by its first bytes, None if it is none that can be read."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        return "TIFF"
    brands = _brands(data)
    return "HEIF" if brands & _HEIF_BRANDS and not brands & _AVIF_BRANDS else None


def _brands(data: bytes) -> set[bytes]:
    """What a file of boxes says that it is; empty where it is none."""
    if data[4:8] != b"ftyp":
        return set()
    box = data[8 : min(int.from_bytes(data[:4], "big"), 256)]
    return {box[i : i + 4] for i in range(0, len(box), 4)}


def _other_kind(data: bytes) -> str:
    """What a file is that is given for a photograph; empty where that is not known."""
    if _brands(data) & _AVIF_BRANDS:
        return "an AVIF"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "a WebP"
    return next((kind for first, kind in _OTHERS.items() if data.startswith(first)), "")


def pixels_of(data: bytes, flags: int) -> tuple[np.ndarray | None, bool]:
    """What OpenCV reads of a picture, and whether pixels of it are missing or wrong.

    Parameters
    ----------
    data : bytes
    flags : int
        Of `cv2.imdecode`.

    Returns
    -------
    array or None
        None where it reads nothing.
    bool
        By what the decoder says, who fills the rest of a damaged picture with something else.
    """
    with overheard() as said:
        try:
            pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
        except cv2.error:
            pixels = None
    return pixels, any(sign in line for line in said for sign in _WRONG_PIXELS)


@contextmanager
def overheard() -> Iterator[list[str]]:
    """What decoders write to standard error by themselves, once the block has ended; nobody sees it.

    What others write meanwhile, such as a bar of progress, is passed on.
    """
    said: list[str] = []
    if os.name == "nt":  # whose pipes are others: there it is seen, and not heeded
        yield said
        return
    with _ONE_AT_A_TIME:
        try:
            kept = os.dup(_STDERR)
        except OSError:  # there is none
            yield said
            return
        heard, ear = os.pipe()
        os.set_blocking(ear, False)  # what is too much is lost, and nothing waits
        os.set_blocking(heard, False)
        os.dup2(ear, _STDERR)
        try:
            yield said
        finally:
            os.dup2(kept, _STDERR)
            os.close(kept)
            os.close(ear)
            for line in _drained(heard).splitlines(keepends=True):
                text = line.decode(errors="replace").rstrip("\n")
                if text.startswith(_DECODERS):
                    said.append(text)
                elif text:
                    os.write(_STDERR, line)


@contextmanager
def _unwarned() -> Iterator[None]:
    """Without warnings, one thread at a time: each puts back the filters that it found."""
    with _FILTERS, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _drained(heard: int) -> bytes:
    with open(heard, "rb") as pipe:
        return pipe.read() or b""


def _decode(
    data: bytes, kind: str, name: str
) -> tuple[np.ndarray, dict[int, object], Damage | None]:
    """Upright pixels, Exif and damage of a JPEG, PNG or TIFF file."""
    with _unwarned():
        # The plugin is called directly because Image.open warns about sizes that are refused
        # here in a sentence; what the plugin itself warns about is decided below.
        try:
            header = _OPENERS[kind](io.BytesIO(data))
        except _BAD_CONTENTS as error:
            raise _undecodable(name, kind) from error
    _check_size(*header.size, name)
    if kind == "TIFF" and header.mode in _DEEPER_THAN_16_BITS:
        raise _undecodable(name, kind)
    begin, end = _codes_of_jpeg(data) if kind == "JPEG" else (0, 0)
    if begin < 0:
        raise _truncated(name)
    ended = data if end >= 0 else data + _END_OF_JPEG  # without which OpenCV reads nothing
    bgr, wrong = pixels_of(ended, cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH)
    tags = _exif_tags(header)
    if kind == "JPEG" and bgr is not None and (wrong or end < 0 or _FILLED in data[begin:end]):
        return bgr, tags, _damage(data, bgr, tags, name)
    if bgr is None or wrong or not _unpacks_to_its_end(header, data):
        raise _truncated(name)
    return bgr, tags, None


def _unpacks_to_its_end(header: ImageFile.ImageFile, data: bytes) -> bool:
    """Of a TIFF; other kinds' decoders say so themselves."""
    if not isinstance(header, TiffImagePlugin.TiffImageFile):
        return True
    try:
        return pieces_whole(header, data)
    except _BAD_CONTENTS:  # of tags that contradict each other
        return False


def _damage(data: bytes, bgr: np.ndarray, tags: dict[int, object], name: str) -> Damage | None:
    """What is damaged of a JPEG; one of which most is lost is refused."""
    height, width = bgr.shape[:2]
    turned = tags.get(ExifTags.Base.Orientation, 1)
    upright = turned if isinstance(turned, int) and 1 <= turned <= 8 else 1
    damage = damage_of_jpeg(data, (width, height), upright)
    if damage is None or not damage.located:
        return damage
    lost = (damage.x1 - damage.x0) * (damage.y1 - damage.y0)
    if lost > MOST_LOST * width * height:
        raise _truncated(name)
    return damage


def _decode_heif(data: bytes, name: str) -> tuple[np.ndarray, dict[int, object], None]:
    """Upright pixels and Exif of a HEIC file; its gain map and depth map are left alone."""
    # Imported here because it costs every start and most photographs are JPEG.
    import pillow_heif

    try:
        image = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False, bgr_mode=True)
        width, height = image.size
        _check_size(width, height, name)
        pixels = np.asarray(image)
    except _BAD_CONTENTS as error:
        raise _truncated(name) from error
    grey = pixels.ndim == 2
    # Either way a copy, which outlives the decoder's buffer.
    bgr = cv2.cvtColor(pixels, cv2.COLOR_GRAY2BGR) if grey else pixels[..., :3].copy()
    return bgr, _exif_tags(image), None


def _exif_tags(image: ImageFile.ImageFile | HeifFile) -> dict[int, object]:
    """Exif tags by number, empty if absent or corrupt, which costs only their facts."""
    with _unwarned():
        try:
            if isinstance(image, TiffImagePlugin.TiffImageFile):
                exif = image.getexif()
            else:  # getexif would decode a whole PNG in search of them
                exif = Image.Exif()
                exif.load(image.info.get("exif") or b"")
            return {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
        except _BAD_CONTENTS:
            return {}


def _codes_of_jpeg(data: bytes) -> tuple[int, int]:
    """Where the main picture's first scan begins, and its end marker behind that; -1 where there is none.

    A decoder fills the rest of a picture that breaks off, or that a broken transfer padded with
    zeros, without a word. The end marker of the thumbnail inside the Exif block must not count,
    and after the main picture phones append others of which nothing is asked.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:
            return at, data.find(_END_OF_JPEG, at)
        fill_byte = marker == 0xFF
        at += 1 if fill_byte else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return -1, -1


def _undecodable(name: str, kind: str) -> PhotoUnreadable:
    return PhotoUnreadable(
        "not-an-image",
        f"{name} starts like a {kind} file but holds no picture that can be read: {READABLE}, "
        "with 8 or 16 bits a channel.",
    )


def damaged_beyond_use(name: str) -> PhotoUnreadable:
    """What to say of a damaged photograph in which card or joint is not found, whatever the cause."""
    return PhotoUnreadable(
        "truncated",
        f"{name} is damaged, and what is left of it does not show a card and the joint: {DAMAGED}.",
    )


def _truncated(name: str) -> PhotoUnreadable:
    return PhotoUnreadable(
        "truncated",
        f"{name} breaks off or is damaged, and the whole picture is needed: {DAMAGED}.",
    )


def _check_size(width: int, height: int, name: str) -> None:
    seen = f"{name} has {width} x {height} pixels"
    if min(width, height) < MIN_SIDE:
        raise PhotoUnusable(
            "too-small",
            f"{seen} and at least {MIN_SIDE} are needed each way: send the original from the phone, "
            "not a strip of it.",
        )
    if width * height < MIN_PIXELS:
        raise PhotoUnusable(
            "too-small",
            f"{seen} and at least {MIN_PIXELS / 1e6:.1f} million are needed: send the original "
            "from the phone, not a preview.",
        )
    if width * height > MAX_PIXELS:
        raise PhotoUnusable(
            "too-large",
            f"{seen} and at most {MAX_PIXELS / 1e6:.0f} million can be measured: set the camera "
            "to a smaller picture.",
        )
    if max(width, height) > MAX_SIDE:
        raise PhotoUnusable(
            "too-large",
            f"{seen} and at most {MAX_SIDE} can be measured each way: send one photograph from the "
            "phone, not several put together.",
        )
