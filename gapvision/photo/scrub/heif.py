"""HEIC: ISO/IEC 14496-12 and 23008-12. Overwritten in place, since all places are counted from its start.

A picture names the pieces of data that it needs. All other data, free boxes, notes and names are blanked,
and of a picture's own data what is none of its (`hevc`).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from gapvision.photo.scrub.hevc import clean_record, filled_over, length_size_of
from gapvision.photo.scrub.notes import EXIF_HEAD, NotScrubbable, clean_exif, clean_profile

_TOP = frozenset({b"ftyp", b"meta", b"mdat", b"free", b"skip"})
_META = frozenset(b"hdlr pitm iinf iref iprp iloc idat dinf grpl".split())
_CODED = frozenset({b"hvc1", b"hev1"})
_DERIVED = frozenset({b"grid", b"iovl", b"iden", b"tmap"})
_PROPERTIES = frozenset(
    b"hvcC av1C ispe pixi colr irot imir clap pasp auxC clli mdcv lsel rloc cclv amve a1op a1lx".split()
)
_PLAIN_DINF = 36  # bytes of a box that says only "in this file"


@dataclass(frozen=True, slots=True)
class _Box:
    """A box's kind, where its body begins and where it ends; places in the file."""

    kind: bytes
    begin: int
    end: int


def free_heif(content: bytes) -> bytes:
    """The file with what its pictures need; what cannot be done raises `NotScrubbable`."""
    out = bytearray(content)
    top = list(_boxes(content, 0, len(content)))
    if any(box.kind not in _TOP for box in top):
        raise NotScrubbable("with more in it than a picture, such as a video")
    metas = [box for box in top if box.kind == b"meta"]
    if len(metas) != 1:
        raise NotScrubbable("damaged")
    inside = list(_boxes(content, metas[0].begin + 4, metas[0].end))
    by_kind = {box.kind: box for box in inside}
    if not {b"iloc", b"iinf", b"iprp", b"pitm"} <= set(by_kind):
        raise NotScrubbable("damaged")
    for box in (*top, *inside):
        if box.kind not in _META | {b"ftyp", b"meta", b"mdat"}:
            _blank(out, box.begin, box.end)
            out[box.begin - 4 : box.begin] = b"free" if box.kind not in _TOP else box.kind
    _blank_names(out, by_kind)
    _blank_properties(out, by_kind[b"iprp"])
    data = [box for box in top if box.kind == b"mdat"] + [
        box for box in inside if box.kind == b"idat"
    ]
    kept = _kept_pieces(out, content, by_kind)
    for box in data:
        _blank_gaps(out, box, kept)
    return bytes(out)


def _boxes(content: bytes | bytearray, at: int, end: int) -> Iterator[_Box]:
    while at < end:
        size, kind = struct.unpack_from(">I4s", content, at)
        begin = at + 8
        if size == 1:
            size, begin = struct.unpack_from(">Q", content, begin)[0], begin + 8
        stop = at + size if size else end
        if stop < begin or stop > end:
            raise NotScrubbable("damaged")
        yield _Box(kind, begin, stop)
        at = stop


def _blank(out: bytearray, begin: int, end: int, sign: bytes = b"\0") -> None:
    out[begin:end] = sign * (end - begin)


def _blank_names(out: bytearray, by_kind: dict[bytes, _Box]) -> None:
    """Of the handler and of each item; and boxes that name other files are none of a photograph."""
    if (handler := by_kind.get(b"hdlr")) is not None:
        _blank(out, min(handler.begin + 24, handler.end), handler.end)
    for item in _items(out, by_kind[b"iinf"]):
        end = out.find(b"\0", item.name, item.box.end)
        if end > item.name:
            _blank(out, item.name, end, b" ")
        if item.kind != b"mime" and end >= 0:
            _blank(out, end, item.box.end)
    place = by_kind.get(b"dinf")
    if place is not None and place.end - place.begin + 8 > _PLAIN_DINF:
        raise NotScrubbable("with more in it than a picture, such as a link")


@dataclass(frozen=True, slots=True)
class _Item:
    """An entry of the list of contents: its number, its kind, and where its name begins."""

    number: int
    kind: bytes
    name: int
    box: _Box


def _items(content: bytes | bytearray, box: _Box) -> Iterator[_Item]:
    long = content[box.begin] > 0
    for entry in _boxes(content, box.begin + (8 if long else 6), box.end):
        version = content[entry.begin]
        if entry.kind != b"infe" or version not in (2, 3):
            raise NotScrubbable("damaged")
        at = entry.begin + 4
        number = int.from_bytes(content[at : at + 2 * version - 2], "big")
        at += 2 * version
        yield _Item(number, bytes(content[at : at + 4]), at + 4, entry)


