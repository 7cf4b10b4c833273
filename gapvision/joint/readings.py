"""Readings by hand, and what they say of a joint that photographs alone have drawn.

The setting that a cover needs at a station, and so the gap, which is the setting for a cover of 0, is
straight in the crowns' heights and curved in all else: near the crowns' sideways offset D = 0 the gap
does not change with D to first order, and yet ``D^2 / (2 R)`` of it is D's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Draws of the photographs for each draw of the answer, and of the latter at least so many, by weight,
# that are not copies of one another.
PROPOSED = 4
LEAST_EFFECTIVE = 0.25
DOUBTED = 2**0.5  # by which the readings' uncertainty grows until as many are left
SAME_SETTING_MM = 0.01
ALIKE_MM = 100.0  # over which a wrong outline runs on, at least; judgement


@dataclass(frozen=True, slots=True)
class GapReading:
    """The setting that a groove ``cover_mm`` wide was found to need at a station, mm.

    A caliper's reading of the gap is that for a cover of 0; a trial line scribed at a setting tells it
    for the width that it came out with. ``u_mm`` is the standard uncertainty of the setting;
    ``u_shared_mm`` is that part of it which all readings at this setting have in common, for the points
    were set once. ``u_outlines_mm`` is what wrong outlines may add to the photographs' own figure
    there, sd.
    """

    station_mm: float
    setting_mm: float
    u_mm: float
    cover_mm: float = 0.0
    u_shared_mm: float = 0.0
    u_outlines_mm: float = 0.0


def readings_covariance(readings: tuple[GapReading, ...]) -> np.ndarray:
    """Covariance (k, k) of what k readings say of the joint, mm^2."""
    setting = np.array([r.setting_mm for r in readings])
    u, shared = (np.array([getattr(r, k) for r in readings]) for k in ("u_mm", "u_shared_mm"))
    together = np.abs(setting[:, None] - setting) < SAME_SETTING_MM
    covariance = np.where(together, np.outer(shared, shared), 0.0)
    np.fill_diagonal(covariance, u**2)
    return covariance


def outlines_covariance(
    station_mm: np.ndarray, u_mm: np.ndarray, other_mm: np.ndarray, u_other_mm: np.ndarray
) -> np.ndarray:
    """Covariance (n, m) of what wrong outlines add at n and m stations, mm^2, alike near by."""
    apart = (station_mm[:, None] - other_mm) / ALIKE_MM
    return np.outer(u_mm, u_other_mm) * np.exp(-0.5 * apart**2)


def against_photographs(readings: tuple[GapReading, ...]) -> np.ndarray:
    """Covariance (k, k) of readings less what the outlines show, mm^2."""
    at, u = (np.array([getattr(r, k) for r in readings]) for k in ("station_mm", "u_outlines_mm"))
    return readings_covariance(readings) + outlines_covariance(at, u, at, u)


def outlines_off(
    readings: tuple[GapReading, ...], needed_mm: np.ndarray, station_mm: np.ndarray
) -> np.ndarray:
    """By how much readings show the outlines to be off, to be added to the gap, mm.

    Parameters
    ----------
    readings : the k readings.
    needed_mm : array, shape (d, k)
        Setting that each draw of `met` needs at their stations.
    station_mm : array, shape (n,)

    Returns
    -------
    array, shape (d, n)

    Notes
    -----
    A wrong outline adds a field to the gap that is no unknown of the fit. As a normal one with
    covariance K (`outlines_covariance`) it makes the readings, of covariance N, less strict on the
    sections, N + K (`against_photographs`), and given the sections it is ``k (K + N)^-1 (read -
    needed)``: regression of a Gaussian process. `by_hand.risk_left` says what remains of it.

    Source: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), eq. 2.23 and 2.24
    (from memory).
    """
    told, at, u = (
        np.array([getattr(r, k) for r in readings])
        for k in ("setting_mm", "station_mm", "u_outlines_mm")
    )
    nearest = u[np.abs(station_mm[:, None] - at).argmin(1)]
    across = outlines_covariance(station_mm, nearest, at, u)
    return (told - needed_mm) @ np.linalg.solve(against_photographs(readings), across.T)


def met(
    off: np.ndarray,
    covariance: np.ndarray,
    heights: np.ndarray,
    slope: np.ndarray,
    needed_mm: np.ndarray,
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
        Change of the setting needed at each reading's station with them.
    needed_mm : array, shape (d, k)
        Setting that each draw needs there for the reading's cover.
    readings : the k readings.
    n : draws wanted; d should be several times as many.

    Returns
    -------
    array, shape (n, c)
        Draws about the same estimate.

    Notes
    -----
    Radii and offsets s are drawn as the photographs have them and weighed by how likely the readings
    are with each, ``exp(-e' S^-1 e / 2)``: e is the readings less the settings needed at the heights
    to be expected with s, S the covariance of e from those heights' and the readings' uncertainty.
    The weights pick n draws (systematic resampling). Given s the setting needed for any cover is
    straight in the heights, upper less lower crown one to one: the clearance is their difference and
    what s alone rules, and so is the place across the wall where two edges a cover apart have equal
    clearance. So the heights are corrected exactly, as a Kalman filter with drawn readings does.
    Nothing of the curve in s is taken as straight, and a reading sharper than the photographs wears
    out no weights.

    Where hardly any draw comes near the readings, those few must not stand for all: the readings'
    uncertainty then grows until the weights leave an effective sample (sum squared over sum of
    squares) of `LEAST_EFFECTIVE` n. The answer leans on the photographs the more.

    Source: importance resampling, Smith and Gelfand, The American Statistician 46 (1992) 84; the
    correction of the heights, Hoffman and Ribak, The Astrophysical Journal 380 (1991) L5.
    """
    told = np.array([r.setting_mm for r in readings])
    noise = against_photographs(readings)
    high, rest = off[:, heights], off[:, ~heights]
    across = covariance[np.ix_(heights, ~heights)]
    lean = np.linalg.solve(covariance[np.ix_(~heights, ~heights)], across.T)
    spread = covariance[np.ix_(heights, heights)] - across @ lean  # of heights, all else given
    miss = told - needed_mm + (high - rest @ lean) @ slope.T
    while True:
        total = slope @ spread @ slope.T + noise
        against = 0.5 * np.sum(miss.T * np.linalg.solve(total, miss.T), axis=0)
        weight = np.exp(against.min() - against)
        if weight.sum() ** 2 >= LEAST_EFFECTIVE * n * (weight**2).sum():
            break
        noise = noise * DOUBTED**2
    pick = _systematic(weight, n, rng)
    noisy = told + rng.standard_normal((n, len(told))) @ np.linalg.cholesky(noise).T
    out = off[pick]
    out[:, heights] += np.linalg.solve(total, (noisy - needed_mm[pick]).T).T @ slope @ spread
    return out


def _systematic(weight: np.ndarray, n: int, rng: np.random.Generator) -> np.ndarray:
    """Indices (n,) into weights: each as often as its share of n, rounded one way or the other."""
    share = np.cumsum(weight)
    at = (np.arange(n) + rng.uniform()) * (share[-1] / n)
    return np.searchsorted(share, at, side="right").clip(max=len(weight) - 1)
