"""Caliper readings and trial lines beside what the photographs alone tell, and mistaken entries.

A trial line says: with the points at this setting the groove came out so wide here. That is the same
as: a cover of this width needs this setting here, and a caliper's reading is that for a cover of 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.inputs.mistakes import ONE_FACE, Mistake, mistakes_of
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.agreement import e_number
from gapvision.joint.disagreement import gap_shifts
from gapvision.joint.fit import REFINE, fit_joint
from gapvision.joint.gap import DRAWS, ROUGH_MM, SEED, SHAPE_MM, spread
from gapvision.joint.model import Joint
from gapvision.joint.readings import GapReading, outlines_covariance, readings_covariance
from gapvision.joint.seen import STATION_STEP_MM
from gapvision.joint.solve import Solved
from gapvision.lengths import Reading, Trial, format_entry, format_length
from gapvision.phrases import cure_text, mistake_text
from gapvision.quantity import K95, STATION_SLACK_MM, Place, Quantity
from gapvision.scene.sections import Sections

# u by which an entry is off the photographs. Of 25 simulated joints a case right caliper readings were
# over 2.5 in one at most and never over 3, readings wrong by 5 mm in 88 to 100 of 100.
DISAGREES_U, DOUBTFUL_U = 2.5, 3.0
FAR_OFF_MM = 100.0  # neither photographs nor a hand err by so much; a judgement


def check_stations(options: MeasureOptions, stretch: tuple[float, float]) -> None:
    """Refuse what was measured where the photographs do not measure.

    Parameters
    ----------
    stretch : first and last station of the fit.

    Raises
    ------
    JointNotFitted
        ``reading-outside`` or ``trial-outside``.
    """
    for entry in options.by_hand.entries:
        at = entry.station_mm
        if at is None or stretch[0] - STATION_SLACK_MM <= at <= stretch[1] + STATION_SLACK_MM:
            continue
        trial = isinstance(entry, Trial)
        say = [format_length(float(round(x)), options.units) for x in (at, *stretch)]
        raise JointNotFitted(
            "trial-outside" if trial else "reading-outside",
            f"The {'trial line' if trial else 'caliper reading'} @{say[0]} lies outside of what was "
            f"measured, {say[1]} to {say[2]}: correct its place (from the nail of the lowest-numbered "
            "outside card, right of it positive), or state --from and --to.",
        )


def beside_photographs(options: MeasureOptions, alone: Solved) -> tuple[ByHand, ...]:
    """Every stated reading and trial line, at its station, beside the photographs alone.

    Raises
    ------
    JointNotFitted
        As `check_stations` and `compare`.
    """
    entries = options.by_hand.entries
    if not entries:
        return ()
    low, high = alone.stretch_mm
    check_stations(options, alone.stretch_mm)
    widest = widest_station(alone.joint, np.arange(low, high + 1, STATION_STEP_MM))
    at = np.array([widest if e.station_mm is None else e.station_mm for e in entries])
    return compare(options, alone.joint, at, alone.risk_mm(at))


def with_readings(alone: Solved, by_hand: tuple[ByHand, ...]) -> Solved:
    """The joint fitted again with what was measured by hand and does not look like a mistake."""
    readings = tuple(as_reading(b) for b in by_hand if b.used)
    if not readings:
        return alone
    joint = fit_joint(alone.joint, alone.beliefs, readings, REFINE)
    return replace(alone, joint=joint, shifts=gap_shifts(joint, alone.beliefs, readings))


def widest_station(joint: Joint, station_mm: np.ndarray) -> float:
    """Where, of stations (n,), the joint has its widest gap."""
    return float(station_mm[np.argmax(joint.sections(station_mm).gap())])


def compare(
    options: MeasureOptions,
    alone: Joint,
    station_mm: np.ndarray,
    u_label_mm: np.ndarray,
) -> tuple[ByHand, ...]:
    """Every reading, then every trial line, beside the photographs.

    Parameters
    ----------
    alone : Joint
        Fitted without them, so that the photographs' prediction owes them nothing.
    station_mm, u_label_mm : arrays, shape (n,)
        Where each was measured, and what wrongly labelled outlines may add there, sd.

    Returns
    -------
    tuple of ByHand
        Places have a station only.

    Raises
    ------
    JointNotFitted
        ``trial-below-gap``: points that do not reach over the gap scribe no groove.
        ``reading-far-off``, ``trial-far-off``: it would only spoil the fit.
    """
    drawn = alone.draws(station_mm, DRAWS, np.random.default_rng(SEED))
    entries = options.by_hand.entries
    return tuple(
        _compared(entry, _column(drawn, k), float(station_mm[k]), float(u), options.units)
        for k, (entry, u) in enumerate(zip(entries, u_label_mm, strict=True))
    )


def as_reading(entry: ByHand) -> GapReading:
    """What enters the fit."""
    width_mm, shared = (entry.width.value_mm, entry.u_setting_mm) if entry.width else (0.0, 0.0)
    return GapReading(
        entry.place.station_mm, entry.setting_mm, entry.u_mm, width_mm, shared, entry.u_outlines_mm
    )


def risk_left(
    risk_mm: np.ndarray, station_mm: np.ndarray, readings: tuple[GapReading, ...]
) -> np.ndarray:
    """What wrong outlines may still add, (n,) sd, where readings agree with the photographs near by.

    Parameters
    ----------
    risk_mm, station_mm : arrays, shape (n,)
        What they might add before, sd, and where.
    readings : those that agree.

    Notes
    -----
    A reading by hand owes nothing to the outlines. Of their possible error, alike along the log as
    `readings.outlines_covariance` has it, readings of covariance N leave ``K - k (K_r + N)^-1 k'``;
    `readings.outlines_off` takes off what they show.
    """
    if not readings:
        return risk_mm
    at = np.array([r.station_mm for r in readings])
    there = np.interp(at, station_mm, risk_mm)
    known = outlines_covariance(at, there, at, there) + readings_covariance(readings)
    across = outlines_covariance(station_mm, risk_mm, at, there)
    told = np.sum(across * np.linalg.solve(known, across.T).T, 1)
    return np.sqrt(np.maximum(risk_mm**2 - told, 0.0))


def _column(drawn: Sections, k: int) -> Sections:
    return Sections(*(getattr(drawn, name)[:, k] for name in Sections.__slots__))


def _compared(
    entry: Reading | Trial, drawn: Sections, at_mm: float, u_label: float, units: str
) -> ByHand:
    """One entry, at whose station the photographs alone have the sections of ``drawn`` (d,)."""
    trial = isinstance(entry, Trial)
    setting, width = _setting_and_width(entry)
    value, u_photos = _predicted(drawn, width, u_label)
    u = _u_setting(entry, drawn)
    off = setting - value
    e = e_number(off, u_photos, u)
    mistake = None
    below = trial and setting < _gap_at_least(drawn, u_label)
    if below or abs(off) > DOUBTFUL_U * math.hypot(u, u_photos):
        mistake = _mistake(entry, drawn, u_label)
    if below:
        said = [format_length(round(x, 1), units) for x in (setting, drawn.gap().mean())]
        looks = "correct it or leave it out"
        if mistake:
            cure = cure_text(mistake.meant, units)
            looks = f"it looks like {mistake_text(mistake.code)}: {cure}"
        raise JointNotFitted(
            "trial-below-gap",
            f"The trial line {format_entry(entry, units)} was scribed at {said[0]}, but the "
            f"photographs show a gap of {said[1]} there, which is wider than the points: {looks}.",
        )
    if not mistake and abs(off) > FAR_OFF_MM:
        said = [format_length(round(x, 1), units) for x in (setting, value)]
        what, says = ("trial line", "was set to") if trial else ("caliper reading", "says")
        raise JointNotFitted(
            "trial-far-off" if trial else "reading-far-off",
            f"The {what} {format_entry(entry, units)} {says} {said[0]} where the photographs expect "
            f"{said[1]}, too far apart for both to be of this joint: correct it or leave it out.",
        )
    predicted = Quantity(value, u_photos, K95 * u_photos)
    return ByHand(
        place=Place(at_mm, None, None),
        setting_mm=setting,
        u_setting_mm=entry.u_setting_mm if isinstance(entry, Trial) else entry.u_mm,
        width=_line_width(entry, drawn) if isinstance(entry, Trial) else None,
        u_mm=u,
        predicted=predicted,
        e_number=e,
        u_outlines_mm=u_label,
        mistake=mistake,
    )


def _setting_and_width(entry: Reading | Trial) -> tuple[float, float]:
    """What the points were set to and the groove's width; of a reading the gap, and none."""
    if isinstance(entry, Trial):
        return entry.setting_mm, entry.width_mm
    return entry.value_mm, 0.0


