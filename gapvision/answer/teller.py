"""How the sentences of one measurement say lengths and places."""

from __future__ import annotations

from dataclasses import dataclass

from gapvision.joint.photo_results import CardResult, place_at
from gapvision.lengths import format_length
from gapvision.phrases import distance_text, stand_text, stretch_text, where_text


@dataclass(frozen=True, slots=True)
class Teller:
    """The units that are spoken, ``"mm"`` or ``"in"``, and the cards from which places are told."""

    units: str
    cards: tuple[CardResult, ...]

    def about(self, mm: float) -> str:
        """A length in whole millimetres or sixteenths."""
        return distance_text(mm, self.units)

    def fine(self, mm: float) -> str:
        """A length in tenths of a millimetre or sixteenths."""
        return format_length(round(mm, 1), self.units)

    def height(self, mm: float) -> str:
        """How high or far to hold the phone."""
        return stand_text(mm, self.units)

    def place(self, mm: float) -> str:
        """A station as a person finds it: from the nearest card's nail, seen from outside."""
        return where_text(place_at(self.cards, mm), self.units)

    def stretch(self, from_mm: float, to_mm: float) -> str:
        """Two stations likewise, with ``from`` and ``to``."""
        start, end = (place_at(self.cards, mm) for mm in (from_mm, to_mm))
        return stretch_text(start, end, self.units)
