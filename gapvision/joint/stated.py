"""What was stated of the logs against what the photographs show: girths, radii, logs exchanged, another log.

A log's half diameter is seen twice: the card hangs at its widest point, so that from the nail down to
the gap is half of it; and where photographs are from several heights, in how its edge moves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.fit import ANNEAL, fit_joint
from gapvision.joint.model import Joint
from gapvision.scene.priors import Beliefs, Half, Priors
from gapvision.trace.outlines import SEEN, Trace
from gapvision.trace.traced_photo import ReadPhoto, TracedPhoto, trace_photo

U_HUNG_MM = 15.0  # of half a diameter by where the card was hung: by eye at the widest point
U_SHOWN_TIMES = 1.3  # of the fit's own, whose lines may be wrong all along
CONTRADICTS_U = 3.5
ODD_MM = 8.0  # by which the other log's half diameter must be nearer
ALIKE = 0.75, 1.35  # stated over shown: within these is a bad tape, or a log that is not round
READING = 0.25  # of the likely one, by which it may be off what is shown
EXCHANGED_CHI2, AGREES_CHI2 = 8.0, 6.0
DRAWS, SEED = 200, 5

# Of what both logs' lines could be, the part in which they are seen. Traced rightly it is over 0.9 in
# a level photograph, and from above and below 0.2 to 1.
GOOD_PART, POOR_PART, BETTER = 0.8, 0.7, 0.25
USUAL_HALF_MM = 85.0, 250.0  # beyond these a stated half diameter is looked into first
WIDEST_MM = 150.0  # of what may be a gap
GIRTH, RADIUS, EXCHANGED, UNTOLD = "girth", "radius", "exchanged", "untold"


@dataclass(frozen=True, slots=True)
class Contradicted:
    """A stated diameter that the photographs contradict, mm, and how it was likely meant.

    ``shown_mm`` is about what they show; ``meant`` is `GIRTH`, `RADIUS`, `EXCHANGED` with the other
    log's, or `UNTOLD`.
    """

    log: str
    stated_mm: float
    shown_mm: float
    meant: str


# --- before the fit: one photograph traced otherwise ----------------------------------------------


def seen_part(trace: Trace) -> float:
    """The part of a trace in which both lines are seen."""
    return float(((trace.upper.state == SEEN) & (trace.lower.state == SEEN)).mean())


def check_stated(
    reads: Iterable[ReadPhoto], part: float, options: MeasureOptions, half: dict[str, Half | None]
) -> None:
    """Refuse a diameter, or what the cards hang on, where otherwise the joint is seen much better.

    Parameters
    ----------
    reads : iterable of ReadPhoto
        A few photographs; looked at one by one, and only if need be.
    part : float
        `seen_part` of the one that shows most of the joint as it was stated, 0 of none.
    half : what was stated, as `stated_radii` gives it.

    Raises
    ------
    JointNotFitted
        ``bad-diameter`` or ``bad-card-on``.

    Notes
    -----
    This costs a trace or two, and is done only where hardly anything is seen, or a log is stated that is
    thicker or thinner than nearly all.
    """
    if options.card_on == "free":
        return
    hung = half[options.card_on]
    stated = None if hung is None else float(hung(np.zeros(1))[0])
    odd = stated is not None and not USUAL_HALF_MM[0] <= stated <= USUAL_HALF_MM[1]
    if part >= POOR_PART and not odd:
        return
    enough = max(GOOD_PART, part + BETTER)
    for read in reads:
        if stated is not None:
            again = _traced(read, options.card_on)
            if again is not None and seen_part(again.trace) >= (GOOD_PART if odd else enough):
                _check_hung(options.card_on, stated, abs(_height(again, options.card_on)))
                return
        if part < POOR_PART:
            _check_hung_on(read, options.card_on, enough)


def _check_hung_on(read: ReadPhoto, hung_on: str, enough: float) -> None:
    """Refuse what the cards hang on where the gap lies on their other side."""
    other, where = ("lower", "above") if hung_on == "upper" else ("upper", "below")
    again = _traced(read, other)
    if again is not None and seen_part(again.trace) >= enough:
        raise JointNotFitted(
            "bad-card-on",
            f"{read.label}: the gap is {where} the card, so the cards hang on the {other} log: add "
            f"--card-on {other}.",
        )


def _traced(read: ReadPhoto, hung_on: str) -> TracedPhoto | None:
    """The photograph traced with no diameter stated; None where that shows no gap either."""
    try:
        traced = trace_photo(read, hung_on, {"upper": None, "lower": None}, Priors())
    except MeasurementError:
        return None
    gap = _height(traced, "upper") - _height(traced, "lower")
    return traced if 0.0 < gap < WIDEST_MM else None


def _height(traced: TracedPhoto, log: str) -> float:
    """Of a log's line over its nail, mm, in the photograph's own frame; NaN where none is seen."""
    line = getattr(traced.trace, log)
    seen = line.xy_px[line.state == SEEN]
    if not len(seen):
        return math.nan
    return float(np.median(traced.band.camera.plane_point(seen, traced.band.z_mm)[:, 1]))


def _check_hung(log: str, stated_mm: float, shown_mm: float) -> None:
    """Refuse a half diameter of the cards' log that is far from what is seen below their nails."""
    if ALIKE[0] <= stated_mm / shown_mm <= ALIKE[1]:
        return
    likely = {
        GIRTH: f" Is that its girth? Then it is {2 * stated_mm / math.pi:.0f} mm thick.",
        RADIUS: f" Is that half of it? Then write {4 * stated_mm:.0f}.",
    }.get(_meant(stated_mm, shown_mm), "")
    raise JointNotFitted(
        "bad-diameter",
        f"The {log} log was stated as {2 * stated_mm:.0f} mm thick, and by its card, which hangs at the "
        f"widest point, it is about {round(2 * shown_mm, -1):.0f} mm.{likely} Correct --{log}-diameter.",
    )


