"""Ready to scribe, or lower the upper log first: how much deeper each rough notch, and what then.

A notch deepened by a at the left and by b at the right end lowers the upper log by
``a + (b - a) t`` at the station that lies t of the way from the left notch to the right one. The gap
and the setting needed at that station become less by as much, whatever the cover.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gapvision.advice.draws import Draws
from gapvision.inputs.options import Scriber
from gapvision.joint.gap import local_noise, spread
from gapvision.lengths import ROUNDING_MM, SIXTEENTH_MM, round_up
from gapvision.quantity import K95, SAFE_K, Quantity

# Fitted down to about 2 in where the gap is widest: USDA Forest Service, Misc. Publication 579,
# "Building with Logs", 1945, chinkless construction.
HANDBOOK_MM = 50.8
WORTH_MM = 5.0  # of setting, to lift a log again for; common practice, no source
CLEARANCE_MM = 12.0  # a scriber's point goes in; common practice, no source
DEPTH_COUNTS = 0.05  # 20 mm of deeper notch must make the gap a mm evener; a judgement
LITTLE = 1e-3  # likewise, where the log goes as low as it can: it only breaks ties
# The search for the best difference of both depths: no log is let down by a metre at one end, and of
# each look's differences the next one lies between the two beside the best, the last 1e-13 mm apart.
FARTHEST_MM, AT_ONCE, LOOKS = 1000.0, 65, 11
TOO_FAR = 1e6  # what a mm beyond what may be costs: more than all evenness is worth
TOUCH_MM = 1e-6  # by so much what must be may be more than what may be

Why = Literal["low-enough", "no-gain", "too-wide", "scriber"]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the lowering is for: the widest gap wanted, and by how much it must be for the scriber.

    ``stated`` tells whether somebody did, else it is the handbooks'; ``reached`` whether that gap, and
    the scriber's opening, are reached. ``scriber_least_mm`` is None where the scriber opens far enough.
    """

    widest_mm: float
    stated: bool
    reached: bool
    scriber_least_mm: float | None


@dataclass(frozen=True, slots=True)
class Notches:
    """By how much deeper the left and the right notch, taken at ``ends_mm``, stated or not."""

    ends_mm: tuple[float, float]
    stated: bool
    left_mm: float
    right_mm: float

    def shift(self, station_mm: np.ndarray) -> np.ndarray:
        """By how much the upper log comes down at stations (n,)."""
        t = _between(station_mm, self.ends_mm)
        return self.left_mm + (self.right_mm - self.left_mm) * t


@dataclass(frozen=True, eq=False, slots=True)
class Lowered:
    """The joint once the notches are that much deeper; ``gap_mm`` and ``gap_u_mm`` (n,) by station."""

    widest: Quantity
    widest_station_mm: float
    least: Quantity
    setting: Quantity
    set_to_mm: float
    deciding_station_mm: float
    gap_mm: np.ndarray
    gap_u_mm: np.ndarray


@dataclass(frozen=True, eq=False, slots=True)
class Lowering:
    """Whether to lower first and why, the notches' depths that make the gap evenest, what is then.

    ``gain`` is what is taken off the setting, ``worth_it`` whether that is sure and worth the work.
    """

    why: Why
    wanted: Wanted
    notches: Notches
    after: Lowered
    gain: Quantity
    worth_it: bool

    @property
    def ready(self) -> bool:
        """Whether to scribe as it lies; else the gap is too wide, or the scriber opens too little."""
        return self.why in ("low-enough", "no-gain")


def lower_first(
    draws: Draws,
    needed_mm: np.ndarray,
    ends_mm: tuple[float, float],
    notches_stated: bool,
    set_to_mm: float,
    lower_to_mm: float | None,
    scriber: Scriber,
    units: str,
) -> Lowering:
    """The advice for a joint.

    Parameters
    ----------
    draws : Draws
    needed_mm : array, shape (d, n)
        Draws of the setting needed for the wanted cover.
    ends_mm : pair of float
        Stations taken for the left and the right notch.
    notches_stated : bool
        Whether somebody stated both.
    set_to_mm : float
        What the points are to be set to as the log lies.
    lower_to_mm : float or None
        The widest gap that the builder wants; None for `HANDBOOK_MM`.
    scriber, units
        As in `MeasureOptions`.

    Notes
    -----
    Two linear programmes in a and b (`evenest`, `lowest`): for each b - a the best a is known at once,
    and what is left to search is convex. The gap may come down to `CLEARANCE_MM`,
    or to SAFE_K of its standard uncertainty where that is more, so that the logs do not touch. Before
    anything is told of them the depths are rounded to the millimetre or sixteenth: up where that
    reaches what is wanted, else down.
    """
    widest_mm = HANDBOOK_MM if lower_to_mm is None else lower_to_mm
    gap = draws.gap_mm.mean(0)
    u_gap = np.hypot(spread(draws.gap_mm), draws.rough_mm)
    over = 0.0 if scriber.largest_mm is None else set_to_mm - scriber.largest_mm
    at_most = np.maximum(gap - np.maximum(CLEARANCE_MM, SAFE_K * u_gap), 0.0)
    at_least = gap - widest_mm
    if over > 0:
        needed = needed_mm.mean(0)
        at_least = np.maximum(at_least, needed - (needed.max() - over))
    t = _between(draws.station_mm, ends_mm)
    *depths, reached = _depths(gap, t, at_most, np.maximum(at_least, 0.0), units)
    notches = Notches(ends_mm, notches_stated, *depths)
    shift = notches.shift(draws.station_mm)
    noise = local_noise(draws.station_mm, draws.rough_mm, len(draws.gap_mm))
    gain = _gain(needed_mm + noise, shift)
    known = draws.setting(needed_mm)[0].U95_mm
    return Lowering(
        why="scriber" if over > 0 else _why(draws, widest_mm, _gain(draws.gap_mm + noise, shift)),
        wanted=Wanted(widest_mm, lower_to_mm is not None, reached, over if over > 0 else None),
        notches=notches,
        after=_lowered(draws, needed_mm, shift, u_gap, units, scriber.step_mm),
        gain=gain,
        worth_it=gain.value_mm > max(gain.U95_mm, known, WORTH_MM),
    )


