"""How the sentences of one measurement say lengths and places."""

from __future__ import annotations

from dataclasses import dataclass

from gapvision.joint.photo_results import CardResult
from gapvision.lengths import format_length
from gapvision.phrases import distance_text


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

    def place(self, mm: float) -> str:
        """A station as a person finds it: from the nearest card's nail, seen from outside."""
        cards = [c for c in self.cards if c.side == "outside"] or list(self.cards)
        if not cards:
            return f"at station {self.about(mm)}"
        near = min(cards, key=lambda c: abs(c.station_mm - mm))
        off = mm - near.station_mm
        if abs(off) < 10.0:
            return f"at card {near.number}"
        hand = "right" if off > 0 else "left"
        return f"{self.about(abs(off))} {hand} of card {near.number}"