def _line_width(trial: Trial, drawn: Sections) -> LineWidth:
    expected = float(drawn.groove_width(trial.setting_mm).mean())
    return LineWidth(trial.width_mm, trial.u_width_mm, expected)


def _predicted(drawn: Sections, cover_mm: float, u_label: float) -> tuple[float, float]:
    """Setting needed for a cover by the photographs alone, and its u, as `gap.gap_profile` has them."""
    needed = drawn.setting_needed(cover_mm)
    shape = SHAPE_MM if cover_mm > 0 else 0.0
    u = float(np.linalg.norm([float(spread(needed)), ROUGH_MM, shape, u_label]))
    return float(needed.mean()), u


def _u_setting(entry: Reading | Trial, drawn: Sections) -> float:
    """Standard uncertainty of an entry as of the setting: a width counts by dW/ds there."""
    if isinstance(entry, Reading):
        return entry.u_mm
    gain = float(drawn.cover_per_setting(entry.width_mm).mean())
    return math.hypot(entry.u_setting_mm, entry.u_width_mm / gain)


def _gap_at_least(drawn: Sections, u_label: float) -> float:
    """What the gap hardly falls short of."""
    gap, u = _predicted(drawn, 0.0, u_label)
    return gap - DOUBTFUL_U * u


def _mistake(entry: Reading | Trial, drawn: Sections, u_label: float) -> Mistake | None:
    """What a contradicting entry looks like; None where nothing fits."""
    for code, meant in mistakes_of(entry):
        setting, width = _setting_and_width(meant)
        if width >= 1.8 * float(np.minimum(drawn.r_l, drawn.r_u).mean()):
            continue
        value, u_photos = _predicted(drawn, width, u_label)
        if abs(e_number(setting - value, u_photos, _u_setting(meant, drawn))) <= 1:
            return Mistake(code, None if code == ONE_FACE else meant)  # the other half is a guess
    return None


