"""What wrong outlines may add to the gap: where labels are unsure, where photographs disagree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.joint.fit import ANNEAL, LAST, fit_joint
from gapvision.joint.model import FittedPhoto, Joint, residuals
from gapvision.joint.readings import GapReading
from gapvision.joint.seen import NEAR_MM
from gapvision.scene.photo_rows import PhotoRows
from gapvision.scene.priors import Beliefs
from gapvision.trace.outlines import SEEN, UNSURE, Trace

CHANCE_U = 2.0  # of a photograph's gap against the others'; more is seldom chance
WRONG_LABEL_MM = 6.0  # half a usual gap
# In 22 own rendered photographs that the training never saw, level and with hardly an unsure label, the
# gap between the traced lines was off by 0.49 mm (rms of means over 100 mm): a part of 0.007. Those were
# renderings, in which far walls and shade are milder than outdoors: half as much again.
LEAST_PART = 0.01
ALIKE = 0.25  # share of what several photographs are all unsure of that they get wrong alike


def u_label(
    photos: Sequence[tuple[Trace, FittedPhoto]], joint: Joint, station_mm: np.ndarray
) -> np.ndarray:
    """What wrongly labelled outlines may add to the gap at stations (n,), sd, mm.

    Notes
    -----
    The network says of each open block how likely its line is another one; by the mean of these
    parts p of a photograph's outlines the gap is taken to be wrong by half a usual gap. Three
    photographs and more that show the same station outvote each other, so that their parts are
    multiplied, but where all are unsure they may well err alike. Two do not outvote each other: each
    alone fixes one of height and crowns' offset, and either's error moves the gap by about half.
    """
    return _outvoted([(f, max(_wrong_part(t), LEAST_PART)) for t, f in photos], joint, station_mm)


def least_u_label(joint: Joint, station_mm: np.ndarray) -> np.ndarray:
    """The same where no photograph of the joint has an unsure label: what any trace is off by."""
    return _outvoted([(f, LEAST_PART) for f in joint.photos], joint, station_mm)


def _outvoted(
    photos: Sequence[tuple[FittedPhoto, float]], joint: Joint, station_mm: np.ndarray
) -> np.ndarray:
    """What wrong parts of photographs add to the gap at stations (n,), sd, mm."""
    parts = []
    for fitted, wrong in photos:
        at = [residuals(fitted.camera, o, joint)[1] for o in fitted.rows.outlines]
        if not at:  # it shows nothing of the stretch, and ties others by its cards only
            continue
        low, high = np.concatenate(at).min(), np.concatenate(at).max()
        here = (station_mm > low - NEAR_MM) & (station_mm < high + NEAR_MM)
        parts.append(np.where(here, wrong, np.nan))
    count = np.isfinite(parts).sum(0)
    product, total = np.nanprod(parts, 0), np.nansum(parts, 0)
    least = np.min(np.nan_to_num(parts, nan=np.inf), 0, initial=np.inf)
    alike = np.where(count > 2, ALIKE * (least - LEAST_PART), 0.0)
    part = np.where(count == 2, total / 4, product + alike)  # of no photograph the product is 1
    return WRONG_LABEL_MM * np.sqrt(part)


def _wrong_part(trace: Trace) -> float:
    """Expected part of the open blocks of both lines whose limb is another one than the line's."""
    wrong = [1 - x.sure[np.isin(x.state, (SEEN, UNSURE))] for x in (trace.upper, trace.lower)]
    open_ = np.concatenate(wrong)
    return float(open_.mean()) if len(open_) else 0.0


def u_shift(shifts: tuple[GapShift, ...]) -> float:
    """What photographs whose gap disagrees with the others' may have moved the joint's gap by, sd, mm.

    As any of them may be the wrong one, the largest move counts.
    """
    moves = [s.moves_mm for s in shifts if s.size > CHANCE_U]
    return min(max(moves, default=0.0), WRONG_LABEL_MM)


SUSPECT = 0.3  # of the prior of one outline's common shift, both together; less is left alone
NUDGE_PX = 0.5
AT_MOST = 3  # photographs looked into, the most suspect ones: each costs a fit

FEWEST_TO_COMPARE = 2


