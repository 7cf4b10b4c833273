"""How near simulated joints come to the truth, and how often the stated uncertainty holds it.

    PYTHONPATH=tests python tests/studies/coverage_table.py --joints 60 --protocol level [--no-diameters]

Protocols ``trial`` and ``heights-trial`` are ``level`` and ``heights`` with a trial line on both faces,
scribed at the setting of the photographs, its width measured where they decide and 150 mm to either
side, with the errors that `lengths.parse_trial` takes for granted.

Prints one row of a markdown table for each protocol. Error is measured less true, mm; q95 is what
95 of 100 absolute errors stay under; "in U95" is the share of truths inside the stated half-width,
with the limits that a coverage of 95 % keeps to in 95 of 100 such tables (binomial); "cover kept" is
the share of joints whose true groove has the cover everywhere when the points are set to
value + 1.65 u, rounded up to a whole millimetre; "excess" is that setting above the true need.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, replace

import numpy as np
from helpers.simulator import (
    PROTOCOLS,
    Noise,
    Protocol,
    Shape,
    SimulatedJoint,
    draw_joint,
    fit,
    without_diameters,
)
from scipy.stats import binom

from gapvision.inputs.options import HandMeasured, MeasureOptions
from gapvision.joint.by_hand import as_reading, compare
from gapvision.joint.fit import REFINE, fit_joint
from gapvision.joint.gap import GapProfile, gap_profile
from gapvision.joint.model import Joint, residuals
from gapvision.lengths import U_SCRIBED_MM, Trial, parse_trial
from gapvision.scene.priors import Priors

COVER_MM = 76.0
SAFE_K = 1.65
BRIDGED_MM = 60.0
TRIALS = {"trial": "level", "heights-trial": "heights"}
TRIAL_AT_MM = (-150.0, 0.0, 150.0)  # common practice, no source
HEAD = """\
| protocol | n | widest gap bias / sd / q95 | setting bias / sd / q95 | U95 gap / setting (median) \
| in U95 gap / setting (95 % band) | stations in 1.96 u gap / setting | cover kept | excess (median) |
|---|---|---|---|---|---|---|---|---|"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One joint's errors and uncertainties, mm."""

    gap_error: float
    gap_u95: float
    setting_error: float
    setting_u95: float
    excess: float  # of value + 1.65 u, rounded up
    stations_gap: float  # share of stations whose true gap is inside 1.96 u
    stations_setting: float


def outcome(simulated: SimulatedJoint, joint: Joint) -> Outcome:
    """Compare a fitted joint with the truth at the stations that a photograph shows."""
    shown = _shown(simulated, joint)
    gap = simulated.truth.gap_mm[shown]
    needed = simulated.truth.needed_mm(COVER_MM)[shown]
    p: GapProfile = gap_profile(joint, simulated.truth.station_mm[shown], COVER_MM)
    set_to = _set_to(p)
    return Outcome(
        p.widest.value_mm - gap.max(), p.widest.U95_mm,
        p.setting.value_mm - needed.max(), p.setting.U95_mm, set_to - needed.max(),
        float(np.mean(np.abs(p.gap_mm - gap) <= 1.96 * p.gap_u_mm)),
        float(np.mean(np.abs(p.needed_mm - needed) <= 1.96 * p.needed_u_mm)),
    )  # fmt: skip


def _shown(simulated: SimulatedJoint, joint: Joint) -> np.ndarray:
    """Stations between whose nearest traced points no more than the bridged length lies."""
    at = simulated.truth.station_mm
    shown = np.ones(len(at), bool)
    for log in ("lower", "upper"):
        seen = [
            residuals(p.camera, o, joint)[1]
            for p in joint.photos for o in p.rows.outlines if o.log == log
        ]  # fmt: skip
        seen = np.sort(np.concatenate([*seen, [-np.inf, np.inf]]))
        after = np.clip(np.searchsorted(seen, at), 1, len(seen) - 1)
        shown &= seen[after] - seen[after - 1] < BRIDGED_MM
    return shown


def outcomes(
    protocol: Protocol,
    n: int,
    seed: int,
    shape: Shape | None = None,
    noise: Noise | None = None,
    priors: Priors | None = None,
    trial: bool = False,
) -> list[Outcome]:
    """Outcomes of n joints; joint i is the same for every protocol.

    Left out is a joint of which less than half is shown, as where a steep view finds the gap shut:
    the program calls those doubtful.
    """
    out = []
    for i in range(n):
        simulated = draw_joint(np.random.default_rng([seed, i]), protocol, shape, noise)
        joint = fit(simulated, priors)
        if trial:
            joint = with_trial(simulated, joint, np.random.default_rng([seed, i, 1]))
        if _shown(simulated, joint).mean() > 0.5:
            out.append(outcome(simulated, joint))
    return out