@dataclass(frozen=True, slots=True)
class LineWidth:
    """How wide the groove came out on a trial line, mm, and how wide the photographs expect it."""

    value_mm: float
    u_mm: float
    predicted_mm: float


@dataclass(frozen=True, slots=True)
class ByHand:
    """A caliper reading or a trial line, beside what the photographs alone tell of its place.

    ``setting_mm`` is the gap read, or what the points were set to; ``width`` the groove's, None for a
    reading. ``u_setting_mm`` is of the setting by itself, ``u_mm`` of it with the width's, as of the
    setting. ``predicted`` is the gap, or the setting needed for that width. ``difference_mm`` is
    setting less predicted, ``e_number`` as `agreement.e_number` has it.
    ``u_outlines_mm`` is the part of the prediction's u that wrong outlines may add. ``mistake``
    tells what the entry looks like where it contradicts the photographs; such a one is not ``used`` in
    the answer.
    """

    place: Place
    setting_mm: float
    u_setting_mm: float
    width: LineWidth | None
    u_mm: float
    predicted: Quantity
    e_number: float
    u_outlines_mm: float = 0.0
    mistake: Mistake | None = None

    @property
    def difference_mm(self) -> float:
        return self.setting_mm - self.predicted.value_mm

    @property
    def agrees(self) -> bool:
        return abs(self.e_number) <= 1

    @property
    def used(self) -> bool:
        return self.mistake is None
