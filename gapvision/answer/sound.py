"""Whether a kept answer's values are of the kinds that their keys say: it may come from anybody."""

from __future__ import annotations

from itertools import chain
from typing import TypeGuard

_LARGEST = (
    1e9  # mm, px, counts: nothing of a joint is beyond it, and arithmetic stays far from its ends
)
ROUNDED_MM = 1e-3  # more than the JSON's decimals leave away
_LENGTHS = ("_mm", "_px", "_deg")
_ONE = {
    "value_mm", "u_mm", "U95_mm", "offset_mm", "set_to_mm", "cover_mm", "from_mm", "to_mm", "height_mm",
    "distance_mm",
}  # fmt: skip
_TEXTS = {
    "file", "sha256", "code", "text", "side", "status", "lens", "lacked", "taken",
    "program_version", "make", "model",
}  # fmt: skip
_LISTS = {
    "photos", "cards", "cautions", "readings", "trials", "chains", "shared_cards",
}  # fmt: skip
_OF_NUMBERS = {int, float, type(None)}
_GROUPS = {
    "camera", "setting", "widest_gap", "narrowest_groove", "profile", "outlines", "decision",
    "station_origin", "photographs_alone", "blocks",
}  # fmt: skip


def check_sound(value: object, key: str = "") -> None:
    """Refuse what cannot be in an answer.

    Parameters
    ----------
    value : object
        Of JSON.
    key : str
        Under which it stands; that of a list for what is in the list.

    Raises
    ------
    ValueError
        With the key.
    """
    if _is_number(value) and not abs(value) <= _LARGEST:  # which no NaN is either
        raise ValueError(f"{key}: no number that can be")
    if value is None:
        return
    number_or_list = _is_number(value) or (key not in _ONE and isinstance(value, list))
    if key.endswith(_LENGTHS) and not number_or_list:
        raise ValueError(f"{key}: no number")
    if key in _TEXTS and not isinstance(value, str):
        raise ValueError(f"{key}: no text")
    if key in _GROUPS and not isinstance(value, dict):
        raise ValueError(f"{key}: no group of values")
    if isinstance(value, dict):
        for name, inner in value.items():
            if name in _LISTS and not (inner is None or isinstance(inner, list)):
                raise ValueError(f"{name}: no list")
            check_sound(inner, name)
    elif isinstance(value, list):
        _check_list(value, key)


def _check_list(values: list, key: str) -> None:
    """Most of an answer are lists of numbers, of points and of words: those are looked through at once."""
    while values and {*map(type, values)} == {list}:
        values = [*chain.from_iterable(values)]
    kinds = {*map(type, values)}
    if kinds <= _OF_NUMBERS and all(v is None or -_LARGEST <= v <= _LARGEST for v in values):
        return
    if kinds == {str} and not key.endswith(_LENGTHS):
        return
    for inner in values:
        check_sound(inner, key)


def _is_number(value: object) -> TypeGuard[int | float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def check_whole(answer: dict) -> None:
    """Refuse numbers of a measurement that contradict each other, as of a file that was changed.

    Raises
    ------
    ValueError
        With the key.
    """
    setting = answer["setting"]
    for name in ("widest_gap", "setting", "narrowest_groove"):
        for key in ("u_mm", "U95_mm"):
            if (answer[name].get(key) or 0.0) < 0:
                raise ValueError(f"{name}: {key} is below zero")
    if min(setting["cover_mm"], setting["set_to_mm"]) <= 0:
        raise ValueError("setting: cover_mm or set_to_mm is not above zero")
    if setting["set_to_mm"] < setting["value_mm"] - ROUNDED_MM:
        raise ValueError(
            "setting: set_to_mm is below value_mm, and it is never set below the estimate"
        )
