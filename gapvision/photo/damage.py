"""Where a JPEG that still decodes is damaged: ITU-T T.81, annexes B, E and F.

A decoder says that something was wrong, not where, and goes on. Here the codes are walked through without
their pixels, until one comes that no encoder writes: from there on nothing is where it belongs, up to the
next restart marker or the end of the picture.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

# Noise is taken for codes for a while before one is impossible: in 1300 damaged pictures never for more
# than 75 MCUs, in the median for 1 to 8.
MARGIN_MCU = 200
_FILLED = re.compile(rb"(.)\1{31,}", re.DOTALL)  # as lost parts of a file are
# Bits of an MCU's block, at most, where it has one colour: such may be filled alike in whole pictures.
_FLAT_BITS = 24
_MARKER = re.compile(rb"\xff[^\x00\xff]", re.DOTALL)
_END = b"\xff\xd9"
_PIECE = 1 << 16  # bytes that are looked up at a time
_BEYOND = 1 << 13  # and more than an MCU has: 10 blocks of 64 codes of 27 bits
_ANYWHERE = -1  # for an MCU
_COLOUR_REACHES_PX = 2  # where a pixel's colour is taken from its neighbours' too
_OVER = 64  # coefficients of a block, and what the end of one counts
_DC_MOST = 11  # bits of a difference of 8-bit samples


@dataclass(frozen=True, slots=True)
class Damage:
    """The part of an upright picture, px from and to, that is not to be trusted.

    ``located`` is False where it may be anywhere, so that all of the picture is meant.
    """

    x0: int
    y0: int
    x1: int
    y1: int
    located: bool = True

    def touches(self, xy_px: np.ndarray) -> bool:
        """Whether it reaches the smallest upright box around image points (n, 2)."""
        (left, top), (right, bottom) = xy_px.min(0), xy_px.max(0)
        return bool(left < self.x1 and right >= self.x0 and top < self.y1 and bottom >= self.y0)


# By (class, number) of a Huffman table, as `_tables` has it.
_Tables = dict[tuple[int, int], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True, slots=True)
class _Scan:
    """What the headers of a sequential picture of one scan tell.

    ``blocks`` are the tables of an MCU's blocks, (differences, coefficients) each, by number.
    """

    size: tuple[int, int]  # of the picture, px
    mcu: tuple[int, int]  # of an MCU, px
    blocks: tuple[tuple[int, int], ...]
    tables: _Tables
    interval: int  # MCUs from restart to restart, 0 without
    begin: int

    @property
    def across(self) -> int:
        """MCUs of a row."""
        return -(-self.size[0] // self.mcu[0])

    @property
    def many(self) -> int:
        """MCUs of the picture."""
        return self.across * -(-self.size[1] // self.mcu[1])


def damage_of_jpeg(data: bytes, size: tuple[int, int], orientation: int) -> Damage | None:
    """What of a JPEG is damaged, in its upright picture of a size (width, height) in px.

    Parameters
    ----------
    data : bytes
        Of which a decoder said that it is damaged, or that breaks off.
    size : (width, height) of the upright picture, px
    orientation : int
        By which it was turned upright: Exif 2.32, tag 274.

    Returns
    -------
    Damage or None
        None of a picture that is whole, whatever lies beside its codes.
    """
    found = damaged_rows(data)
    if found is None:
        return None
    width, height = size
    first, end, located = found
    stored_height = width if orientation >= 5 else height
    if not located or end > stored_height:
        return Damage(0, 0, width, height, located=False)
    if orientation in (3, 4, 6, 7):  # what is stored first lies below, or at the right
        first, end = stored_height - end, stored_height - first
    return Damage(first, 0, end, height) if orientation >= 5 else Damage(0, first, width, end)


def damaged_rows(data: bytes) -> tuple[int, int, bool] | None:
    """From which to which row a JPEG is damaged, as it is stored, not yet turned upright.

    Parameters
    ----------
    data : bytes
        Of which a decoder said that it is damaged, or that breaks off.

    Returns
    -------
    (first, end, located) in px, or None
        All rows, and not located, where the place cannot be told: of progressive pictures, and where there
        are too many or too few codes and none that is impossible. None of a picture that is whole,
        whatever lies beside its codes.
    """
    scan = _headers(data)
    if scan is None:
        return 0, _height(data), False
    found = list(_damaged(data, scan))
    if not found:
        return None
    first, end = min(a for a, _ in found), max(b for _, b in found)
    if first == _ANYWHERE:
        return 0, scan.size[1], False
    top = first // scan.across * scan.mcu[1] - _COLOUR_REACHES_PX
    bottom = -(-end // scan.across) * scan.mcu[1] + _COLOUR_REACHES_PX
    return max(top, 0), min(bottom, scan.size[1]), True


# --- the headers ----------------------------------------------------------------------------------


def _segments(data: bytes) -> Iterator[tuple[int, bytes, int]]:
    """Marker, body and end of each segment up to the first scan's codes."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        if data[at + 1] == 0xFF:
            at += 1
            continue
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        yield data[at + 1], data[at + 4 : end], end
        if data[at + 1] == 0xDA:
            return
        at = end


