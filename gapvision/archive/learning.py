"""Photographs against calipers, and predicted against cut grooves, over all joints with outcomes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from gapvision.archive.outcome import Caliper, Outcome, TrialLine, outcomes_of, together
from gapvision.archive.query import Query, entries, load_record
from gapvision.archive.store import Archive
from gapvision.lengths import U_LINE_MM, U_SCRIBED_MM
from gapvision.quantity import K95

# What the measurement itself was given is no check of it, nor is what was read beside it.
SAME_PLACE_MM = 50.0
# As `lengths.parse_trial` has it.
U_COVER_MM = math.sqrt(2) * math.hypot(1 / math.sqrt(12), U_LINE_MM)
FEWEST = 5  # joints from which a correction is offered; judgement
KINDS = {
    "gap": "Photograph - caliper",
    "trial": "Predicted - trial line",
    "cover": "Predicted - cut",
}


@dataclass(frozen=True, slots=True)
class Difference:
    """One joint's predicted less its found value, mm, and the half-width that should hold it."""

    value_mm: float
    U95_mm: float

    @property
    def held(self) -> bool:
        """Whether the difference is within its half-width: |E_n| <= 1, ISO 13528."""
        return abs(self.value_mm) <= self.U95_mm


@dataclass(frozen=True, slots=True)
class Learned:
    """The differences of one kind over n joints, mm; None where too few tell it.

    ``u_mm`` is the standard uncertainty of the mean, ``U95_mm`` its half-width by Student's t; of n joints
    ``held`` were within their half-width, and 95 times in 100 it is ``expected`` (fewest, most).
    """

    n: int
    mean_mm: float | None
    u_mm: float | None
    U95_mm: float | None
    held: int
    expected: tuple[int, int]

    @property
    def offset_mm(self) -> float | None:
        """The mean where it is off nought by more than chance, over enough joints to say so; else None."""
        if self.n < FEWEST or self.mean_mm is None or self.U95_mm is None:
            return None
        return self.mean_mm if abs(self.mean_mm) > self.U95_mm else None


def learn(archive: Archive, query: Query) -> tuple[dict[str, Learned], int]:
    """What the outcomes of the records wanted tell together, by the keys of `KINDS`, and of how many joints.

    Raises
    ------
    MeasurementError
        ``bad-record``.
    """
    by_kind: dict[str, list[Difference]] = {kind: [] for kind in KINDS}
    joints = 0
    for entry in entries(archive, replace(query, with_outcome=True)):
        outcome = together(outcomes_of(archive, entry.record))
        if outcome is None:
            continue
        record = load_record(archive, entry.record)
        for kind, difference in differences(record.options, record.result, outcome).items():
            by_kind[kind].append(difference)
        joints += 1
    return {kind: learned(told) for kind, told in by_kind.items()}, joints


def differences(options: dict, result: dict, outcome: Outcome) -> dict[str, Difference]:
    """What one joint tells, by the keys of `KINDS`; nothing where nothing can be compared.

    Parameters
    ----------
    options, result : dict
        As the archive holds them.
    outcome : Outcome
        All that was told of the joint.

    Notes
    -----
    Several readings of one joint share the photographs' error, so that they count as one: the mean
    of their differences, with the mean of their half-widths, as if that error were wholly common.
    A half-width joins the answer's standard uncertainty at the station and the reading's.
    """
    widest = result["widest_gap"]["station_mm"]
    given = [
        widest if entry["station_mm"] is None else entry["station_mm"]
        for entry in (*options.get("readings", ()), *options.get("trials", ()))
    ]

    def fresh(v: Caliper | TrialLine) -> bool:
        return all(abs(v.station_mm - g) > SAME_PLACE_MM for g in given)

    found: dict[str, list[Difference | None]] = {
        "gap": [
            _difference(at[0], at[1], v.value_mm, v.u_mm)
            for v in outcome.of_kind(Caliper)
            if fresh(v) and (at := _at(result, v.station_mm, "gap_mm", "gap_u_mm"))
        ],
        "trial": [_trial(result, v) for v in outcome.of_kind(TrialLine) if fresh(v)],
        "cover": [_cover(result, outcome)],
    }
    known = {kind: [d for d in told if d is not None] for kind, told in found.items()}
    return {
        kind: Difference(
            sum(d.value_mm for d in told) / len(told), sum(d.U95_mm for d in told) / len(told)
        )
        for kind, told in known.items()
        if told
    }


