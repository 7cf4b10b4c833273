"""Joint -> gap, setting needed and groove width by station, with Monte Carlo uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.fit import Joint
from gapvision.result import Quantity

DRAWS = 400
SEED = 20260514  # the same photographs give the same answer
SHAPE_MM = 0.45  # what circles do not tell of a real section's rise to the groove's edge, sd
ROUGH_MM = 0.25  # what a smooth crown does not tell of the gap at one station, sd
COVERAGE = 1.96


@dataclass(frozen=True, eq=False, slots=True)
class GapProfile:
    """By station (n,): gap and setting needed with uncertainty; and the maxima over the stretch."""

    station_mm: np.ndarray
    gap_mm: np.ndarray
    gap_u_mm: np.ndarray
    needed_mm: np.ndarray
    needed_u_mm: np.ndarray
    widest: Quantity
    widest_station_mm: float
    setting: Quantity
    deciding_station_mm: float


def gap_profile(joint: Joint, station_mm: np.ndarray, cover_mm: float) -> GapProfile:
    """Gap and setting needed along the log, and the largest of each with its bias taken off.

    Notes
    -----
    The largest of noisy stations reads high. How much is read off the Monte Carlo: the mean of the
    draws' maxima less the maximum of the estimate, taken off the estimate.
    """
    rng = np.random.default_rng(SEED)
    best, drawn = joint.sections(station_mm), joint.draws(station_mm, DRAWS, rng)
    gap, gaps = best.gap(), drawn.gap()
    need, needs = best.setting_needed(cover_mm), drawn.setting_needed(cover_mm)
    widest, at_w = _largest(gap, gaps, station_mm, ROUGH_MM)
    setting, at_s = _largest(need, needs, station_mm, np.hypot(SHAPE_MM, ROUGH_MM))
    return GapProfile(
        station_mm, gap, np.hypot(_spread(gaps), ROUGH_MM),
        need, np.sqrt(_spread(needs) ** 2 + SHAPE_MM**2 + ROUGH_MM**2),
        widest, at_w, setting, at_s,
    )  # fmt: skip


def _spread(draws: np.ndarray) -> np.ndarray:
    """Standard deviation over draws, from the middle 68 %: a few wild draws do not rule it."""
    low, high = np.quantile(draws, (0.1587, 0.8413), axis=0)
    return 0.5 * (high - low)


def _largest(best, draws, station_mm, model_mm) -> tuple[Quantity, float]:
    k = int(np.argmax(best))
    tops = draws.max(axis=1)
    bias = float(np.mean(tops)) - float(best[k])
    u = float(np.hypot(_spread(tops), model_mm))
    half = float(np.quantile(np.abs(tops - np.mean(tops)), 0.95))
    value = float(best[k]) - 0.5 * max(bias, 0.0)
    return Quantity(value, u, float(np.hypot(half, COVERAGE * model_mm))), float(station_mm[k])


def groove_widths(
    joint: Joint, station_mm: np.ndarray, setting_mm: float
) -> tuple[np.ndarray, np.ndarray]:
    """Groove width (n,) mm at a setting, and its standard uncertainty."""
    rng = np.random.default_rng(SEED)
    width = joint.sections(station_mm).groove_width(setting_mm)
    drawn = joint.draws(station_mm, DRAWS, rng)
    model = rng.normal(0, np.hypot(SHAPE_MM, ROUGH_MM), (DRAWS, 1))
    return width, _spread(drawn.groove_width(setting_mm + model))
