"""The answer to be read aloud: what is short on a screen is written out as it is said."""

from __future__ import annotations

import re

from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import READY, first_line, reason_text
from gapvision.measurement import Measurement

_SAID = (
    (re.compile(r"\(± holds 95 times in 100\.\)\s*"), ""),
    (re.compile(r"\s*±\s*"), " plus or minus "),
    (re.compile(r"(?<=\d) mm\b"), " millimetres"),
    (re.compile(r"(?<=\b1) in\b(?! \d)"), " inch"),
    (re.compile(r"(?<=\d) in\b(?! \d)"), " inches"),
    (re.compile(r"(?<=\d) (?=\d+/\d)"), " and "),
)


def spoken_text(m: Measurement, units: str = "mm") -> str:
    """The verdict, where it is decided, and what to do, in sentences for a voice.

    Parameters
    ----------
    m : Measurement
    units : {"mm", "in"}

    Returns
    -------
    str
        Without signs that a voice passes over or spells.
    """
    first = first_line(m, units).capitalize()
    parts = [f"{first}.", reason_text(m, units)]
    if m.verdict.ready:
        parts.append(f"{READY.capitalize()}.")
    parts += [to_do_text(step, m.cards, units) for step in m.verdict.to_do]
    return said(" ".join(parts))


def said(text: str) -> str:
    """A text with its units, signs and fractions as they are spoken.

    Examples
    --------
    >>> said("Set 2 1/8 in, needs 51.3 ± 2.9 mm.")
    'Set 2 and 1/8 inches, needs 51.3 plus or minus 2.9 millimetres.'
    """
    for pattern, words in _SAID:
        text = pattern.sub(words, text)
    return text