@dataclass(frozen=True, slots=True)
class GapShift:
    """How much wider one photograph shows the gap than the others have it, mm, and its u.

    Where this is many u, either the upper log moved between the photographs or an outline is wrong.
    ``moves_mm`` is by how much (rms along the log) the joint's gap would change without it.
    """

    photo: int
    gap_mm: float
    u_mm: float
    moves_mm: float = 0.0

    @property
    def size(self) -> float:
        """In standard uncertainties."""
        return abs(self.gap_mm) / self.u_mm


def gap_shifts(
    joint: Joint, beliefs: Beliefs, readings: tuple[GapReading, ...] = ()
) -> tuple[GapShift, ...]:
    """The photographs whose gap may disagree with the others', the most suspect first.

    Parameters
    ----------
    joint : Joint
        The solution of `fit_joint`.
    beliefs, readings : as it got them.

    Returns
    -------
    tuple of GapShift
        Empty where all agree, which costs nothing to see.

    Notes
    -----
    A log that sank changes its outline in one photograph by several px, and yet leaves hardly a
    residual: crowns' offset and radii bend to meet it. What is left shows in the common shifts b of
    the two outlines (lower, upper), whose prior is narrow. A shift d added to both residuals of one
    photograph would change the least cost Q by ``Q'(0) = -p (b_l + b_u)``, p the prior's weight, and
    ``Q'' = -p d(b_l + b_u)/dd``; the latter is had by fitting once more with the outlines nudged. So
    ``d = Q' / Q''`` is known with ``u = 1 / sqrt(Q'')``, everything else left free: the score test.
    """
    if len(joint.photos) < FEWEST_TO_COMPARE:
        return ()
    bias_px = beliefs.priors.bias_px
    total = np.array([p.shift_px.sum() for p in joint.photos])
    suspects = np.flatnonzero(np.abs(total) > SUSPECT * bias_px)
    suspects = suspects[np.argsort(-np.abs(total[suspects]))][:AT_MOST]
    at = joint.spline_h.centres()[2:-2]
    out = []
    for i in suspects.tolist():
        photo = joint.photos[i]
        nudged = _with_rows(joint, i, _nudged(photo.rows, NUDGE_PX))
        again = fit_joint(nudged, beliefs, readings, LAST)
        answer = -(float(again.photos[i].shift_px.sum()) - total[i]) / NUDGE_PX
        if answer <= 1e-6:
            continue
        # Of the gap, for one px in each outline.
        both_mm = 2 * joint.distance_mm(photo) / photo.camera.focal_px
        u = bias_px / np.sqrt(answer)
        off = float(total[i] / answer)
        change = (again.sections(at).gap() - joint.sections(at).gap()) / NUDGE_PX
        moves = abs(off) * float(np.sqrt(np.mean(change**2)))
        out.append(GapShift(i, off * both_mm, float(u) * both_mm, moves))
    return tuple(sorted(out, key=lambda s: -s.size))


def _with_rows(joint: Joint, photo: int, rows: PhotoRows) -> Joint:
    """The joint with other rows of one photograph."""
    return joint.observing(rows if k == photo else p.rows for k, p in enumerate(joint.photos))


def _nudged(rows: PhotoRows, px: float) -> PhotoRows:
    """A photograph's rows with both outlines moved into the gap."""
    outlines = [
        replace(o, xy_px=o.xy_px + np.array([0.0, px if o.log == "upper" else -px]))
        for o in rows.outlines
    ]
    return replace(rows, outlines=tuple(outlines))


FEWEST_TO_CHOOSE = 3  # photographs: of two that disagree either may be wrong

CONTRADICTS_U = 3.5  # a shift that chance and right tracing do not make
AGREE_U = 2.0  # what is left between the others
# Of the robust cost that a row of outline makes where all is right: 0.2 to 0.5 on rendered joints.
ROW_COST = 0.4
# Over the whole joint, with cards and priors, it is 0.3 to 1.0. More than this is no noise: an outline
# is centimetres off, and has bent cameras and cards to it as well.
GROSS_COST = 1.5
LEAST_GAIN = 30.0  # of cost, beyond the photograph's rows
# A wrong outline is wrong over some 60 to 100 mm, five to eight rows of the fit at once: differences
# of cost say so much less which photograph it is than independent rows would.
ROWS_ALIKE = 5.0
LEAST_ODDS = 3.0  # of the worst photograph against the next, natural logarithm


