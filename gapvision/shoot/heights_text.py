"""What is said at the wall of one photograph, and of the one to take next."""

from __future__ import annotations

from collections.abc import Sequence

from gapvision.phrases import along_text, cards_text, stand_text, stretch_text
from gapvision.shoot.heights import Due, Sight, over_gap_mm

DONE = "Measure now; the answer says what else would help."
_TOO = {
    ("level", True): "too high for level: crouch a little",
    ("level", False): "too low for level: raise the phone",
    ("above", True): "too high, the gap looks shut from there: come down",
    ("above", False): "too low for the one from above: raise the phone",
    ("below", True): "too high for the one from below: hold it lower",
    ("below", False): "too low, the gap looks shut from there: come up",
}
_WELL = {"level": "level", "above": "from above", "below": "from below"}


def sight_text(sight: Sight, units: str = "mm") -> str:
    """One photograph in a sentence or two: ``Card 3 found, sharp; 40 mm too high for level: ...``."""
    cards = cards_text(sight.cards)
    parts = [f"{cards[:1].upper()}{cards[1:]} found, sharp; {_height(sight, units)}."]
    if sight.unread:
        parts.append(f"{cards_text(sight.unread).capitalize()} cannot be read.")
    if sight.ends is None:
        parts.append("Nowhere are both edges of the gap seen.")
    else:
        parts.append(f"Joint seen {stretch_text(*sight.ends, units)}.")
    return " ".join(parts)


def next_text(due: Due | None, distances_mm: Sequence[float], units: str = "mm") -> str:
    """Which photograph to take next."""
    if due is None:
        return DONE
    if due.stretch is not None:
        return f"Now level: not seen yet {stretch_text(*due.stretch, units)}."
    if due.height == "level":
        return "Now level: the lens as high as the middle of the gap."
    over_mm = over_gap_mm(due.height, distances_mm)
    return (
        f"Now from {due.height}: the lens {stand_text(abs(over_mm), units)} {due.height} the gap."
    )


def _height(sight: Sight, units: str) -> str:
    if not sight.off_mm:
        return _WELL[sight.height]
    too = _TOO[sight.height, sight.off_mm > 0]
    return f"{along_text(abs(sight.off_mm), units)} {too}"