def with_trial(
    simulated: SimulatedJoint,
    joint: Joint,
    rng: np.random.Generator,
    off_mm: float = 0.0,
    at_mm: tuple[float, ...] = TRIAL_AT_MM,
) -> Joint:
    """The joint once a trial line is scribed and measured; ``off_mm`` is common to its widths."""
    options = MeasureOptions(
        photos=(),
        by_hand=HandMeasured(trials=scribed(simulated, joint, rng, off_mm, at_mm)),
        cover_mm=COVER_MM,
    )
    at = np.array([t.station_mm for t in options.by_hand.trials])
    by_hand = compare(options, joint, at, np.zeros(len(at)))
    readings = tuple(as_reading(b) for b in by_hand if b.used)
    return fit_joint(joint, simulated.beliefs(), readings, REFINE)


def scribed(
    simulated: SimulatedJoint, joint: Joint, rng: np.random.Generator, off_mm=0.0, at_mm=TRIAL_AT_MM
) -> tuple[Trial, ...]:
    """Widths of the true joint, measured with errors, at the setting that the fitted one asks for."""
    truth, station = simulated.truth, simulated.truth.station_mm[_shown(simulated, joint)]
    p = gap_profile(joint, station, COVER_MM)
    set_to = _set_to(p)
    told = parse_trial(f"{set_to}:1@0")
    middle = np.clip(p.deciding_station_mm, station[0] + 150, station[-1] - 150)
    at = np.clip(np.round(middle + np.array(at_mm), -1), truth.station_mm[0], truth.station_mm[-1])
    # The points are read to half a millimetre; the rest of the setting's error is the hand's.
    scribed_at = set_to + rng.uniform(-0.5, 0.5) + U_SCRIBED_MM * rng.standard_normal()
    true_width = np.interp(at, truth.station_mm, truth.width_mm(scribed_at))
    width = true_width + off_mm + told.u_width_mm * rng.standard_normal(len(at))
    return tuple(
        replace(told, width_mm=float(w), station_mm=float(x))
        for w, x in zip(width, at, strict=True)
        if w > 10.0
    )


def _set_to(p: GapProfile) -> int:
    """What to set the points to, rounded up to a whole millimetre."""
    return math.ceil(p.setting.value_mm + SAFE_K * p.setting.u_mm - 1e-9)


def band(n: int, probability: float = 0.95, confidence: float = 0.95) -> tuple[int, int]:
    """Fewest and most of n that a probability allows: equal-tailed binomial limits."""
    low, high = binom.interval(confidence, n, probability)
    return int(low), int(high)


def row(name: str, all_: list[Outcome]) -> str:
    """The table's row."""
    n = len(all_)
    gap, setting, excess = (
        np.array([getattr(o, k) for o in all_]) for k in ("gap_error", "setting_error", "excess")
    )
    u_gap, u_setting = (np.array([getattr(o, k) for o in all_]) for k in ("gap_u95", "setting_u95"))
    low, high = band(n)
    stations = [
        np.mean([getattr(o, k) for o in all_]) for k in ("stations_gap", "stations_setting")
    ]
    return (
        f"| {name} | {n} | {_errors(gap)} | {_errors(setting)} "
        f"| {np.median(u_gap):.2f} / {np.median(u_setting):.2f} "
        f"| {(abs(gap) <= u_gap).mean():.0%} / {(abs(setting) <= u_setting).mean():.0%} "
        f"({low / n:.0%} to {high / n:.0%}) | {stations[0]:.0%} / {stations[1]:.0%} "
        f"| {(excess >= 0).mean():.0%} | {np.median(excess):.1f} |"
    )


def _errors(e: np.ndarray) -> str:
    return f"{e.mean():+.2f} / {e.std(ddof=1):.2f} / {np.quantile(np.abs(e), 0.95):.2f}"


def main() -> None:
    """Parse, draw, print."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--joints", type=int, default=60)
    ask.add_argument("--protocol", choices=[*PROTOCOLS, *TRIALS], action="append")
    ask.add_argument("--no-diameters", action="store_true")
    ask.add_argument("--seed", type=int, default=1)
    a = ask.parse_args()
    print(HEAD)
    for name in a.protocol or [*PROTOCOLS, *TRIALS]:
        protocol, trial = PROTOCOLS[TRIALS.get(name, name)], name in TRIALS
        if a.no_diameters:
            protocol, name = without_diameters(protocol), f"{name}, no diameters"
        print(row(name, outcomes(protocol, a.joints, a.seed, trial=trial)), flush=True)


if __name__ == "__main__":
    main()
