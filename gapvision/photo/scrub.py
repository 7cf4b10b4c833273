"""Photographs without location, serial numbers and owner; the compressed picture stays bit for bit.

What may stay is named, and all else goes: makers put places and numbers where nobody looks for them.
"""

from __future__ import annotations

import io
import struct
import warnings

from PIL import ExifTags, Image

# Exif of which the measurement or its reader has use (Exif 2.32, tables 4 to 9).
_KEPT_MAIN = (
    "Make", "Model", "Orientation", "XResolution", "YResolution", "ResolutionUnit", "DateTime",
)  # fmt: skip
_KEPT_EXIF = (
    "ExposureTime", "FNumber", "ExposureProgram", "ISOSpeedRatings", "ExifVersion",
    "DateTimeOriginal", "DateTimeDigitized", "OffsetTime", "OffsetTimeOriginal",
    "OffsetTimeDigitized", "ExposureBiasValue", "Flash", "FocalLength", "ColorSpace",
    "ExifImageWidth", "ExifImageHeight", "DigitalZoomRatio", "FocalLengthIn35mmFilm", "LensMake",
    "LensModel", "LensSpecification",
)  # fmt: skip
_MAIN = frozenset(ExifTags.Base[name] for name in _KEPT_MAIN)
_EXIF = frozenset(ExifTags.Base[name] for name in _KEPT_EXIF)

_EXIF_HEAD = b"Exif\0\0"
_PNG_HEAD = b"\x89PNG\r\n\x1a\n"
# PNG (third edition), 11: what decides how the picture looks.
_PNG_KEPT = frozenset(
    b"IHDR PLTE IDAT IEND tRNS cHRM cICP gAMA iCCP mDCV cLLI sBIT sRGB bKGD pHYs acTL fcTL fdAT".split()
)
_HEIF_BOXES = frozenset({b"ftyp", b"meta", b"mdat", b"free", b"skip"})  # ISO/IEC 14496-12, 23008-12
# Of a TIFF, baseline tags that tell how the pixels lie (TIFF 6.0) and the few of Exif's that may stay.
_TIFF_PIXELS = frozenset({254, 256, 257, 258, 259, 262, 266, 273, 277, 278, 279, 284, 317, 320,
                          322, 323, 324, 325, 338, 339, 347, 530, 531, 532, 34675})  # fmt: skip


class NotScrubbable(ValueError):
    """Why a photograph cannot be freed of what it tells, in a few words."""


def scrubbed(content: bytes) -> bytes:
    """The same photograph without location, serial numbers, owner and the maker's own notes.

    Parameters
    ----------
    content : bytes
        A JPEG, PNG, HEIC or TIFF file.

    Returns
    -------
    bytes
        The compressed picture and its colour profile untouched; of Exif the camera, the lens, the
        exposure, the orientation and the time. XMP, IPTC, comments, previews and what phones append
        behind the picture are gone.

    Raises
    ------
    NotScrubbable
        Where that cannot be done without touching the picture.
    """
    if content.startswith(b"\xff\xd8\xff"):
        return _jpeg(content)
    if content.startswith(_PNG_HEAD):
        return _png(content)
    if content[4:8] == b"ftyp":
        return _heif(content)
    if content.startswith((b"II*\0", b"MM\0*")):
        return _tiff(content)
    raise NotScrubbable("of a kind whose notes are not known")


def _clean_exif(exif: bytes) -> bytes:
    """An Exif block, with or without its head, with what may stay; empty where nothing does."""
    old, new = Image.Exif(), Image.Exif()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            old.load(exif)
            inner = {t: v for t, v in old.get_ifd(ExifTags.IFD.Exif).items() if t in _EXIF}
            new.update({t: v for t, v in old.items() if t in _MAIN})
        except (LookupError, OSError, SyntaxError, TypeError, ValueError, struct.error):
            return b""  # what cannot be read is not passed on
        if inner:
            new[ExifTags.IFD.Exif] = inner
        return new.tobytes() if new else b""


# --- JPEG: ITU-T T.81, annex B --------------------------------------------------------------------


def _jpeg(content: bytes) -> bytes:
    out, exif, at = [b"\xff\xd8"], b"", 2
    while True:
        while content[at : at + 2] == b"\xff\xff":  # fill bytes
            at += 1
        if len(content) < at + 4 or content[at] != 0xFF:
            raise NotScrubbable("damaged")
        marker, end = content[at + 1], at + 2 + int.from_bytes(content[at + 2 : at + 4], "big")
        body = content[at + 4 : end]
        if marker == 0xDA:
            break
        if marker == 0xE1 and body.startswith(_EXIF_HEAD) and not exif:
            exif = _clean_exif(body)
        elif _stays(marker, body):
            out.append(content[at:end])
        at = end
    if exif:
        exif = exif if exif.startswith(_EXIF_HEAD) else _EXIF_HEAD + exif
        segment = b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif
        jfif = len(out) > 1 and out[1].startswith(b"\xff\xe0")
        out.insert(2 if jfif else 1, segment)
    return b"".join(out) + content[at : _end_of_jpeg(content, at)]


