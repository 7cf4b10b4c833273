"""A joint's photographs and cards, each at its place in one world, before anything is fitted."""

from __future__ import annotations

from dataclasses import dataclass

from gapvision.scene.camera import Camera
from gapvision.scene.hung_card import HungCard
from gapvision.trace.traced_photo import TracedPhoto


@dataclass(frozen=True, eq=False, slots=True)
class PlacedPhoto:
    """A traced photograph and its camera in the joint's world."""

    traced: TracedPhoto
    camera: Camera

    @property
    def side(self) -> str:
        """``"outside"`` or ``"inside"``: from where it was taken."""
        return self.traced.rows.side


@dataclass(frozen=True, eq=False, slots=True)
class Placement:
    """Photographs that hang together, and the cards they show by number."""

    photos: tuple[PlacedPhoto, ...]
    cards: dict[int, HungCard]

    def of_side(self, side: str) -> Placement:
        """What of it is on one side of the wall."""
        return Placement(
            tuple(p for p in self.photos if p.side == side),
            {n: c for n, c in self.cards.items() if c.side == side},
        )
