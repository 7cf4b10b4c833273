"""What one photograph brings to the fit: its cards' corners and the points of its outlines, in px."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False, slots=True)
class Outline:
    """Traced points of one log's outline in one photograph: px (n, 2) and their uncertainty (n,)."""

    log: str
    xy_px: np.ndarray
    u_px: np.ndarray


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """What one photograph brings to the fit. ``lens`` groups photographs that share a focal length."""

    side: str
    size: tuple[int, int]
    lens: int
    sightings: tuple = ()
    outlines: tuple[Outline, ...] = ()