def _stays(marker: int, body: bytes) -> bool:
    """Tables and frames stay, and of the applications' segments what colours depend on."""
    if marker == 0xE0:
        return body.startswith(b"JFIF\0")
    if marker == 0xE2:
        return body.startswith(b"ICC_PROFILE\0")
    if marker == 0xEE:
        return body.startswith(b"Adobe")
    return not 0xE1 <= marker <= 0xEF and marker != 0xFE


def _end_of_jpeg(content: bytes, at: int) -> int:
    """Where the picture ends whose first scan begins at ``at``: behind it lie others, and videos."""
    while True:
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
        while True:  # through the scan: FF 00 is a byte of it, FF D0 to D7 restart it
            at = content.find(b"\xff", at)
            if at < 0 or at + 1 >= len(content):
                raise NotScrubbable("damaged")
            marker = content[at + 1]
            if marker != 0 and not 0xD0 <= marker <= 0xD7 and marker != 0xFF:
                break
            at += 1 if marker == 0xFF else 2
        while marker not in (0xD9, 0xDA):  # tables between the scans of a progressive picture
            if 0xE0 <= marker <= 0xEF or marker == 0xFE:
                raise NotScrubbable("written with notes between its scans")
            at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
            if len(content) < at + 2 or content[at] != 0xFF:
                raise NotScrubbable("damaged")
            marker = content[at + 1]
        if marker == 0xD9:
            return at + 2


# --- PNG ------------------------------------------------------------------------------------------


def _png(content: bytes) -> bytes:
    out, at = [_PNG_HEAD], len(_PNG_HEAD)
    while True:
        if len(content) < at + 12:
            raise NotScrubbable("damaged")
        size, kind = struct.unpack_from(">I4s", content, at)
        end = at + 12 + size
        if kind == b"eXIf":
            exif = _clean_exif(content[at + 8 : end - 4]).removeprefix(_EXIF_HEAD)
            out.append(_chunk(b"eXIf", exif) if exif else b"")
        elif kind in _PNG_KEPT:
            out.append(content[at:end])
        at = end
        if kind == b"IEND":
            return b"".join(out)


def _chunk(kind: bytes, body: bytes) -> bytes:
    import zlib

    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


# --- HEIC -----------------------------------------------------------------------------------------


def _heif(content: bytes) -> bytes:
    """Notes are overwritten where they lie, since all places in the file are counted from its start."""
    import pillow_heif

    at = 0
    while at < len(content):
        if len(content) < at + 8:
            raise NotScrubbable("damaged")
        size, kind = struct.unpack_from(">I4s", content, at)
        if kind not in _HEIF_BOXES:
            raise NotScrubbable("with more in it than a picture, such as a video")
        if size == 1:
            size = int.from_bytes(content[at + 8 : at + 16], "big")
        if size != 0 and size < 8:
            raise NotScrubbable("damaged")
        at = at + size if size else len(content)
    try:
        found = list(pillow_heif.open_heif(io.BytesIO(content)))
    except (ArithmeticError, EOFError, LookupError, OSError, RuntimeError, ValueError) as error:
        raise NotScrubbable("damaged") from error
    out = bytearray(content)
    for image in found:
        info = image.info
        exif, xmp = info.get("exif"), info.get("xmp")
        if exif:
            tiff = exif.removeprefix(_EXIF_HEAD)
            clean = _clean_exif(exif).removeprefix(_EXIF_HEAD)
            if len(clean) > len(tiff):
                raise NotScrubbable("with notes too tightly packed")
            _overwrite(out, tiff, clean.ljust(len(tiff), b"\0"))
        if xmp:
            _overwrite(out, xmp, b" " * len(xmp))
        for block in info.get("metadata") or ():
            _overwrite(out, block["data"], bytes(len(block["data"])))
    return bytes(out)


def _overwrite(out: bytearray, old: bytes, new: bytes) -> None:
    """Replace every copy of a block of notes; several pictures in a file may share one."""
    if not old.strip(b" \0"):
        return
    at = out.find(old)
    if at < 0 and out.find(new) < 0:
        raise NotScrubbable("with notes in pieces")
    while at >= 0:
        out[at : at + len(old)] = new
        at = out.find(old, at + len(new))


# --- TIFF -----------------------------------------------------------------------------------------


def _tiff(content: bytes) -> bytes:
    """As it is where it tells nothing: pixels and notes are interwoven by their places in the file."""
    from PIL import TiffImagePlugin

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = TiffImagePlugin.TiffImageFile(io.BytesIO(content))
            tags, pages = set(image.tag_v2), image.n_frames
    except (LookupError, OSError, SyntaxError, TypeError, ValueError, struct.error) as error:
        raise NotScrubbable("damaged") from error
    if pages > 1 or not tags <= _TIFF_PIXELS | _MAIN:
        raise NotScrubbable("a TIFF with notes that cannot be taken out without rewriting it")
    return content
