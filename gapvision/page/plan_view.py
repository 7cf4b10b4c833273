"""The plan of heights as a drawing: the logs from their ends, the phone level, above and below."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

HEIGHTS = ("above", "level", "below")
_LENS_Y = {"above": 36, "level": 74, "below": 112}
_WORDS = {"above": "from above", "level": "level with the gap", "below": "from below"}


@dataclass(frozen=True, slots=True)
class Taken:
    """How many photographs of a joint are of each height, and which is due, "" where none is."""

    count: Mapping[str, int]
    due: str = ""


def plan_drawing(taken: Taken) -> Markup:
    """The logs seen from their ends and the phone at three heights, as an ``svg`` element.

    A height that was taken is ticked, the one that is due is ringed, others are dashed.
    """
    parts = [
        f'<svg class="plan" viewBox="0 0 148 148" role="img" aria-label="{plan_words(taken)}">',
        '<circle class="log" cx="30" cy="36" r="28"/><circle class="log" cx="30" cy="112" r="28"/>',
    ]
    for height in HEIGHTS:
        y = _LENS_Y[height]
        parts.append(f'<path class="sight" d="M102 {y} 34 74"/>')
        parts.append(_phone(y, _state(taken, height)))
    return Markup("".join([*parts, "</svg>"]))


def plan_words(taken: Taken) -> str:
    """What the drawing shows, for those who do not see it."""
    told = []
    for height in HEIGHTS:
        state = {"taken": "taken", "due": "now", "open": "not yet"}[_state(taken, height)]
        told.append(f"{_WORDS[height]}: {state}")
    return "; ".join(told)


def _state(taken: Taken, height: str) -> str:
    if taken.count.get(height):
        return "taken"
    return "due" if taken.due == height else "open"


def _phone(y: float, state: str) -> str:
    box = f'<rect class="{state}" x="104" y="{y - 13}" width="38" height="26" rx="4"/>'
    if state == "taken":
        return f'{box}<path class="tick" d="m114 {y} 7 7 12-14"/>'
    if state == "due":
        ring = f'<circle class="due-mark" cx="123" cy="{y}" r="6"/>'
        return f"{box}{ring}"
    return box