def learned(told: Sequence[Difference]) -> Learned:
    """The mean of joints' differences with its uncertainty, and how many were within their half-width.

    Notes
    -----
    The mean's half-width is ``t_{0.975, n-1} s / sqrt(n)`` (JCGM 100:2008, 4.2.3 and G.3). The
    expected range of joints held is the central 95 % of a binomial distribution with p = 0.95.
    """
    from scipy.stats import binom, t

    n = len(told)
    if not n:
        return Learned(0, None, None, None, 0, (0, 0))
    fewest, most = binom.interval(0.95, n, 0.95)
    mean = sum(d.value_mm for d in told) / n
    u = half = None
    if n > 1:
        s = math.sqrt(sum((d.value_mm - mean) ** 2 for d in told) / (n - 1))
        u = s / math.sqrt(n)
        half = float(t.ppf(0.975, n - 1)) * u
    return Learned(n, mean, u, half, sum(d.held for d in told), (int(fewest), int(most)))


def width_at(width_mm: float, set_to_mm: float, gap_mm: float, used_mm: float) -> float | None:
    """The groove's width at the setting that was used, from that at the advised one.

    Notes
    -----
    Near the closest place of two round logs ``W ~ 2 sqrt(2 (s - g) / K)`` (docs/model.md, "Groove
    width"), so that widths are as the roots of what the setting exceeds the gap by. None where the
    points were set to less than the gap, or nothing of the groove was expected.
    """
    if used_mm <= gap_mm or set_to_mm <= gap_mm:
        return None
    return width_mm * math.sqrt((used_mm - gap_mm) / (set_to_mm - gap_mm))


def _trial(result: dict, v: TrialLine) -> Difference | None:
    at = _at(result, v.station_mm, "groove_width_mm", "groove_width_u_mm")
    if at is None:
        return None
    return _groove(result, v.station_mm, *at, v.setting_mm, v.u_setting_mm, v.value_mm, v.u_mm)


def _cover(result: dict, outcome: Outcome) -> Difference | None:
    groove = result["narrowest_groove"]
    cover, used = outcome.narrowest_cover_mm, outcome.setting_used_mm
    if cover is None or used is None or groove["u_mm"] is None:
        return None
    return _groove(
        result, groove["station_mm"], groove["value_mm"], groove["u_mm"], used, U_SCRIBED_MM,
        cover, U_COVER_MM,
    )  # fmt: skip


def _groove(
    result: dict,
    station: float,
    width: float,
    u: float,
    used: float,
    u_used: float,
    found: float,
    u_found: float,
) -> Difference | None:
    """A groove's predicted less its found width, at the setting that was used; None where not known.

    With ``W`` as the root of ``s - g``, ``dW/ds = -dW/dg = W / (2 (s - g))``: the prediction's
    uncertainty, which is mostly the gap's, goes as 1 / W.
    """
    at = _at(result, station, "gap_mm", "gap_u_mm")
    if at is None:
        return None
    gap, _ = at
    now = width_at(width, result["setting"]["set_to_mm"], gap, used)
    if not now:
        return None
    slope = now / (2 * (used - gap))
    return _difference(now, math.hypot(u * width / now, slope * u_used), found, u_found)


def _difference(value: float, u: float, found: float, u_found: float) -> Difference:
    return Difference(value - found, K95 * math.hypot(u, u_found))


def _at(result: dict, station_mm: float, name: str, u_name: str) -> tuple[float, float] | None:
    """A value of the profile and its u at a station, straight between its stations; None where not seen."""
    stations = result["profile"]["station_mm"]
    for i, (a, b) in enumerate(zip(stations, stations[1:], strict=False)):
        if a <= station_mm <= b:
            part = (station_mm - a) / (b - a)
            ends = [result["profile"][c][i : i + 2] for c in (name, u_name)]
            if any(v is None for pair in ends for v in pair):
                return None
            value, u = (lo + part * (hi - lo) for lo, hi in ends)
            return value, u
    return None
