"""HEVC inside HEIC: ITU-T H.265, 7.3.1 and 7.4.2, and ISO/IEC 14496-15, 8.3.3. Its notes are filled over.

Beside slices and parameter sets a stream has units of enhancement information, in which anybody may write
anything, and kinds that decoders pass over. Each becomes a unit of filler as long as it was.
"""

from __future__ import annotations

from gapvision.photo.scrub.notes import NotScrubbable

_SLICES, _PARAMETERS, _FILLER = range(32), range(32, 35), 38
_HEAD = 2  # bytes of a unit before its payload
_RECORD_HEAD = 22  # bytes of a decoder's configuration before its number of arrays
_LENGTH_SIZE_AT = 21


def filled_over(data: bytes, length_size: int) -> bytes:
    """The units of one picture, each with its length before it, with filler for all that is no picture.

    Raises
    ------
    NotScrubbable
        Where the units are not exactly as long as the data.
    """
    out = bytearray(data)
    at = 0
    while at < len(data):
        begin = at + length_size
        at = begin + int.from_bytes(data[begin - length_size : begin], "big")
        _fill(out, begin, at)
    return bytes(out)


def length_size_of(record: bytes) -> int:
    """Bytes of the length before each unit, by a decoder's configuration (``hvcC``)."""
    return (record[_LENGTH_SIZE_AT] & 3) + 1


def clean_record(record: bytes) -> bytes:
    """A decoder's configuration, with filler for all that is no parameter set.

    Raises
    ------
    NotScrubbable
        Where its arrays are not exactly as long as it is.
    """
    out = bytearray(record)
    at = _RECORD_HEAD + 1
    for _ in range(record[_RECORD_HEAD]):
        if record[at] & 63 not in _PARAMETERS:
            out[at] = record[at] & 0xC0 | _FILLER
        many = int.from_bytes(record[at + 1 : at + 3], "big")
        at += 3
        for _ in range(many):
            begin = at + 2
            at = begin + int.from_bytes(record[at:begin], "big")
            _fill(out, begin, at, slices=False)
    if at != len(record):
        raise NotScrubbable("damaged")
    return bytes(out)


def _fill(out: bytearray, begin: int, end: int, slices: bool = True) -> None:
    if end < begin + _HEAD or end > len(out):
        raise NotScrubbable("damaged")
    kind = out[begin] >> 1 & 63
    if kind in _PARAMETERS or (slices and kind in _SLICES):
        return
    out[begin : begin + _HEAD] = bytes((_FILLER << 1, 1))
    body = end - begin - _HEAD
    if body:  # its last byte ends the payload, 7.3.2.11
        out[begin + _HEAD : end] = b"\xff" * (body - 1) + b"\x80"