def _height(data: bytes) -> int:
    for marker, body, _ in _segments(data):
        if marker in (0xC0, 0xC1, 0xC2) and len(body) >= 5:
            return int.from_bytes(body[1:3], "big")
    return 0


def _headers(data: bytes) -> _Scan | None:
    """None where the picture is of a kind that is not walked."""
    tables: _Tables = {}
    frame, interval = b"", 0
    try:
        for marker, body, end in _segments(data):
            if marker in (0xC0, 0xC1):
                frame = body
            elif 0xC2 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
                return None
            elif marker == 0xC4:
                tables |= _tables(body)
            elif marker == 0xDD:
                interval = int.from_bytes(body[:2], "big")
            elif marker == 0xDA:
                return _scan(frame, body, tables, interval, end)
    except (IndexError, KeyError, ValueError, ZeroDivisionError):
        return None
    return None


def _scan(frame: bytes, body: bytes, tables: _Tables, interval: int, end: int) -> _Scan | None:
    height, width, parts = int.from_bytes(frame[1:3]), int.from_bytes(frame[3:5]), frame[5]
    if frame[0] != 8 or body[0] != parts:
        return None
    factors = {frame[6 + 3 * k]: divmod(frame[7 + 3 * k], 16) for k in range(parts)}
    if parts == 1:
        factors = dict.fromkeys(factors, (1, 1))
    blocks: list[tuple[int, int]] = []
    for k in range(parts):
        across, down = factors[body[1 + 2 * k]]
        used = divmod(body[2 + 2 * k], 16)
        blocks += [used] * (across * down)
    for dc, ac in blocks:
        tables[0, dc], tables[1, ac]
    mcu = 8 * max(a for a, _ in factors.values()), 8 * max(d for _, d in factors.values())
    return _Scan((width, height), mcu, tuple(blocks), tables, interval, end)


def _tables(body: bytes) -> _Tables:
    """By (class, number): of each 16 bits how many belong to the code and its value, and how far it goes.

    How far is 1 for a difference, a run and its coefficient for others, `_OVER` where a block ends, and 0
    where no code begins so.
    """
    out = {}
    at = 0
    while at < len(body):
        kind, number = divmod(body[at], 16)
        counts = body[at + 1 : at + 17]
        symbols = body[at + 17 : at + 17 + sum(counts)]
        bits, far = np.zeros(1 << 16, np.uint8), np.zeros(1 << 16, np.uint8)
        code, used = 0, iter(symbols)
        for length, many in enumerate(counts, 1):
            for _ in range(many):
                symbol = next(used, 0)
                here = slice(code << (16 - length), (code + 1) << (16 - length))
                bits[here] = length + (symbol & 15)
                far[here] = _far(kind, symbol)
                code += 1
            code <<= 1
        out[kind, number] = bits, far
        at += 17 + len(symbols)
    return out


def _far(kind: int, symbol: int) -> int:
    if kind == 0:
        return symbol <= _DC_MOST
    run, size = divmod(symbol, 16)
    if size == 0 and run != 15:
        return _OVER if run == 0 else 0
    return run + 1 if size <= 10 else 0


# --- the codes ------------------------------------------------------------------------------------


