"""JPEG: ITU-T T.81, annex B. Only its frames, tables and scans stay, each as long as it says it is."""

from __future__ import annotations

import struct
from collections.abc import Callable

from gapvision.photo.scrub.notes import EXIF_HEAD, NotScrubbable, clean_exif, clean_profile

_JFIF, _ICC, _ADOBE = b"JFIF\0", b"ICC_PROFILE\0", b"Adobe"
_ICC_PIECE = 65535 - 2 - len(_ICC) - 2  # bytes of a profile that a segment holds
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_SOS, _EOI = 0xDA, 0xD9


def free_jpeg(content: bytes) -> bytes:
    """The file with what a picture needs; what cannot be done raises `NotScrubbable`."""
    exif, jfif, adobe = b"", b"", b""
    profile: dict[int, bytes] = {}
    tables, at = [], 2
    while True:
        marker, body, end = _segment(content, at)
        if marker == _SOS:
            break
        if marker == 0xE1 and body.startswith(EXIF_HEAD):
            exif = exif or clean_exif(body)
        elif marker == 0xE0 and body.startswith(_JFIF) and len(body) >= 14:
            jfif = jfif or body[:12] + b"\0\0"  # its thumbnail, and what lies behind, goes
        elif marker == 0xEE and body.startswith(_ADOBE) and len(body) >= 12:
            adobe = adobe or body[:12]
        elif marker == 0xE2 and body.startswith(_ICC) and len(body) > 14:
            profile.setdefault(body[12], body[14:])
        elif _is_table(marker, body):
            tables.append(content[end - len(body) - 4 : end])
        elif marker in _FRAMES or marker in (0xC4, 0xCC, 0xDB, 0xDD):
            raise NotScrubbable("damaged")
        at = end
    if exif:
        exif = exif if exif.startswith(EXIF_HEAD) else EXIF_HEAD + exif
    colours = clean_profile(b"".join(profile[n] for n in sorted(profile)))
    out = [b"\xff\xd8", _made(0xE0, jfif), _made(0xE1, exif), *_icc_segments(colours)]
    out += [_made(0xEE, adobe), *tables, content[at : _end_of_jpeg(content, at)]]
    return b"".join(out)


def _segment(content: bytes, at: int) -> tuple[int, bytes, int]:
    """Marker, body and end of the segment at a place, or behind the fill bytes there."""
    while content[at : at + 2] == b"\xff\xff":
        at += 1
    if len(content) < at + 4 or content[at] != 0xFF:
        raise NotScrubbable("damaged")
    end = at + 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    if end < at + 4 or end > len(content):
        raise NotScrubbable("damaged")
    return content[at + 1], content[at + 4 : end], end


def _made(marker: int, body: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body if body else b""


def _icc_segments(profile: bytes) -> list[bytes]:
    pieces = [profile[i : i + _ICC_PIECE] for i in range(0, len(profile), _ICC_PIECE)]
    return [
        _made(0xE2, _ICC + bytes([n, len(pieces)]) + piece) for n, piece in enumerate(pieces, 1)
    ]


def _is_table(marker: int, body: bytes) -> bool:
    """Whether it is a frame or table, and exactly as long as what it holds."""
    if marker in _FRAMES:
        return len(body) >= 6 and len(body) == 6 + 3 * body[5]
    if marker == 0xDB:
        return _steps(body, lambda at: 1 + 64 * (1 + (body[at] >> 4)))
    if marker == 0xC4:
        return _steps(body, lambda at: 17 + sum(body[at + 1 : at + 17]))
    if marker == 0xCC:
        return len(body) % 2 == 0
    return marker == 0xDD and len(body) == 2


def _steps(body: bytes, size_at: Callable[[int], int]) -> bool:
    """Whether tables that follow each other end where the segment does."""
    at = 0
    while at < len(body):
        at += size_at(at)
    return at == len(body) > 0


def _end_of_jpeg(content: bytes, at: int) -> int:
    """Where the picture ends whose first scan begins at ``at``: behind it lie others, and videos."""
    while True:
        _, scan, at = _segment(content, at)
        if len(scan) != 4 + 2 * scan[0]:
            raise NotScrubbable("damaged")
        while True:  # through the scan: FF 00 is a byte of it, FF D0 to D7 restart it
            at = content.find(b"\xff", at)
            if at < 0 or at + 1 >= len(content):
                raise NotScrubbable("damaged")
            marker = content[at + 1]
            if marker != 0 and not 0xD0 <= marker <= 0xD7 and marker != 0xFF:
                break
            at += 1 if marker == 0xFF else 2
        while marker not in (_EOI, _SOS):  # tables between the scans of a progressive picture
            if 0xE0 <= marker <= 0xEF or marker == 0xFE:
                raise NotScrubbable("written with notes between its scans")
            marker, body, at = _segment(content, at)
            if not _is_table(marker, body):
                raise NotScrubbable("damaged")
            if content[at : at + 1] != b"\xff" or len(content) < at + 2:
                raise NotScrubbable("damaged")
            marker = content[at + 1]
        if marker == _EOI:
            return at + 2
