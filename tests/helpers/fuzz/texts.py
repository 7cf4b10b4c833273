"""What a person types: lengths and all that is made of them."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from pathlib import Path

from helpers.fuzz.entrance import Entrance, odd_texts
from hypothesis import strategies as st

from gapvision.inputs.joint_name import parse_joint_name
from gapvision.inputs.preferences import Preferences, parse_bar, printed_bar_of
from gapvision.inputs.rules import parse_limit, rules_of
from gapvision.lengths import (
    format_length,
    parse_diameter,
    parse_ends,
    parse_length,
    parse_lengths,
    parse_reading,
    parse_trial,
    round_up,
    units_written,
)
from gapvision.shoot.slip import parse_slip

# Written apart from the parser: a number of a metric unit, feet and inches, and nothing else.
_PLAIN = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*(mm|cm|m)?\s*", re.ASCII)
_MM = {None: 1, "mm": 1, "cm": 10, "m": 1000}
_PARSERS = (
    parse_length, parse_lengths, parse_diameter, parse_ends, parse_reading, parse_trial, parse_limit,
    rules_of,
)  # fmt: skip


@st.composite
def _written(draw) -> tuple[Fraction, str]:
    """A length in mm, exactly, and one of the ways in which people write it."""
    sign, sign_text = draw(st.sampled_from(((1, ""), (1, "+"), (-1, "-"))))
    space = draw(st.sampled_from(("", " ")))
    if draw(st.booleans()):
        number = draw(st.decimals(0, 99999, places=draw(st.integers(0, 3))))
        unit = draw(st.sampled_from(("mm", "cm", "m", "MM", "Cm")))
        return sign * Fraction(number) * _MM[unit.lower()], f"{sign_text}{number:f}{space}{unit}"
    whole, sixteenths = draw(st.integers(0, 11)), draw(st.integers(0, 15))
    mark = draw(st.sampled_from(("in", '"', "inch", "″", "''")))
    text = f"{whole}{space}{mark}"
    if sixteenths:
        text = f"{whole}{draw(st.sampled_from((' ', '-', ' - ')))}{sixteenths}/16{space}{mark}"
    inches = whole + Fraction(sixteenths, 16)
    if draw(st.booleans()):
        feet = draw(st.integers(0, 40))
        text = f"{feet}{draw(st.sampled_from(('ft', ' ft ', chr(39), 'ft. ')))} {text}"
        inches += 12 * feet
    return sign * inches * Fraction(254, 10), sign_text + text


def _check_written(given: tuple[Fraction, str], folder: Path) -> None:
    mm, text = given
    read = parse_length(text)
    assert read == float(mm), f"{text!r} is {float(mm)} mm and was read as {read}"
    if abs(read) < 25_000_000:  # six digits of inches are read back
        shown = parse_length(format_length(read, "in"))
        assert abs(shown - read) <= 25.4 / 32 + 1e-6
    up = round_up(read)
    assert read - 1e-5 <= up < read + 1 + 1e-5


def _check_odd(given: tuple[str, str], folder: Path) -> None:
    text, units = given
    units_written(text)
    parse_slip(text)
    for parse in _PARSERS:
        try:
            read = parse(text, units)
        except ValueError as error:
            assert str(error).strip()
            continue
        for number in _numbers(read):
            assert math.isfinite(number), f"{parse.__name__}({text!r}) is {read}"
        if parse is parse_length and (plain := _PLAIN.fullmatch(text)):
            assert read == float(Fraction(plain[1]) * _MM[plain[2]])
    for parse in (parse_bar, lambda t: printed_bar_of(t, Preferences())):
        try:
            parse(text)
        except ValueError as error:
            assert str(error).strip()
    try:
        name = parse_joint_name(text, text, text)
    except ValueError as error:
        assert str(error).strip()
    else:
        assert name.title.isprintable()


def _numbers(read: object):
    if isinstance(read, float):
        yield read
    elif isinstance(read, tuple):
        for part in read:
            yield from _numbers(part)
    elif hasattr(read, "__dataclass_fields__"):
        for name in read.__dataclass_fields__:
            yield from _numbers(getattr(read, name))


ENTRANCES = {
    "lengths as people write them": Entrance(_written(), _check_written, 60),
    "odd texts for lengths, limits and names": Entrance(
        st.tuples(odd_texts, st.sampled_from(("mm", "in"))), _check_odd, 80
    ),
}
