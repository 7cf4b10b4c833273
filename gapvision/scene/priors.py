"""What is believed before a photograph is seen, each with one standard deviation; docs/model.md has why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gapvision.scene.camera import Lens

Half = Callable[[np.ndarray], np.ndarray]  # half diameter (n,) mm at stations (n,) mm


@dataclass(frozen=True, slots=True)
class Priors:
    """What is believed before a photograph is seen, one standard deviation each."""

    plumb_rad: float = np.radians(1.2)
    yaw_rad: float = np.radians(4.0)
    swing_rad: float = np.radians(0.25)  # between photographs of one card
    standoff_mm: float = 3.0  # a card's gap to the proudest spot behind it
    u_standoff_mm: float = 4.0
    u_face_mm: float = 6.0  # horizontal half diameter against the stated one
    k1: float = 0.01
    offset_mm: float = 15.0  # between the crowns, across the wall
    offset_slope: float = 0.006
    bow_mm: float = 6.0
    radius_mm: float = 5.0  # of the crown against the stated one, all along
    radius_wave_mm: float = 9.0  # and changing along the log
    wave_mm: float = 300.0  # over this length
    bend_mm: float = 6.0  # second difference of a crown's height between knots
    bias_px: float = 0.35  # common error of one traced outline in one photograph
    unknown_radius_mm: float = 162.5  # where no diameter is stated
    u_unknown_radius_mm: float = 35.0
    wall_mm: float | None = None  # from the outside to the inside cards, where it was measured
    u_wall_mm: float = 10.0  # by a tape round a log or through the gap; judgement


@dataclass(frozen=True, eq=False, slots=True)
class Beliefs:
    """All that a fit believes of one joint beforehand.

    ``lenses`` are the priors of its lenses; ``half`` is ``"upper"``/``"lower"`` -> the stated half
    diameter by station, or None.
    """

    lenses: tuple[Lens, ...]
    half: dict[str, Half | None]
    priors: Priors