def evenest(
    gap_mm: np.ndarray, t: np.ndarray, at_most_mm: np.ndarray, at_least_mm: np.ndarray
) -> tuple[float, float] | None:
    """Depths (a, b) >= 0, mm, that leave the least of widest - least gap + DEPTH_COUNTS (a + b).

    Parameters
    ----------
    gap_mm, t : arrays, shape (n,)
        Gap, and place from 0 at the left notch to 1 at the right one.
    at_most_mm, at_least_mm : arrays, shape (n,)
        By how much the log may, and must, come down at each station.

    Returns
    -------
    (a, b), or None where no depths do both.
    """

    def left(difference: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The shallowest left notch (k,), and by how much it is deeper than the deepest one."""
        must, may = (side - difference[:, None] * t for side in (at_least_mm, at_most_mm))
        least = np.maximum(must.max(1), np.maximum(-difference, 0.0))
        return least, least - may.min(1)

    def cost(difference: np.ndarray) -> np.ndarray:
        a, over = left(difference)
        uneven = np.ptp(gap_mm - difference[:, None] * t, axis=1)
        return uneven + DEPTH_COUNTS * (2 * a + difference) + TOO_FAR * np.maximum(over, 0.0)

    best = _least(cost)
    a, over = (float(v[0]) for v in left(best))
    return (a, max(a + float(best[0]), 0.0)) if over <= TOUCH_MM else None


def lowest(gap_mm: np.ndarray, t: np.ndarray, at_most_mm: np.ndarray) -> tuple[float, float]:
    """Depths (a, b) >= 0 that make the widest gap as small as ``at_most_mm`` lets it become."""

    def left(difference: np.ndarray) -> np.ndarray:
        return (at_most_mm - difference[:, None] * t).min(1)

    def cost(difference: np.ndarray) -> np.ndarray:
        a = left(difference)
        widest = (gap_mm - difference[:, None] * t).max(1) - a
        over = np.maximum(-difference, 0.0) - a
        return widest + LITTLE * (2 * a + difference) + TOO_FAR * np.maximum(over, 0.0)

    best = _least(cost)
    a = float(left(best)[0])
    return max(a, 0.0), max(a + float(best[0]), 0.0)


def _least(cost: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Where a convex function of b - a, mm, given and taken as (k,), is least (1,)."""
    low, high = -FARTHEST_MM, FARTHEST_MM
    for _ in range(LOOKS):
        looked = np.linspace(low, high, AT_ONCE)
        k = int(np.argmin(cost(looked)))
        low, high = looked[max(k - 1, 0)], looked[min(k + 1, AT_ONCE - 1)]
    return looked[k : k + 1]


def _between(station_mm: np.ndarray, ends_mm: tuple[float, float]) -> np.ndarray:
    """Stations (n,) as places from 0 at the left notch to 1 at the right one."""
    return (station_mm - ends_mm[0]) / (ends_mm[1] - ends_mm[0])


def _depths(
    gap_mm: np.ndarray, t: np.ndarray, at_most_mm: np.ndarray, at_least_mm: np.ndarray, units: str
) -> tuple[float, float, bool]:
    """The left and the right notch's depth, rounded, and whether what must be is reached."""
    found = evenest(gap_mm, t, at_most_mm, at_least_mm)
    if found is not None:
        left, right = (round_up(v, units) for v in found)
        return left, right, True
    step = 1.0 if units == "mm" else SIXTEENTH_MM
    left, right = (step * int(v / step + ROUNDING_MM) for v in lowest(gap_mm, t, at_most_mm))
    return left, right, False


def _why(draws: Draws, wanted_mm: float, narrowed: Quantity) -> Why:
    """Whether the gap is too wide, and what narrows it is more than is known of it."""
    widest, _ = draws.widest()
    if widest.value_mm <= wanted_mm:
        return "low-enough"
    return "too-wide" if narrowed.value_mm > max(narrowed.U95_mm, widest.U95_mm) else "no-gain"


def _lowered(
    draws: Draws, needed_mm: np.ndarray, shift_mm: np.ndarray, u_gap_mm: np.ndarray,
    units: str, step_mm: float | None,
) -> Lowered:  # fmt: skip
    widest, widest_at = draws.widest(shift_mm)
    setting, decides = draws.setting(needed_mm - shift_mm)
    return Lowered(
        widest=widest,
        widest_station_mm=widest_at,
        least=draws.least(shift_mm)[0],
        setting=setting,
        set_to_mm=round_up(setting.value_mm + SAFE_K * setting.u_mm, units, step_mm),
        deciding_station_mm=decides,
        gap_mm=draws.gap_mm.mean(0) - shift_mm,
        gap_u_mm=u_gap_mm,
    )


def _gain(values_mm: np.ndarray, shift_mm: np.ndarray) -> Quantity:
    """What a shift (n,) takes off the largest of draws (d, n)."""
    gain = values_mm.max(1) - (values_mm - shift_mm).max(1)
    u = float(spread(gain))
    return Quantity(float(gain.mean()), u, K95 * u)