# --- after the fit --------------------------------------------------------------------------------


def contradicted(
    joint: Joint, beliefs: Beliefs, options: MeasureOptions
) -> tuple[Contradicted, ...]:
    """Stated diameters that the fitted photographs contradict.

    Parameters
    ----------
    joint, beliefs : as fitted with what was stated.

    Notes
    -----
    Where what hangs by its nail, or an odd size, gives reason to, the joint is fitted again with no
    diameter stated. The logs are taken to be exchanged where they fit so much better (chi squared) than as
    they were stated.
    """
    at = joint.spline_s.centres()[2:-2]
    mm = {
        log: float(np.mean(np.broadcast_to(half(at), at.shape)))
        for log, half in beliefs.half.items()
        if half is not None
    }
    if not _odd(mm, options.card_on, joint):
        return ()
    free = _unstated(joint, beliefs)
    if free is None:
        return ()
    shown = {log: _shown(free, log, options.card_on, at) for log in mm}
    out = []
    for log, (seen, u) in shown.items():
        far = abs(mm[log] - seen) > CONTRADICTS_U * u
        if far and not ALIKE[0] <= mm[log] / seen <= ALIKE[1]:
            out.append(Contradicted(log, 2 * mm[log], 2 * seen, _meant(mm[log], seen)))
    if len(mm) == 2 and all(c.meant == UNTOLD for c in out):
        exchanged = _chi2({"upper": mm["lower"], "lower": mm["upper"]}, shown)
        if _chi2(mm, shown) - exchanged > EXCHANGED_CHI2 and exchanged < AGREES_CHI2:
            return (Contradicted("upper", 2 * mm["upper"], 2 * shown["upper"][0], EXCHANGED),)
    return tuple(out)


def _odd(half_mm: dict[str, float], hung_on: str, joint: Joint) -> bool:
    """Whether stated half diameters are of no usual log, or not what is seen from nail to gap."""
    low, high = USUAL_HALF_MM
    if any(not low <= mm <= high for mm in half_mm.values()):
        return True
    if hung_on not in half_mm:
        return False
    off = {log: abs(mm - _hung_mm(joint, hung_on)) for log, mm in half_mm.items()}
    return off[hung_on] > min(2 * U_HUNG_MM, min(off.values()) + ODD_MM)


def _unstated(joint: Joint, beliefs: Beliefs) -> Joint | None:
    """The joint fitted with no diameter stated; None where that fits nothing."""
    usual = np.full(joint.spline_s.size, beliefs.priors.unknown_radius_mm)
    start = replace(joint, coefficients=joint.coefficients | {"r_l": usual, "r_u": usual})
    try:
        return fit_joint(start, replace(beliefs, half=dict.fromkeys(beliefs.half)), (), ANNEAL[1:])
    except JointNotFitted:
        return None


def _shown(free: Joint, log: str, hung_on: str, at: np.ndarray) -> tuple[float, float]:
    """A log's half diameter as the photographs show it, and its u, mm."""
    drawn = getattr(free.draws(at, DRAWS, np.random.default_rng(SEED)), f"r_{log[0]}").mean(1)
    fitted, u = float(np.median(drawn)), U_SHOWN_TIMES * float(drawn.std())
    if log != hung_on:
        return fitted, u
    weight = u**-2 + U_HUNG_MM**-2
    return (fitted * u**-2 + _hung_mm(free, log) * U_HUNG_MM**-2) / weight, weight**-0.5


def _hung_mm(joint: Joint, log: str) -> float:
    """From the nails, at the log's widest point, to its crown at the gap, mm."""
    nail = np.array([c.nail_mm[:2] for c in joint.cards])
    crown = getattr(joint.sections(nail[:, 0]), f"h_{log[0]}")
    return float(np.median(np.abs(nail[:, 1] - crown)))


def _chi2(half_mm: dict[str, float], shown: dict[str, tuple[float, float]]) -> float:
    return sum(((half_mm[log] - seen) / u) ** 2 for log, (seen, u) in shown.items())


def _meant(stated_mm: float, shown_mm: float) -> str:
    for meant, half in ((GIRTH, stated_mm / math.pi), (RADIUS, 2 * stated_mm)):
        if abs(half / shown_mm - 1) < READING:
            return meant
    return UNTOLD
