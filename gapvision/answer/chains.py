"""Which photographs overlap: the chains of shared cards that put a joint together."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gapvision.joint.photo_results import PhotoResult


@dataclass(frozen=True, slots=True)
class Chain:
    """Photographs of one side, each sharing a card with one before it, and the cards shared."""

    side: str
    photos: tuple[PhotoResult, ...]
    cards: tuple[int, ...]


def find_chains(photos: tuple[PhotoResult, ...]) -> tuple[Chain, ...]:
    """The chain of each side, outside first; photographs left out are in none.

    Each goes along the log from its lowest station, as far as shared cards allow.
    """
    chains = []
    for side in ("outside", "inside"):
        mine = (p for p in photos if p.used and p.side == side)
        left = sorted(mine, key=lambda p: (math.isnan(p.from_mm), p.from_mm))
        if not left:
            continue
        chain, shared = [left.pop(0)], set()
        while left:
            linked = {number for p in chain for number in p.cards}
            # All that is used is tied to the rest; the default is for a tie that no card tells.
            near = next((p for p in left if linked & set(p.cards)), left[0])
            left.remove(near)
            shared |= linked & set(near.cards)
            chain.append(near)
        chains.append(Chain(side, tuple(chain), tuple(sorted(shared))))
    return tuple(chains)
