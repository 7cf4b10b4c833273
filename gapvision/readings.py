"""Caliper readings of the gap, and what they say of a joint that photographs alone have drawn.

The gap at a station is straight in the crowns' heights and curved in all else: near the crowns'
sideways offset D = 0 it does not change with D to first order, and yet ``D^2 / (2 R)`` of it is D's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Draws of the photographs for each draw of the answer, and of the latter at least so many, by weight,
# that are not copies of one another.
PROPOSED = 4
LEAST_EFFECTIVE = 0.25
DOUBTED = 2**0.5  # by which the readings' uncertainty grows until as many are left


@dataclass(frozen=True, slots=True)
class GapReading:
    """A caliper's reading of the gap at a station, with its standard uncertainty, mm."""

    station_mm: float
    gap_mm: float
    u_mm: float


def met(
    off: np.ndarray,
    covariance: np.ndarray,
    heights: np.ndarray,
    slope: np.ndarray,
    gaps_mm: np.ndarray,
    readings: tuple[GapReading, ...],
    n: int,
    rng: np.random.Generator,
) -> np.ndarray:
    """Draws that agree with the readings too, from draws of what the photographs tell.

    Parameters
    ----------
    off : array, shape (d, c)
        Draws of all coefficients about the photographs' best estimate.
    covariance : array, shape (c, c)
        What they were drawn from.
    heights : bool array, shape (c,)
        Which coefficients are crowns' heights, mm.
    slope : array, shape (k, heights)
        Change of the gap at each reading's station with them.
    gaps_mm : array, shape (d, k)
        Gap of each draw there.
    readings : the k readings.
    n : draws wanted; d should be several times as many.

    Returns
    -------
    array, shape (n, c)
        Draws about the same estimate.

    Notes
    -----
    Radii and offsets s are drawn as the photographs have them and weighed by how likely the readings
    are with each, ``exp(-e' S^-1 e / 2)``: e is the readings less the gaps at the heights to be
    expected with s, S the covariance of e from those heights' and the readings' uncertainty. The
    weights pick n draws (systematic resampling). Given s the gap is straight in the heights, so that
    they are corrected exactly, as a Kalman filter with drawn readings does. Nothing of the gap's
    curve is taken as straight, and a reading sharper than the photographs wears out no weights.

    Where hardly any draw comes near the readings, those few must not stand for all: the readings'
    uncertainty then grows until the weights leave an effective sample (sum squared over sum of
    squares) of `LEAST_EFFECTIVE` n. The answer leans on the photographs the more.

    Source: importance resampling, Smith and Gelfand, The American Statistician 46 (1992) 84; the
    correction of the heights, Hoffman and Ribak, The Astrophysical Journal 380 (1991) L5.
    """
    told = np.array([r.gap_mm for r in readings])
    u = np.array([r.u_mm for r in readings])
    high, rest = off[:, heights], off[:, ~heights]
    across = covariance[np.ix_(heights, ~heights)]
    lean = np.linalg.solve(covariance[np.ix_(~heights, ~heights)], across.T)
    spread = covariance[np.ix_(heights, heights)] - across @ lean  # of heights, all else given
    miss = told - gaps_mm + (high - rest @ lean) @ slope.T
    while True:
        total = slope @ spread @ slope.T + np.diag(u**2)
        against = 0.5 * np.sum(miss.T * np.linalg.solve(total, miss.T), axis=0)
        weight = np.exp(against.min() - against)
        if weight.sum() ** 2 >= LEAST_EFFECTIVE * n * (weight**2).sum():
            break
        u = u * DOUBTED
    pick = _systematic(weight, n, rng)
    noisy = told + u * rng.standard_normal((n, len(u)))
    out = off[pick]
    out[:, heights] += np.linalg.solve(total, (noisy - gaps_mm[pick]).T).T @ slope @ spread
    return out


def _systematic(weight: np.ndarray, n: int, rng: np.random.Generator) -> np.ndarray:
    """Indices (n,) into weights: each as often as its share of n, rounded one way or the other."""
    share = np.cumsum(weight)
    at = (np.arange(n) + rng.uniform()) * (share[-1] / n)
    return np.searchsorted(share, at, side="right").clip(max=len(weight) - 1)