@dataclass(frozen=True, slots=True)
class Outlier:
    """The photograph to set aside; ``risk_mm`` is the gap's sd that it was another, all along."""

    photo: int
    gap_mm: float
    risk_mm: float


def find_outlier(joint: Joint, beliefs: Beliefs, shifts: tuple[GapShift, ...]) -> Outlier | None:
    """The one photograph without which the others agree, if there is one beyond reasonable doubt.

    Parameters
    ----------
    joint : Joint
        The solution of `fit_joint` without readings.
    beliefs : as it got them.
    shifts : tuple of GapShift
        From `gap_shifts`; only the photographs named there are tried, but all where the joint fits
        grossly ill.

    Notes
    -----
    Each suspect's outlines are left out of the fit in turn (its cards stay). The cost falls by that of
    its own rows, and by what the contradiction had cost the others; the one with the largest fall
    beyond its rows is the outlier if the others then agree, or if it was grossly off. Half the
    difference to the next one's, over `ROWS_ALIKE`, is the log odds that it is the right one; what
    those odds leave, times how far apart the two solutions' gaps are, is the risk.

    The photograph nearest to level is never set aside: raised ones see far walls, ground and shade
    through a narrower gap and are wrong all along much oftener. Where the cost would rather have the
    level one go, nothing is sure, and nothing is set aside.
    """
    if len(joint.photos) < FEWEST_TO_CHOOSE:
        return None
    gross = fits_grossly_ill(joint)
    if not gross and max((s.size for s in shifts), default=0.0) < CONTRADICTS_U:
        return None
    at = joint.spline_h.centres()[2:-2]
    rows = np.array([_rows(p) for p in joint.photos])
    tried = []
    for photo in np.flatnonzero(rows).tolist() if gross else [s.photo for s in shifts]:
        rest = _with_rows(joint, photo, replace(joint.photos[photo].rows, outlines=()))
        try:
            without = fit_joint(rest, beliefs, (), ANNEAL if gross else LAST)
        except JointNotFitted:
            continue
        gain = joint.cost - without.cost - ROW_COST * rows[photo]
        tried.append((gain, photo, without))
    if not tried:
        return None
    tried.sort(key=lambda t: -t[0])
    (gain, photo, without), *others = tried
    if gain < LEAST_GAIN or photo == _most_level(without):
        return None
    if not gross:
        left = gap_shifts(without, beliefs)
        if max((s.size for s in left), default=0.0) > AGREE_U:
            return None
    risk = 0.0
    for g, _, other in others:
        odds = 0.5 * (gain - g) / ROWS_ALIKE
        if odds < LEAST_ODDS:
            return None
        apart = other.sections(at).gap() - without.sections(at).gap()
        risk += float(np.exp(-odds) * np.mean(apart**2))
    return Outlier(photo, _shows_wider(joint, photo, without), risk**0.5)


def fits_grossly_ill(joint: Joint) -> bool:
    """Whether some outline must be centimetres off its log, whichever it is."""
    return joint.cost > GROSS_COST * sum(_rows(p) for p in joint.photos)


def _rows(photo: FittedPhoto) -> int:
    return sum(len(o.xy_px) for o in photo.rows.outlines)


def _shows_wider(joint: Joint, photo: int, without: Joint) -> float:
    """How much wider a photograph shows the gap than a joint fitted without it has it, mm."""
    fitted = without.photos[photo]
    outlines = joint.photos[photo].rows.outlines
    into_gap = sum(float(np.median(residuals(fitted.camera, o, without)[0])) for o in outlines)
    return -into_gap * without.distance_mm(fitted) / fitted.camera.focal_px


def _most_level(joint: Joint) -> int:
    """The photograph whose sight slopes least."""
    height = 0.5 * (joint.coefficients["h_l"].mean() + joint.coefficients["h_u"].mean())
    across = joint.coefficients["z_l"].mean()
    centres = [p.camera.centre_mm for p in joint.photos]
    return int(np.argmin([abs((c[1] - height) / (c[2] - across)) for c in centres]))
