"""What an entrance is, and the odd values that several draw from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from hypothesis import strategies as st


@dataclass(frozen=True, slots=True)
class Entrance:
    """Inputs, what must hold of each in an empty folder, and how many the ordinary tests try."""

    strategy: st.SearchStrategy[Any]
    check: Callable[[Any, Path], None]
    examples: int


PIECES = (
    *"0123456789.,/-+ @~:=*'\"\t\n", "in", "mm", "cm", "m", "ft", "widest", "1/2", "11 1/2", "6ft 3in",
    "75", "290", "1e5", "nan", "inf", "0x10", "-0", "½", "٣", "″", "’", "−", "\u00a0", "..", "99999999",
    "9" * 40, "cover", "width", "run", "none", "barn", "ä", "\u202e", "\x00", "\x1b[2J", "%", "{}", "\\",
)  # fmt: skip
odd_texts = st.one_of(
    st.lists(st.sampled_from(PIECES), max_size=7).map("".join),
    st.text(max_size=30),
    st.sampled_from(("A" * 300, "ü" * 300, "-" * 300, "1," * 200 + "1", "'" * 50)),
)
odd_numbers = st.one_of(
    st.integers(-5, 5),
    st.integers(),
    st.floats(),
    st.sampled_from((10**20, -(10**20), 10**400, 2**63, 1e308, -1e308, 5e-324, 0.0, -0.0)),
)
odd_values = st.recursive(
    st.one_of(st.none(), st.booleans(), odd_numbers, odd_texts, st.just(date(2026, 5, 14))),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=8,
)


@st.composite
def mutated(draw, base: bytes, most: int | None = None, edits: int = 4) -> bytes:
    """Bytes with a few places of the first ``most`` overwritten, cut out, doubled or cut off."""
    data = bytearray(base)
    for _ in range(draw(st.integers(1, edits))):
        if not data:
            break
        reach = min(len(data), most or len(data))
        at = draw(st.integers(0, reach - 1))
        match draw(st.sampled_from(("byte", "extreme", "cut", "insert", "double", "end"))):
            case "byte":
                data[at] = draw(st.integers(0, 255))
            case "extreme":
                fill = draw(st.sampled_from((b"\0", b"\xff", b"\x7f\xff", b"\x80\0", b"\0\1")))
                data[at : at + 4] = (fill * 4)[:4]
            case "cut":
                del data[at : at + draw(st.integers(1, 64))]
            case "insert":
                data[at:at] = draw(st.binary(min_size=1, max_size=32))
            case "double":
                data[at:at] = data[at : at + draw(st.integers(1, 64))]
            case "end":
                end = draw(st.integers(0, len(data)))
                del data[end:]
    return bytes(data)
