"""Paths and lengths with spaces that were typed without quotes, so that the shell parted them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

_NUMBER = re.compile(
    r"(.*[=,:@])?[+-]?\d+(\.\d+)?\s*('|ft)?"
)  # an option's value, or its last part
_FRACTION = re.compile(r"\d+/\d+\s*(in|\"|''|”)?([,@:~].*)?")  # and what is left of 1/2in
_INCHES = re.compile(r"\d+(\.\d+)?\s*(in|mm|cm|\")")
LONGEST = 6  # words of one path


def missing_quotes(words: Sequence[str]) -> str:
    """What to put quotes round, among the words of a command line; empty where nothing is.

    Examples
    --------
    >>> missing_quotes(["measure", "photos", "--cover", "2", "1/2in"])
    'Put quotes round a length with a space: "2 1/2in".'
    """
    for first, second in pairwise(words):
        if _is_length(first, second):
            return f'Put quotes round a length with a space: "{first} {second}".'
    for start in range(len(words)):
        for end in range(start + 2, min(start + LONGEST, len(words)) + 1):
            parts = words[start:end]
            if any(p.startswith("--") for p in parts):
                break
            whole = " ".join(parts)
            if _is_there(whole) and not all(_is_there(p) for p in parts):
                return f'Put quotes round a path with a space: "{whole}".'
    return ""


def _is_length(first: str, second: str) -> bool:
    if _is_there(second):
        return False
    feet = first.endswith(("'", "ft"))
    part = _FRACTION.fullmatch(second) or (feet and _INCHES.fullmatch(second))
    return bool(_NUMBER.fullmatch(first) and part)


def _is_there(path: str) -> bool:
    try:
        return Path(path).exists()
    except (OSError, ValueError):
        return False
