"""A photograph that contradicts all the others, found by fitting the joint without each in turn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.fit import ANNEAL, Joint, Lens, Priors, View, fit_joint, residuals
from gapvision.moved import GapShift, gap_shifts

FEWEST = 3  # photographs: of two that disagree either may be wrong
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


def find_outlier(
    views: list[View],
    lenses: list[Lens],
    joint: Joint,
    stated: dict,
    priors: Priors,
    shifts: tuple[GapShift, ...],
) -> Outlier | None:
    """The one photograph without which the others agree, if there is one beyond reasonable doubt.

    Parameters
    ----------
    views, lenses, stated, priors : as `fit_joint` got them, without readings.
    joint : Joint
        Its solution.
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
    if len(views) < FEWEST:
        return None
    rows = np.array([sum(len(o.xy_px) for o in v.outlines) for v in views])
    gross = fits_grossly_ill(views, joint)
    if not gross and max((s.size for s in shifts), default=0.0) < CONTRADICTS_U:
        return None
    at = joint.spline_h.centres()[2:-2]
    tried = []
    for photo in np.flatnonzero(rows) if gross else [s.photo for s in shifts]:
        rest = [replace(v, outlines=()) if k == photo else v for k, v in enumerate(views)]
        anneal = ANNEAL if gross else ((1.0, 1e-9),)
        try:
            without = fit_joint(rest, lenses, joint, stated, priors, (), anneal)
        except JointNotFitted:
            continue
        gain = joint.cost - without.cost - ROW_COST * rows[photo]
        tried.append((gain, int(photo), rest, without))
    if not tried:
        return None
    tried.sort(key=lambda t: -t[0])
    (gain, photo, rest, without), *others = tried
    if gain < LEAST_GAIN or photo == _most_level(without):
        return None
    if not gross:
        left = gap_shifts(rest, lenses, without, stated, priors)
        if max((s.size for s in left), default=0.0) > AGREE_U:
            return None
    risk = 0.0
    for g, _, _, other in others:
        odds = 0.5 * (gain - g) / ROWS_ALIKE
        if odds < LEAST_ODDS:
            return None
        apart = other.sections(at).gap() - without.sections(at).gap()
        risk += float(np.exp(-odds) * np.mean(apart**2))
    return Outlier(photo, _shows_wider(views[photo], photo, without), risk**0.5)


def fits_grossly_ill(views: list[View], joint: Joint) -> bool:
    """Whether some outline must be centimetres off its log, whichever it is."""
    rows = sum(len(o.xy_px) for v in views for o in v.outlines)
    return joint.cost > GROSS_COST * rows


def _shows_wider(view: View, photo: int, joint: Joint) -> float:
    """How much wider a photograph shows the gap than a joint fitted without it has it, mm."""
    camera = joint.cameras[photo]
    into_gap = sum(float(np.median(residuals(camera, o, joint)[0])) for o in view.outlines)
    return -into_gap * joint.distance_mm(photo) / camera.focal_px


def _most_level(joint: Joint) -> int:
    """The photograph whose sight slopes least."""
    height = 0.5 * (joint.coefficients["h_l"].mean() + joint.coefficients["h_u"].mean())
    across = joint.coefficients["z_l"].mean()
    rise = [abs((c.centre_mm[1] - height) / (c.centre_mm[2] - across)) for c in joint.cameras]
    return int(np.argmin(rise))
