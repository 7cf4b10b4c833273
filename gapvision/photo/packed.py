"""Whether a TIFF unpacks to its end, of which its decoder says nothing: TIFF 6.0, sections 13 and 15.

A piece unpacked by Deflate ends with a checksum, which a decoder that has all its pixels does not read. One
packed by LZW has none: there the codes must be known ones and give as many bytes as the piece has, up to the
code that ends it. A code that was changed to another of as many bytes is not noticed.
"""

from __future__ import annotations

import zlib

import numpy as np
from PIL.TiffImagePlugin import TiffImageFile

_WIDTH, _HEIGHT = 256, 257
_COMPRESSION, _SAMPLES, _BITS, _PLANAR = 259, 277, 258, 284
_STRIPS = (273, 279, 278)  # places, lengths, rows of each
_TILES = (324, 325, 323)
_TILE_WIDTH = 322
_LZW, _DEFLATE = 5, (8, 32946)
_CLEAR, _LAST, _FIRST_FREE, _MOST_CODES = 256, 257, 258, 4096
# Of the codes after one that clears the table, each of which adds an entry: how wide in bits, and where.
_KNOWN = _FIRST_FREE + np.maximum(np.arange(_MOST_CODES - _FIRST_FREE + 2) - 1, 0)
_WIDE = (9 + (_KNOWN >= 511) + (_KNOWN >= 1023) + (_KNOWN >= 2047)).astype(np.uint32)
_BEGINS = np.cumsum(_WIDE) - _WIDE


def pieces_whole(image: TiffImageFile, data: bytes) -> bool:
    """Whether every strip or tile of a TIFF's first picture unpacks to its end; True of other packings."""
    tags = image.tag_v2
    kind = tags.get(_COMPRESSION, 1)
    if kind != _LZW and kind not in _DEFLATE:
        return True
    tiled = _TILES[0] in tags
    places, lengths, rows_tag = _TILES if tiled else _STRIPS
    width, height = tags[_WIDTH], tags[_HEIGHT]  # as it lies in the file
    rows = int(tags.get(rows_tag, height))
    samples = 1 if tags.get(_PLANAR, 1) == 2 else tags.get(_SAMPLES, 1)
    bits = (tags[_TILE_WIDTH] if tiled else width) * samples * tags.get(_BITS, (8,))[0]
    of_column = -(-height // rows)
    for k, (at, size) in enumerate(zip(tags[places], tags[lengths], strict=True)):
        piece = data[at : at + size]
        many = rows if tiled else min(rows, height - k % of_column * rows)
        if not _whole(piece, many * -(-bits // 8), kind):
            return False
    return True


def _whole(piece: bytes, expected: int, kind: int) -> bool:
    if kind == _LZW:
        return _lzw_bytes(piece) == expected
    try:
        unpacker = zlib.decompressobj()
        return len(unpacker.decompress(piece, expected + 1)) == expected and unpacker.eof
    except zlib.error:
        return False


def _lzw_bytes(piece: bytes) -> int | None:
    """Bytes that a piece of LZW unpacks to; None where a code is none, or its end is missing."""
    raw = np.frombuffer(piece + bytes(8), np.uint8).astype(np.uint32)
    four = raw[:-3] << 24 | raw[1:-2] << 16 | raw[2:-1] << 8 | raw[3:]
    total, bit, end = 0, 0, 8 * len(piece)
    while bit < end:
        at = bit + _BEGINS
        at = at[at < end]
        wide = _WIDE[: len(at)]
        codes = four[at >> 3] >> (32 - wide - (at & 7)) & (1 << wide) - 1
        many, stop = _of_one_table(codes.tolist())
        if many is None:
            return None
        total += many
        bit = int(at[stop] + wide[stop])
        if codes[stop] == _LAST:
            return total if bit <= end else None
    return None


def _of_one_table(codes: list[int]) -> tuple[int | None, int]:
    """Bytes of the codes up to the one that clears the table or ends the piece, and where that is."""
    lengths = [1] * 256 + [0, 0]
    total, before = 0, 0
    for k, code in enumerate(codes):
        if code in (_CLEAR, _LAST):
            return total, k
        if before:
            lengths.append(before + 1)
        if code >= len(lengths):
            return None, k
        before = lengths[code]
        total += before
    return None, 0
