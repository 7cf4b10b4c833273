"""PNG (third edition): by chunks, of which what decides how the picture looks stays."""

from __future__ import annotations

import struct
import zlib

from gapvision.photo.scrub.notes import EXIF_HEAD, NotScrubbable, clean_exif, clean_profile

PNG_HEAD = b"\x89PNG\r\n\x1a\n"
# Chunks that stay, with the most bytes that each can have (section 11).
_KEPT = {
    b"IHDR": 13, b"PLTE": 768, b"tRNS": 256, b"cHRM": 32, b"cICP": 4, b"gAMA": 4, b"mDCV": 24,
    b"cLLI": 8, b"sBIT": 4, b"sRGB": 1, b"bKGD": 6, b"pHYs": 9,
}  # fmt: skip
_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # by the colour type of IHDR
_ADAM7 = (
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
)
_MOST_OF_A_PROFILE = 20_000_000
_PIECE = 1 << 20


def free_png(content: bytes) -> bytes:
    """The file with what a picture needs; what cannot be done raises `NotScrubbable`."""
    out, stream, head = [PNG_HEAD], [], b""
    at = len(PNG_HEAD)
    while True:
        size, kind = struct.unpack_from(">I4s", content, at)
        body = content[at + 8 : at + 8 + size]
        if len(content) < at + 12 + size:
            raise NotScrubbable("damaged")
        at += 12 + size
        if kind == b"eXIf":
            exif = clean_exif(body).removeprefix(EXIF_HEAD)
            out.append(_chunk(kind, exif) if exif else b"")
        elif kind == b"iCCP":
            out.append(_profile(body))
        elif kind == b"IDAT":
            stream.append(body)
            out.append(_chunk(kind, body))
        elif size <= _KEPT.get(kind, -1):
            out.append(_chunk(kind, body))
            head = body if kind == b"IHDR" else head
        elif kind == b"IEND":
            _check_stream(stream, _raw_bytes(head))
            return b"".join((*out, _chunk(kind, b"")))
        elif kind in (b"IHDR", b"PLTE"):
            raise NotScrubbable("damaged")


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def _profile(body: bytes) -> bytes:
    _, _, packed = body.partition(b"\0")
    colours = clean_profile(zlib.decompressobj().decompress(packed[1:], _MOST_OF_A_PROFILE))
    return _chunk(b"iCCP", b"icc\0\0" + zlib.compress(colours)) if colours else b""


def _check_stream(pieces: list[bytes], expected: int) -> None:
    """Refuse a stream of pixels that holds more than they, in itself or behind its end."""
    unpacker, found = zlib.decompressobj(), 0
    for piece in pieces:
        while piece:
            found += len(unpacker.decompress(piece, _PIECE))
            piece = unpacker.unconsumed_tail
            if unpacker.unused_data or found > expected or (unpacker.eof and piece):
                raise NotScrubbable("with more in it than a picture")
    found += len(unpacker.flush())
    if not unpacker.eof or found != expected:
        raise NotScrubbable("damaged" if found < expected else "with more in it than a picture")


def _raw_bytes(head: bytes) -> int:
    """Bytes of the unpacked pixels: of each row a byte for its filter, then its samples."""
    width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", head)
    bits = depth * _CHANNELS[colour]

    def part(columns: int, rows: int) -> int:
        return rows * (1 + (columns * bits + 7) // 8) if columns > 0 and rows > 0 else 0

    if not interlaced:
        return part(width, height)
    return sum(
        part(-(-(width - x) // step_x), -(-(height - y) // step_y))
        for x, y, step_x, step_y in _ADAM7
    )
