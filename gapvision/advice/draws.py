"""The fitted joint's Monte Carlo draws in true millimetres, as all that is decided reads them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.joint.gap import DRAWS, ROUGH_MM, SEED, SHAPE_MM, largest
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


def true_sections(joint: Joint, station_mm: np.ndarray, scale: float) -> Sections:
    """Draws (d, n) at true stations; ``scale`` is true millimetres a millimetre of the card."""
    drawn = joint.draws(np.asarray(station_mm) / scale, DRAWS, np.random.default_rng(SEED))
    return Sections(*(getattr(drawn, name) * scale for name in Sections.__slots__))


def true_draws(joint: Joint, station_mm: np.ndarray, u_label_mm: np.ndarray, scale: float) -> Draws:
    """`Draws` at true stations (n,), with what wrongly labelled outlines may add (n,), both mm."""
    sections = true_sections(joint, station_mm, scale)
    rough = np.sqrt((ROUGH_MM * scale) ** 2 + u_label_mm**2)
    return Draws(
        station_mm, sections, sections.gap(), rough, np.hypot(rough, SHAPE_MM * scale)
    )  # fmt: skip