def _damaged(data: bytes, scan: _Scan) -> Iterator[tuple[int, int]]:
    """The MCUs (first, end) that are not to be trusted, of each stretch between restarts that has such."""
    at, done, number = scan.begin, 0, 0
    while done < scan.many:
        many = min(scan.interval or scan.many, scan.many - done)
        found = _MARKER.search(data, at)
        end = found.start() if found else len(data)
        last = done + many >= scan.many
        ends = data[end : end + 2] == (_END if last else bytes((0xFF, 0xD0 + number % 8)))
        wrong = _walked(data[at:end].replace(b"\xff\x00", b"\xff"), scan, many, ends)
        if wrong is None and not ends and last and data.find(_END, end) >= 0:
            return  # all codes are there, and what follows before the end is none of theirs
        if wrong is not None or not ends:
            anywhere = wrong == _ANYWHERE and scan.interval == 0
            first = _ANYWHERE if anywhere else done + max(wrong or 0, 0)
            yield first, done + many if ends else scan.many
        if not ends:
            return  # nothing says what belongs where from there on
        at, done, number = end + 2, done + many, number + 1


def _walked(codes: bytes, scan: _Scan, many: int, ends: bool) -> int | None:
    """The first MCU of a stretch that may be damaged, None of a stretch that is whole.

    ``ends``: what follows the codes is what should. Then codes that are too few or too many tell only that
    something is wrong before; else they break off where they are wrong.
    """
    filled = _FILLED.search(codes)
    filled_bits = (8 * filled.start(), 8 * filled.end()) if filled else (8 * len(codes),) * 2
    in_filling, no_picture, mcu, bit = None, False, 0, 0
    for begin in range(0, len(codes), _PIECE):
        piece = codes[begin : begin + _PIECE + _BEYOND]
        lookups = _lookups(piece, scan)
        stop = 8 * min(_PIECE, len(piece))
        while bit < stop and mcu < many:
            if in_filling is None and 8 * begin + bit >= filled_bits[0]:
                in_filling = max(mcu - 1, 0)
            after = _through(lookups, bit)
            if in_filling is not None and after is not None and 8 * begin + after <= filled_bits[1]:
                no_picture |= after - bit > _FLAT_BITS * len(lookups)
            if after is None or after > 8 * len(piece):
                # Of which not half are there, more than half is lost, wherever it begins.
                near = after is None or not ends or 2 * mcu < many
                return _before(mcu, in_filling, scan) if near else _or_anywhere(in_filling)
            bit, mcu = after, mcu + 1
        bit -= 8 * _PIECE
        if mcu == many:
            rest = codes[begin + _PIECE + bit // 8 + (bit % 8 > 0) :]
            too_many = rest.strip(b"\0") and rest.strip(b"\xff")
            return _or_anywhere(in_filling) if too_many or no_picture else None
    return _or_anywhere(in_filling) if ends else _before(mcu, in_filling, scan)


def _or_anywhere(mcu: int | None) -> int:
    return _ANYWHERE if mcu is None else mcu


def _before(mcu: int, in_filling: int | None, scan: _Scan) -> int:
    """Where the damage may begin of which the first sign is at an MCU."""
    first = mcu - max(MARGIN_MCU, scan.across)
    return max(0, first if in_filling is None else min(first, in_filling))


def _lookups(piece: bytes, scan: _Scan) -> list[tuple[bytes, ...]]:
    """Of each block of an MCU what `_tables` tells at every bit, for differences and coefficients."""
    raw = np.frombuffer(piece + bytes(3), np.uint8).astype(np.uint32)
    wide = raw[:-2] << 16 | raw[1:-1] << 8 | raw[2:]
    here = np.empty((len(wide), 8), np.uint16)
    for k in range(8):
        here[:, k] = wide >> (8 - k) & 0xFFFF
    flat = here.ravel()
    made = {
        key: tuple(part[flat].tobytes() for part in scan.tables[key])
        for dc, ac in set(scan.blocks)
        for key in ((0, dc), (1, ac))
    }
    return [(*made[0, dc], *made[1, ac]) for dc, ac in scan.blocks]


def _through(lookups: list[tuple[bytes, ...]], bit: int) -> int | None:
    """The bit behind an MCU that begins at a bit, beyond all where codes break off; None if impossible."""
    try:
        for dc_bits, dc_far, ac_bits, ac_far in lookups:
            if not dc_far[bit]:
                return None
            bit += dc_bits[bit]
            k = 1
            while k < _OVER:
                far = ac_far[bit]
                if not far:
                    return None
                bit += ac_bits[bit]
                k += far
            if k > _OVER > far:
                return None
    except IndexError:
        return 8 * len(lookups[0][0])
    return bit