def _blank_properties(out: bytearray, box: _Box) -> None:
    """Of the pictures' properties what they look by stays; a colour profile without its texts."""
    for container in _boxes(out, box.begin, box.end):
        if container.kind != b"ipco":
            continue
        for prop in list(_boxes(out, container.begin, container.end)):
            if prop.kind not in _PROPERTIES:
                _blank(out, prop.begin, prop.end)
            elif prop.kind == b"hvcC":
                out[prop.begin : prop.end] = clean_record(bytes(out[prop.begin : prop.end]))
            elif prop.kind == b"colr" and bytes(out[prop.begin : prop.begin + 4]) in (
                b"prof",
                b"rICC",
            ):
                old = bytes(out[prop.begin + 4 : prop.end])
                new = clean_profile(old)
                if len(new) > len(old):
                    raise NotScrubbable("with a colour profile too tightly packed")
                out[prop.begin + 4 : prop.end] = new.ljust(len(old), b"\0")


def _kept_pieces(
    out: bytearray, content: bytes, by_kind: dict[bytes, _Box]
) -> list[tuple[int, int]]:
    """Places of the data that pictures need; notes are overwritten on the way."""
    kinds = {item.number: item.kind for item in _items(content, by_kind[b"iinf"])}
    if kinds.get(_main(content, by_kind[b"pitm"])) not in _CODED | _DERIVED:
        raise NotScrubbable("with a picture of a kind whose notes are not known")
    sizes = _length_sizes(content, by_kind[b"iprp"])
    kept = []
    for number, pieces in _places(content, by_kind):
        if any(begin > end or end > len(content) for begin, end in pieces):
            raise NotScrubbable("damaged")
        if kinds.get(number) in _CODED and len(sizes) != 1:
            raise NotScrubbable("damaged")
        if kinds.get(number) in _DERIVED:
            kept += pieces
        elif kinds.get(number) in _CODED | {b"Exif"}:
            old = b"".join(content[begin:end] for begin, end in pieces)
            exif = kinds[number] == b"Exif"
            new = _freed_exif(old) if exif else filled_over(old, *sizes)
            for begin, end in pieces:
                out[begin:end], new = new[: end - begin], new[end - begin :]
            kept += pieces
        elif kinds.get(number) == b"mime":
            for begin, end in pieces:
                _blank(out, begin, end, b" ")
            kept += pieces
    return kept


def _main(content: bytes, box: _Box) -> int:
    """The number of the picture that is shown (14496-12, 8.11.4)."""
    wide = 4 if content[box.begin] else 2
    return int.from_bytes(content[box.begin + 4 : box.begin + 4 + wide], "big")


def _length_sizes(content: bytes, box: _Box) -> set[int]:
    """Bytes of the length before each unit of coded pictures; more than one where they have not one alike."""
    return {
        length_size_of(content[prop.begin : prop.end])
        for container in _boxes(content, box.begin, box.end)
        if container.kind == b"ipco"
        for prop in _boxes(content, container.begin, container.end)
        if prop.kind == b"hvcC"
    }


def _freed_exif(block: bytes) -> bytes:
    """An item of Exif, as long as it was: where the TIFF header lies, then that (23008-12, annex A)."""
    skipped = int.from_bytes(block[:4], "big")
    old = block[4 + skipped :]
    new = clean_exif(old).removeprefix(EXIF_HEAD)
    if len(new) > len(old):
        raise NotScrubbable("with notes too tightly packed")
    lead = EXIF_HEAD if skipped == len(EXIF_HEAD) else bytes(min(skipped, len(block) - 4))
    return block[:4] + lead + new.ljust(len(old), b"\0")


def _places(
    content: bytes, by_kind: dict[bytes, _Box]
) -> Iterator[tuple[int, list[tuple[int, int]]]]:
    """Each item's pieces of data, as begin and end in the file (14496-12, 8.11.3)."""
    at = by_kind[b"iloc"].begin
    version = content[at]
    sizes = content[at + 4], content[at + 5]
    offset_size, length_size, base_size = sizes[0] >> 4, sizes[0] & 15, sizes[1] >> 4
    index_size = sizes[1] & 15 if version else 0
    at += 6

    def number(size: int) -> int:
        nonlocal at
        at += size
        if at > by_kind[b"iloc"].end:
            raise NotScrubbable("damaged")
        return int.from_bytes(content[at - size : at], "big")

    wide = 4 if version == 2 else 2
    for _ in range(number(wide)):
        item = number(wide)
        method = number(2) & 15 if version else 0
        if method > 1 or number(2):
            raise NotScrubbable("with data in other places")
        base = number(base_size) + (by_kind[b"idat"].begin if method else 0)
        pieces = []
        for _ in range(number(2)):
            number(index_size)
            begin = base + number(offset_size)
            pieces.append((begin, begin + number(length_size)))
        yield item, pieces


def _blank_gaps(out: bytearray, box: _Box, kept: list[tuple[int, int]]) -> None:
    """Blank what of a box no picture needs."""
    at = box.begin
    for begin, end in sorted(kept):
        if end > box.begin and begin < box.end:
            _blank(out, at, max(at, min(begin, box.end)))
            at = max(at, min(end, box.end))
    _blank(out, at, box.end)
