"""What files of several kinds tell alike: Exif and colour profiles, of which only what may stay is kept."""

from __future__ import annotations

import struct
import warnings

from PIL import ExifTags, Image

EXIF_HEAD = b"Exif\0\0"

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

# ICC.1:2022, 9.2: the tags that colours depend on, and 10: how long the values of each type are.
_COLOURS = frozenset(
    b"rXYZ gXYZ bXYZ rTRC gTRC bTRC kTRC wtpt bkpt chad cicp A2B0 A2B1 A2B2 B2A0 B2A1 B2A2".split()
)
_TABLES = frozenset({b"mft1", b"mft2", b"mAB ", b"mBA "})
_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
_NAME = b"colours"


class NotScrubbable(ValueError):
    """Why a photograph cannot be freed of what it tells, in a few words."""


def exif_that_stays(exif: Image.Exif) -> tuple[dict[int, object], dict[int, object]]:
    """Of Exif tags those that may stay: of the picture, and of Exif's own.

    Raises
    ------
    LookupError, OSError, SyntaxError, TypeError, ValueError, struct.error
        Where they cannot be read.
    """
    inner = {t: v for t, v in exif.get_ifd(ExifTags.IFD.Exif).items() if t in _EXIF}
    return {t: v for t, v in exif.items() if t in _MAIN}, inner


def clean_exif(block: bytes) -> bytes:
    """An Exif block, with or without its head, with what may stay; empty where nothing does."""
    old, new = Image.Exif(), Image.Exif()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            old.load(block)
            main, inner = exif_that_stays(old)
            new.update(main)
            if inner:
                new[ExifTags.IFD.Exif] = inner
            return new.tobytes() if new else b""
        except (LookupError, OSError, SyntaxError, TypeError, ValueError, struct.error):
            return b""  # what cannot be read is not passed on


def clean_profile(profile: bytes) -> bytes:
    """A colour profile by which colours are the same, and nothing else; empty where it is none.

    Notes
    -----
    ICC.1:2022, 7: header, table of tags, their values. Names, makers, numbers and dates are replaced by
    others that are always the same.
    """
    try:
        tags = _colour_tags(profile)
    except (IndexError, KeyError, struct.error, ValueError):
        return b""
    if not tags:
        return b""
    newer = profile[8] >= 4
    tags[b"desc"] = _words(newer, b"desc")
    tags[b"cprt"] = _words(newer, b"text")
    table, values, places = b"", b"", {}
    begin = 132 + 12 * len(tags)
    for name, value in tags.items():
        if value not in places:
            places[value] = begin + len(values)
            values += value + b"\0" * (-len(value) % 4)
        table += struct.pack(">4sII", name, places[value], len(value))
    date = struct.pack(">6H", 2000, 1, 1, 0, 0, 0)
    header = (
        struct.pack(">I", begin + len(values)) + bytes(4) + profile[8:24] + date + b"acsp"
        + bytes(24) + profile[64:80]
    ).ljust(128, b"\0")  # fmt: skip
    return header + struct.pack(">I", len(tags)) + table + values


def _colour_tags(profile: bytes) -> dict[bytes, bytes]:
    if profile[36:40] != b"acsp":
        raise ValueError("no profile")
    count = struct.unpack_from(">I", profile, 128)[0]
    tags = {}
    for i in range(min(count, 100)):
        name, at, size = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        if name in _COLOURS:
            tags[name] = _value(profile[at : at + size])
    return tags


def _value(value: bytes) -> bytes:
    """A tag's value cut to what its type says that it has.

    Raises
    ------
    ValueError
        Where it is shorter, or of a type that tells no colours.
    """
    kind = value[:4]
    if kind in _TABLES:
        size = len(value)
    elif kind == b"XYZ ":
        size = 20
    elif kind == b"sf32":
        size = 44
    elif kind == b"cicp":
        size = 12
    elif kind == b"curv":
        size = 12 + 2 * struct.unpack_from(">I", value, 8)[0]
    elif kind == b"para":
        size = 12 + 4 * _PARAMETERS[struct.unpack_from(">H", value, 8)[0]]
    else:
        raise ValueError("of a type that tells no colours")
    if len(value) < size:
        raise ValueError("cut short")
    return kind + bytes(4) + value[8:size]


def _words(newer: bool, older_kind: bytes) -> bytes:
    """The texts that a profile must have."""
    if newer:
        text = _NAME.decode().encode("utf-16-be")
        return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(text), 28) + text
    if older_kind == b"text":
        return b"text\0\0\0\0" + _NAME + b"\0"
    return (
        b"desc\0\0\0\0" + struct.pack(">I", len(_NAME) + 1) + _NAME + bytes(1 + 4 + 4 + 2 + 1 + 67)
    )
