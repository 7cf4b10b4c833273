"""Whether the logs lay alike in all photographs: how far off one shows the gap, by the others."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gapvision.fit import GapReading, Joint, Lens, Priors, View, fit_joint

SUSPECT = 0.3  # of the prior of one outline's common shift, both together; less is left alone
NUDGE_PX = 0.5
AT_MOST = 3  # photographs looked into, the most suspect ones: each costs a fit
FEWEST = 2


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
    views: list[View],
    lenses: list[Lens],
    joint: Joint,
    stated: dict,
    priors: Priors,
    readings: tuple[GapReading, ...] = (),
) -> tuple[GapShift, ...]:
    """The photographs whose gap may disagree with the others', the most suspect first.

    Parameters
    ----------
    views, lenses, stated, priors, readings : as `fit_joint` got them.
    joint : Joint
        Its solution.

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
    if len(views) < FEWEST:
        return ()
    total = joint.bias_px.sum(1)
    suspects = np.flatnonzero(np.abs(total) > SUSPECT * priors.bias_px)
    suspects = suspects[np.argsort(-np.abs(total[suspects]))][:AT_MOST]
    at = joint.spline_h.centres()[2:-2]
    out = []
    for i in suspects:
        nudged = [_nudged(v, NUDGE_PX) if k == i else v for k, v in enumerate(views)]
        again = fit_joint(nudged, lenses, joint, stated, priors, readings, ((1.0, 1e-9),))
        answer = -(float(again.bias_px[i].sum()) - total[i]) / NUDGE_PX
        if answer <= 1e-6:
            continue
        # Of the gap, for one px in each outline.
        both_mm = 2 * joint.distance_mm(i) / joint.cameras[i].focal_px
        u = priors.bias_px / np.sqrt(answer)
        off = float(total[i] / answer)
        change = (again.sections(at).gap() - joint.sections(at).gap()) / NUDGE_PX
        moves = abs(off) * float(np.sqrt(np.mean(change**2)))
        out.append(GapShift(int(i), off * both_mm, float(u) * both_mm, moves))
    return tuple(sorted(out, key=lambda s: -s.size))


def _nudged(view: View, px: float) -> View:
    """The view with both outlines moved into the gap."""
    outlines = [
        replace(o, xy_px=o.xy_px + np.array([0.0, px if o.log == "upper" else -px]))
        for o in view.outlines
    ]
    return replace(view, outlines=tuple(outlines))
