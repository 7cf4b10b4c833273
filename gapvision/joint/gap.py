"""Joint -> gap, setting needed and groove width by station, with Monte Carlo uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.joint.model import Joint
from gapvision.quantity import K95, Quantity
from gapvision.scene.sections import Sections

DRAWS = 400
SEED = 20260514  # the same photographs give the same answer
SHAPE_MM = 0.25  # what circles do not tell of a real section's rise to the groove's edge, sd
ROUGH_MM = 0.40  # what a smooth crown does not tell of the gap at one station, sd
LOCAL_MM = 100.0  # over which what the model does not tell stays alike


@dataclass(frozen=True, eq=False, slots=True)
class Drawn:
    """A joint's Monte Carlo draws at stations (n,), made once for all that is told of them.

    Both logs by draw and station (d, n), their gap, and the setting that the wanted cover needs, mm;
    ``beside`` (d, 1) is a standard normal a draw for what no draw tells.
    """

    station_mm: np.ndarray
    sections: Sections
    gap_mm: np.ndarray
    needed_mm: np.ndarray
    beside: np.ndarray


def drawn_at(joint: Joint, station_mm: np.ndarray, cover_mm: float, draws: int = DRAWS) -> Drawn:
    """`Drawn` of a joint; the same photographs give the same."""
    rng = np.random.default_rng(SEED)
    drawn = joint.draws(station_mm, draws, rng)
    sections = drawn.in_single()
    needed = sections.setting_needed(cover_mm)
    return Drawn(station_mm, sections, drawn.gap(), needed, rng.standard_normal((draws, 1)))


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
    decides: np.ndarray  # share of the draws in which the largest setting needed is at each station


def gap_profile(
    joint: Joint,
    station_mm: np.ndarray,
    cover_mm: float,
    u_label_mm: np.ndarray | float = 0.0,
    draws: int = DRAWS,
) -> GapProfile:
    """`profile_of` a joint's draws."""
    return profile_of(drawn_at(joint, station_mm, cover_mm, draws), u_label_mm)


def profile_of(drawn: Drawn, u_label_mm: np.ndarray | float = 0.0) -> GapProfile:
    """Gap and setting needed along the log, and the largest of each with its bias taken off.

    Notes
    -----
    Values by station are the means of the Monte Carlo draws, not the values at the best fit: where
    the crowns' sideways offset D is unknown, the gap rises by ``E[D^2] / (2 (r_l + r_u))``. The
    largest of noisy stations reads high; see `largest`. ``u_label_mm`` (n,) is what wrongly labelled
    outlines may add at each station, sd.
    """
    station_mm, gaps, needs = drawn.station_mm, drawn.gap_mm, drawn.needed_mm
    u_label = np.broadcast_to(u_label_mm, station_mm.shape)
    rough, model = np.hypot(ROUGH_MM, u_label), np.sqrt(ROUGH_MM**2 + SHAPE_MM**2 + u_label**2)
    widest, at_w = largest(gaps, station_mm, rough)
    setting, at_s = largest(needs, station_mm, model)
    return GapProfile(
        station_mm, gaps.mean(0), np.hypot(spread(gaps), rough),
        needs.mean(0), np.hypot(spread(needs), model),
        widest, at_w, setting, at_s, _decides(needs, station_mm, model),
    )  # fmt: skip


def spread(draws: np.ndarray) -> np.ndarray:
    """Standard deviation over draws, from the middle 68 %: a few wild draws do not rule it."""
    in_order = np.sort(draws, axis=0)  # quicker than numpy's quantiles, which put a part in order
    low, high = (_between(in_order, share * (len(draws) - 1)) for share in (0.1587, 0.8413))
    return 0.5 * (high - low)


def _between(values: np.ndarray, at: float) -> np.ndarray:
    """Of values (d, ...) that at a place between two of the first axis."""
    k = min(int(at), len(values) - 2) if len(values) > 1 else 0
    return values[k] + (at - k) * (values[min(k + 1, len(values) - 1)] - values[k])


