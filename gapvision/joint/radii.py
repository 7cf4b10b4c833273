"""Each log's radius at its crown, as fitted and as stated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.joint.gap import DRAWS, SEED
from gapvision.joint.model import Joint
from gapvision.scene.priors import Half


@dataclass(frozen=True, eq=False, slots=True)
class Radii:
    """One log's crown radius by station (n,), mm: fitted, its u, and as stated (None if it was not)."""

    fitted_mm: np.ndarray
    u_mm: np.ndarray
    stated_mm: np.ndarray | None

    def largest_mm(self) -> np.ndarray:
        """The radius (n,) that the log may well have: a crown that nobody taped is badly known."""
        return self.fitted_mm + (self.u_mm if self.stated_mm is None else 0.0)


def crown_radii(
    joint: Joint, station_mm: np.ndarray, half: dict[str, Half | None]
) -> dict[str, Radii]:
    """`Radii` of ``"upper"`` and ``"lower"`` at stations (n,)."""
    best = joint.sections(station_mm)
    drawn = joint.draws(station_mm, DRAWS, np.random.default_rng(SEED))
    out = {}
    for log, stated in half.items():
        field = f"r_{log[0]}"
        told = None if stated is None else np.broadcast_to(stated(station_mm), station_mm.shape)
        out[log] = Radii(getattr(best, field), getattr(drawn, field).std(0), told)
    return out
