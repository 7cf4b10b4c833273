"""The fitted joint's Monte Carlo draws, as all that is decided reads them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.joint.gap import DRAWS, ROUGH_MM, SEED, SHAPE_MM, Drawn, largest
from gapvision.joint.model import Joint
from gapvision.quantity import Quantity
from gapvision.scene.sections import Sections


@dataclass(frozen=True, eq=False, slots=True)
class Draws:
    """Both logs by draw and station, (d, n), at the stations shown (n,), and what no draw tells.

    ``rough_mm`` (n,) is the standard uncertainty of a gap beside its draws, ``model_mm`` (n,) that
    of a setting needed, as in `gap.gap_profile`.
    """

    station_mm: np.ndarray
    sections: Sections
    gap_mm: np.ndarray
    rough_mm: np.ndarray
    model_mm: np.ndarray

    def widest(self, shift_mm: np.ndarray | float = 0.0) -> tuple[Quantity, float]:
        """The widest gap once the upper log lies ``shift_mm`` (n,) lower, and its station."""
        return largest(self.gap_mm - shift_mm, self.station_mm, self.rough_mm)

    def least(self, shift_mm: np.ndarray | float = 0.0) -> tuple[Quantity, float]:
        """The least gap, likewise."""
        q, at = largest(shift_mm - self.gap_mm, self.station_mm, self.rough_mm)
        return Quantity(-q.value_mm, q.u_mm, q.U95_mm), at

    def setting(self, needed_mm: np.ndarray) -> tuple[Quantity, float]:
        """The setting from draws (d, n) of the settings needed, and the station that decides."""
        return largest(needed_mm, self.station_mm, self.model_mm)


def drawn_sections(joint: Joint, station_mm: np.ndarray) -> Sections:
    """The joint's draws (d, n) at stations (n,)."""
    return joint.draws(np.asarray(station_mm), DRAWS, np.random.default_rng(SEED))


def draws_of(drawn: Drawn, u_label_mm: np.ndarray) -> Draws:
    """`Draws` with what wrongly labelled outlines may add (n,), mm."""
    rough = np.sqrt(ROUGH_MM**2 + u_label_mm**2)
    return Draws(drawn.station_mm, drawn.sections, drawn.gap_mm, rough, np.hypot(rough, SHAPE_MM))
