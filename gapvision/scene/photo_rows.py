"""What one photograph brings to the fit: its cards' corners and rows of both outlines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.scene import card


@dataclass(frozen=True, eq=False, slots=True)
class CardSighting:
    """One card in one photograph.

    ``corner_px`` (n, 2) are upright image points, integer at the pixel centre, of the board's inner
    corners ``corner_id`` (n,), which index `card.corner_points_mm`; ``u_px`` is their standard
    uncertainty per axis. ``card_from_image`` maps px to card mm (3 x 3). ``print_scale`` is true
    millimetres for each of the drawing's.
    """

    number: int
    corner_id: np.ndarray
    corner_px: np.ndarray
    u_px: float
    card_from_image: np.ndarray
    module_px: float
    print_scale: float = 1.0

    @property
    def corner_mm(self) -> np.ndarray:
        """The seen corners (n, 3) on the card as it was printed, card frame, true mm."""
        return card.corner_points_mm()[self.corner_id] * self.print_scale


@dataclass(frozen=True, eq=False, slots=True)
class OutlineRows:
    """Traced points of one log's outline in one photograph: px (n, 2) and their uncertainty (n,)."""

    log: str
    xy_px: np.ndarray
    u_px: np.ndarray


@dataclass(frozen=True, eq=False, slots=True)
class PhotoRows:
    """What one photograph brings to the fit. ``lens`` groups photographs that share a focal length."""

    side: str
    size: tuple[int, int]
    lens: int
    sightings: tuple[CardSighting, ...] = ()
    outlines: tuple[OutlineRows, ...] = ()
