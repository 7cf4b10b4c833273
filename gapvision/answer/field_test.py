"""A reference joint's readings by hand beside what its photographs alone tell -> whether they held."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from gapvision.answer.as_json import answer_json
from gapvision.answer.check import Checked, check_readings
from gapvision.errors import MeasurementError
from gapvision.inputs.field_test import FieldTest, placed_mm
from gapvision.joint.agreement import Bias, K, e_number
from gapvision.joint.gap import Profile
from gapvision.lengths import Reading, Trial
from gapvision.measurement import Measurement
from gapvision.quantity import Quantity

FAR_E = 1.5  # three standard uncertainties: of 15 right entries one is over it in 4 of 100 joints
OVER_1, CHANCE = 0.0455, 0.05  # of right entries the share over E_n 1 (k = 2), and of runs as bad
SLOPE_MM = 10.0  # either way, over which the gap's slope is taken


@dataclass(frozen=True, slots=True)
class TrialChecked:
    """A trial line beside the setting that the photographs alone ask for at its width, mm.

    ``set_to`` is what the points stood at, with the width's uncertainty as of the setting;
    ``photographs`` what is needed there for a cover of ``width_mm``. Both U95 are U with k = 2.
    """

    station_mm: float
    width_mm: float
    set_to: Quantity
    photographs: Quantity

    @property
    def error_mm(self) -> float:
        """Photographs less by hand."""
        return self.photographs.value_mm - self.set_to.value_mm

    @property
    def e_number(self) -> float:
        return e_number(self.error_mm, self.photographs.u_mm, self.set_to.u_mm)


@dataclass(frozen=True, slots=True)
class Errors:
    """What n errors (photographs less by hand) come to, mm.

    ``expected_mm`` is the rms that both uncertainties let expect, ``rms_over_u`` the rms of each error
    over its own standard uncertainty, ``agree`` how many have E_n up to 1.
    """

    n: int
    agree: int
    bias_mm: float
    rms_mm: float
    largest_mm: float
    at_mm: float
    expected_mm: float
    rms_over_u: float


@dataclass(frozen=True, eq=False, slots=True)
class FieldScore:
    """One reference joint scored.

    ``not_compared`` are stations (mm) of readings and trial lines where no photograph shows the gap.
    ``bias`` is as `gapvision.joint.agreement.common_bias` has it, read less photographed.
    """

    form: FieldTest
    measurement: Measurement
    readings: tuple[Checked, ...]
    widest: Checked | None
    trials: tuple[TrialChecked, ...]
    bias: Bias | None
    not_compared: tuple[float, ...]

    @property
    def e_numbers(self) -> np.ndarray:
        """Of all that was compared: readings, the widest gap, trial lines."""
        entries = (*self.readings, *([self.widest] if self.widest else ()), *self.trials)
        return np.array([abs(e.e_number) for e in entries])

    @property
    def held(self) -> bool:
        """Whether no more is off, and nothing farther, than right readings and a right answer are."""
        e = self.e_numbers
        return bool(e.max() <= FAR_E and np.sum(e > 1) <= chance_over_1(len(e)))

    @property
    def errors(self) -> Errors | None:
        """Of the gap along the log."""
        return errors_of(self.readings)


@dataclass(frozen=True, slots=True)
class FieldRefusal:
    """A folder that could not be scored, and why."""

    name: str
    error: MeasurementError


def score_field_test(form: FieldTest, measurement: Measurement) -> FieldScore:
    """Compare a measurement that knows nothing of the readings with them.

    Raises
    ------
    MeasurementError
        ``nothing-compared``: none of what was read lies where the photographs show the gap.
    """
    profile, answer = measurement.profile, answer_json(measurement)
    shown = [r for r in form.readings if _shown(profile, placed_mm(r))]
    trials = [t for t in form.trials if _shown(profile, placed_mm(t))]
    readings: tuple[Checked, ...] = ()
    bias, widest = None, None
    if shown:
        check = check_readings(answer, "", tuple(_placed(r, form, profile) for r in shown))
        readings, bias = check.readings, check.bias
    if form.widest:
        at_widest = replace(form.widest, station_mm=None)  # at the photographs' own widest place
        (widest,) = check_readings(answer, "", (at_widest,)).readings
    stations = [*map(placed_mm, form.readings), *map(placed_mm, form.trials)]
    missed = tuple(at for at in stations if not _shown(profile, at))
    if not (readings or widest or trials):
        low, high = profile.station_mm[[0, -1]]
        raise MeasurementError(
            "nothing-compared",
            f"{form.folder}: nothing that was read lies where the photographs show the gap, "
            f"{low:.0f} to {high:.0f} mm: correct the places (from the nail of the lowest-numbered "
            "outside card, right of it positive).",
        )
    beside = tuple(_trial(t, form.options.cover_mm, profile) for t in trials)
    return FieldScore(form, measurement, readings, widest, beside, bias, missed)


def errors_of(entries: tuple[Checked | TrialChecked, ...]) -> Errors | None:
    """What the errors of several entries come to; None of none."""
    if not entries:
        return None
    error = np.array([_error(e) for e in entries])
    u = np.array([_u(e) for e in entries])
    worst = int(np.argmax(np.abs(error)))
    return Errors(
        n=len(entries),
        agree=int(sum(abs(e.e_number) <= 1 for e in entries)),
        bias_mm=float(error.mean()),
        rms_mm=_rms(error),
        largest_mm=float(error[worst]),
        at_mm=station_of(entries[worst]),
        expected_mm=_rms(u),
        rms_over_u=_rms(error / u),
    )


def chance_over_1(n: int) -> int:
    """How many of n right entries may have E_n over 1 before chance is no explanation.

    Notes
    -----
    Each is over 1 with probability `OVER_1` (k = 2, normal); the 95 % quantile of the binomial
    distribution. Photographs err alike along the log, so that a right answer has somewhat more.

    Examples
    --------
    >>> [chance_over_1(n) for n in (1, 5, 12, 20)]
    [0, 1, 2, 3]
    """
    from scipy.stats import binom

    return int(binom.ppf(1 - CHANCE, n, OVER_1))


def station_of(entry: Checked | TrialChecked) -> float:
    return entry.station_mm if isinstance(entry, TrialChecked) else entry.place.station_mm


def _error(entry: Checked | TrialChecked) -> float:
    """Photographs less by hand, mm."""
    return entry.error_mm if isinstance(entry, TrialChecked) else -entry.difference_mm


def _u(entry: Checked | TrialChecked) -> float:
    by_hand = entry.set_to if isinstance(entry, TrialChecked) else entry.read
    return math.hypot(by_hand.u_mm, entry.photographs.u_mm)


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _shown(profile: Profile, station_mm: float) -> bool:
    at = profile.station_mm
    inside = at[0] <= station_mm <= at[-1]
    return bool(inside and np.isfinite(np.interp(station_mm, at, profile.gap_mm)))


def _placed(reading: Reading, form: FieldTest, profile: Profile) -> Reading:
    """The reading with what its station's uncertainty adds where the gap changes along the log."""
    at = placed_mm(reading)
    ends = np.clip([at - SLOPE_MM, at + SLOPE_MM], *profile.station_mm[[0, -1]])
    low, high = np.interp(ends, profile.station_mm, profile.gap_mm)
    slope = (high - low) / (ends[1] - ends[0])
    along = abs(slope) * form.u_station_mm if np.isfinite(slope) else 0.0
    return replace(reading, u_mm=math.hypot(reading.u_mm, along))


def _trial(trial: Trial, cover_mm: float, profile: Profile) -> TrialChecked:
    """One trial line.

    Notes
    -----
    The photographs' setting n for the cover c is known at the station, and there
    ``n - g = c^2 K / (8 cos^3 phi)`` (docs/model.md), so that a width w needs
    ``g + (n - g) (w / c)^2``, and ``dW/ds = c^2 / (2 (n - g) w)``.
    """
    at = placed_mm(trial)
    gap, needed, u = (
        float(np.interp(at, profile.station_mm, values))
        for values in (profile.gap_mm, profile.setting_needed_mm, profile.setting_needed_u_mm)
    )
    rise = needed - gap
    expected = gap + rise * (trial.width_mm / cover_mm) ** 2
    gain = cover_mm**2 / (2 * rise * trial.width_mm)
    u_set = math.hypot(trial.u_setting_mm, trial.u_width_mm / gain)
    return TrialChecked(
        at,
        trial.width_mm,
        Quantity(trial.setting_mm, u_set, K * u_set),
        Quantity(expected, u, K * u),
    )