def largest(
    draws: np.ndarray, station_mm: np.ndarray, model_mm: np.ndarray | float
) -> tuple[Quantity, float]:
    """The largest over stations, from draws (n, stations), and where it is.

    Notes
    -----
    The mean of the draws' maxima exceeds the maximum of their mean by the selection bias. Half of
    it is taken off the latter: the whole would be right for stations that err independently and
    without priors, none for stations fully known by their priors; the coverage table in
    docs/results.md shows what is left.
    """
    mean = draws.mean(axis=0)
    k = int(np.argmax(mean))
    u_model = float(np.broadcast_to(model_mm, mean.shape)[k])
    tops = draws.max(axis=1)
    bias = max(float(tops.mean()) - float(mean[k]), 0.0)
    u = float(np.hypot(spread(tops), u_model))
    half = float(np.quantile(np.abs(tops - tops.mean()), 0.95))
    value = float(mean[k]) - 0.5 * bias
    return Quantity(value, u, float(np.hypot(half, K95 * u_model))), float(station_mm[k])


def _decides(needs: np.ndarray, station_mm: np.ndarray, model_mm: np.ndarray) -> np.ndarray:
    """Share (n,) of the draws (d, n) whose largest is at each station."""
    top = (needs + local_noise(station_mm, model_mm, len(needs))).argmax(1)
    return np.bincount(top, minlength=needs.shape[1]) / len(needs)


def local_noise(station_mm: np.ndarray, u_mm: np.ndarray, draws: int) -> np.ndarray:
    """Draws (d, n) of what the model does not tell, of sd u (n,); smooth along the log, as it is."""
    rng = np.random.default_rng(SEED + 1)
    knots = np.arange(station_mm[0], station_mm[-1] + LOCAL_MM + 1, LOCAL_MM)
    hat = np.maximum(1 - np.abs(station_mm[:, None] - knots) / LOCAL_MM, 0.0)
    hat /= np.linalg.norm(hat, axis=1, keepdims=True)
    return u_mm * (rng.standard_normal((draws, len(knots))) @ hat.T)


def groove_widths(
    drawn: Drawn, setting_mm: float, u_label_mm: np.ndarray | float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Groove width (n,) mm at a setting, and its standard uncertainty; see `profile_of`."""
    model = np.sqrt(SHAPE_MM**2 + ROUGH_MM**2 + np.square(u_label_mm))
    shifted = setting_mm + model * drawn.beside
    width = drawn.sections.groove_width
    return width(setting_mm).mean(0), spread(width(shifted))


@dataclass(frozen=True, eq=False, slots=True)
class Groove:
    """The groove that a setting gives: its width (n,) mm with u, and where it is narrowest."""

    set_to_mm: float
    width_mm: np.ndarray
    u_width_mm: np.ndarray
    narrowest: Quantity
    narrowest_station_mm: float


def groove_at(drawn: Drawn, set_to_mm: float, u_label_mm: np.ndarray | float = 0.0) -> Groove:
    """The groove at the draws' stations (n,); see `groove_widths`."""
    width, u = groove_widths(drawn, set_to_mm, u_label_mm)
    k = int(np.argmin(width))
    narrowest = Quantity(float(width[k]), float(u[k]), K95 * float(u[k]))
    return Groove(set_to_mm, width, u, narrowest, float(drawn.station_mm[k]))


@dataclass(frozen=True, eq=False, slots=True)
class Profile:
    """Numbers by station, arrays of shape (n,), mm; NaN where no photograph shows the joint."""

    station_mm: np.ndarray
    gap_mm: np.ndarray
    gap_u_mm: np.ndarray
    groove_width_mm: np.ndarray
    groove_width_u_mm: np.ndarray
    setting_needed_mm: np.ndarray
    setting_needed_u_mm: np.ndarray


def profile_over(
    station_mm: np.ndarray, shown: np.ndarray, gaps: GapProfile, groove: Groove
) -> Profile:
    """The curves at all stations (n,), of which those ``shown`` (bool) have them."""

    def full(values: np.ndarray) -> np.ndarray:
        out = np.full(len(station_mm), np.nan)
        out[shown] = values
        return out

    return Profile(
        station_mm, full(gaps.gap_mm), full(gaps.gap_u_mm), full(groove.width_mm),
        full(groove.u_width_mm), full(gaps.needed_mm), full(gaps.needed_u_mm),
    )  # fmt: skip
