"""Limits along the log: where a groove, as cut at the setting, may break the rules in force."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from gapvision.inputs.rules import COVER, DEPTH, RUN, WIDTH, Rule
from gapvision.lengths import SIXTEENTH_MM
from gapvision.quantity import runs

POSSIBLE = 0.05  # a limit broken less likely than that is taken as kept
LIKELY, SURE = 0.5, 0.95
# A groove so little wider than the least cover is as narrow as that; common practice, no source.
AS_SMALL_MM = SIXTEENTH_MM
_Z = np.linspace(-3.0, 3.0, 121)  # common errors of all widths, in u


@dataclass(frozen=True, slots=True)
class Judged:
    """A rule against the joint: the number found where it is worst, and the limit there.

    ``log`` is ``"upper"`` or ``"lower"``; ``chance`` is how likely the rule is broken; ``from_mm`` and
    ``to_mm`` bound the stretch where that is possible.
    """

    rule: Rule
    found_mm: float
    limit_mm: float
    station_mm: float
    log: str
    chance: float
    from_mm: float | None = None
    to_mm: float | None = None

    @property
    def verdict(self) -> Literal["kept", "maybe broken", "likely broken", "broken"]:
        """What the chance means in words."""
        if self.chance < POSSIBLE:
            return "kept"
        if self.chance < LIKELY:
            return "maybe broken"
        return "likely broken" if self.chance < SURE else "broken"


@dataclass(frozen=True, eq=False, slots=True)
class Limited:
    """What the rules are held against, by station (n,), mm, each with its standard uncertainty.

    Widths and depths are of the groove as cut at the setting; the diameters those of both logs.
    """

    station_mm: np.ndarray
    width_mm: np.ndarray
    width_u_mm: np.ndarray
    depth_mm: np.ndarray
    depth_u_mm: np.ndarray
    upper_mm: np.ndarray
    upper_u_mm: np.ndarray
    lower_mm: np.ndarray
    lower_u_mm: np.ndarray


def judge(rules: tuple[Rule, ...], joint: Limited) -> tuple[Judged, ...]:
    """Each rule against the joint.

    Notes
    -----
    By station the chance is that of a normal distribution with the uncertainties of both sides; the
    whole rule's is that of its worst station. For the run over which the groove may be as narrow as
    the least cover, the widths' errors are taken as common along the log.
    """
    cover = next((r for r in rules if r.what == COVER), None)
    out = []
    for rule in rules:
        if rule.what == RUN:
            if cover is not None:
                out.append(_judge_run(rule, cover, joint))
            continue
        out += [_judge_station(rule, joint, *side) for side in _sides(rule, joint)]
    return tuple(out)


def _sides(rule: Rule, j: Limited) -> tuple[tuple[str, np.ndarray, np.ndarray, float], ...]:
    """Which log, what a rule limits of it, its u, and +1 where too much breaks it, -1 where too little."""
    if rule.what == COVER:
        return (("upper", j.width_mm, j.width_u_mm, -1.0),)
    if rule.what == WIDTH:
        return (("upper", j.width_mm, j.width_u_mm, 1.0),)
    if rule.what == DEPTH:
        return (("upper", j.depth_mm, j.depth_u_mm, 1.0),)
    return (
        ("upper", j.upper_mm, j.upper_u_mm, -1.0),
        ("lower", j.lower_mm, j.lower_u_mm, -1.0),
    )


def _limit(rule: Rule, j: Limited) -> tuple[np.ndarray, np.ndarray]:
    """The limit by station (n,) and its u, mm."""
    if rule.share:
        return rule.value * j.upper_mm, rule.value * j.upper_u_mm
    return np.full(len(j.station_mm), rule.value), np.zeros(len(j.station_mm))


def _judge_station(
    rule: Rule, j: Limited, log: str, found: np.ndarray, u: np.ndarray, sign: float
) -> Judged:
    from scipy.special import ndtr  # which takes longer to load than to judge

    limit, u_limit = _limit(rule, j)
    over = sign * (found - limit)
    chance = ndtr(over / np.maximum(np.hypot(u, u_limit), 1e-9))
    worst = int(np.argmax(chance + 1e-9 * over))  # of several sure places the worst
    return Judged(
        rule, float(found[worst]), float(limit[worst]), float(j.station_mm[worst]),
        log, float(chance[worst]), *_stretch(j.station_mm, chance >= POSSIBLE, worst),
    )  # fmt: skip


def _judge_run(rule: Rule, cover: Rule, j: Limited) -> Judged:
    from scipy.special import ndtr

    limit, _ = _limit(cover, j)
    narrow = [j.width_mm + z * j.width_u_mm < limit + AS_SMALL_MM for z in _Z]
    lengths = np.array([_longest(mask, j.station_mm)[0] for mask in narrow])
    chance = float(ndtr(_Z[lengths > rule.value].max())) if (lengths > rule.value).any() else 0.0
    found, a, b = _longest(j.width_mm < limit + AS_SMALL_MM, j.station_mm)
    possible = chance >= POSSIBLE
    if possible and found == 0.0:
        _, a, b = _longest(narrow[0], j.station_mm)
    return Judged(
        rule, found, rule.value, 0.5 * (a + b), "upper", chance,
        a if possible else None, b if possible else None,
    )  # fmt: skip


def _longest(mask: np.ndarray, station_mm: np.ndarray) -> tuple[float, float, float]:
    """Length and ends of the longest run of True, mm; 0 at the first station where there is none."""
    half = 0.5 * float(station_mm[1] - station_mm[0])
    found = [(float(station_mm[r.start]) - half, float(station_mm[r.stop - 1]) + half)
             for r in runs(mask)]  # fmt: skip
    a, b = max(found, key=lambda s: s[1] - s[0], default=(float(station_mm[0]),) * 2)
    return b - a, a, b


def _stretch(
    station_mm: np.ndarray, possible: np.ndarray, worst: int
) -> tuple[float | None, float | None]:
    """The run of stations round the worst one at which a limit may be broken."""
    for r in runs(possible):
        if r.start <= worst < r.stop:
            return float(station_mm[r.start]), float(station_mm[r.stop - 1])
    return None, None
