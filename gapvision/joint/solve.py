"""All photographs' sights -> the joint: tied, fitted, traced again near the fit, fitted again.

A photograph that contradicts the others is set aside on the way, and the rest solved anew.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from gapvision.inputs.diameters import stated_radii
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.disagreement import (
    GapShift,
    Outlier,
    find_outlier,
    fits_grossly_ill,
    gap_shifts,
    u_label,
    u_shift,
)
from gapvision.joint.fit import REFINE, fit_joint
from gapvision.joint.model import Joint, residuals
from gapvision.joint.photo_results import PhotoResult
from gapvision.joint.start import first_joint
from gapvision.joint.tie import tie_photographs
from gapvision.photo.pose import place_cards
from gapvision.scene.priors import Priors
from gapvision.scene.view import Outline, View
from gapvision.trace.rows import outlines_of, rough_mm, slope_of
from gapvision.trace.sight import Sight, retrace

BEYOND_MM = 120.0  # fitted past the asked stretch, so that its ends are not the spline's


@dataclass(frozen=True, eq=False, slots=True)
class _Solved:
    """What the photographs alone tell: those that are tied, the joint fitted to them, the stretch.

    ``aside`` holds photographs that contradict the others, each perhaps the right one;
    ``contradict`` says that some do by centimetres and that it cannot be told which.
    """

    sights: list[Sight]
    views: list[View]
    joint: Joint
    stretch: tuple[float, float]
    untied: tuple[PhotoResult, ...]
    radii: dict
    shifts: tuple[GapShift, ...]
    aside: tuple[tuple[Sight, Outlier], ...]
    contradict: bool

    def risk(self, joint: Joint, shifts: tuple[GapShift, ...], station_mm: np.ndarray):
        """What wrong outlines may add to the gap at stations (n,), sd, mm."""
        label = u_label(self.sights, self.views, joint, station_mm)
        return np.hypot(label, math.hypot(u_shift(shifts), *(o.risk_mm for _, o in self.aside)))


def _solve(
    options: MeasureOptions, given: list[Sight], lenses, priors: Priors, aside: tuple = ()
) -> _Solved:
    """All photographs' sights -> the joint: tied by cards, fitted, traced again, fitted again.

    A photograph that contradicts the others is set aside, and the rest is solved anew: one that is
    grossly off before the second look, which would follow the joint that it has bent.
    """

    def without(outlier: Outlier) -> _Solved:
        wrong = sights[outlier.photo]
        rest = [s for s in given if s.photo is not wrong.photo]
        return _solve(options, rest, lenses, priors, (*aside, (wrong, outlier)))

    sights = given
    views = [s.view for s in sights]
    placed = place_cards(views, lenses, options.card_on)
    sights, views, placed, stretch, untied = tie_photographs(options, sights, views, placed, priors)
    radii = stated_radii(options, stretch)
    rough = rough_mm([slope_of(s) for s in sights], [s.view.side for s in sights])
    joint = _fit(sights, views, lenses, placed, stretch, radii, priors, rough)
    if outlier := find_outlier(views, lenses, joint, radii, priors, ()):
        return without(outlier)
    contradict = fits_grossly_ill(views, joint)
    sights = [_second_look(s, joint, i) for i, s in enumerate(sights)]
    views = [
        replace(v, outlines=_within(s, joint, i, stretch, rough))
        for i, (s, v) in enumerate(zip(sights, views, strict=True))
    ]
    joint = fit_joint(views, lenses, joint, radii, priors, (), REFINE)
    shifts = gap_shifts(views, lenses, joint, radii, priors)
    if outlier := find_outlier(views, lenses, joint, radii, priors, shifts):
        return without(outlier)
    return _Solved(sights, views, joint, stretch, tuple(untied), radii, shifts, aside, contradict)


def _fit(sights, views, lenses, placed, stretch, radii, priors, rough: float) -> Joint:
    views[:] = [
        replace(v, outlines=outlines_of(s.trace, rough)) for s, v in zip(sights, views, strict=True)
    ]
    reach = stretch[0] - BEYOND_MM, stretch[1] + BEYOND_MM
    start = first_joint(placed, views, lenses, reach, radii, priors)
    for i, s in enumerate(sights):
        views[i] = replace(views[i], outlines=_within(s, start, i, stretch, rough))
    return fit_joint(views, lenses, start, radii, priors)


def _within(sight: Sight, joint: Joint, index: int, stretch, rough: float) -> tuple:
    """The photograph's outline points that lie in the fitted stretch."""
    out = []
    for o in outlines_of(sight.trace, rough):
        _, station = residuals(joint.cameras[index], o, joint)
        keep = (station > stretch[0] - BEYOND_MM) & (station < stretch[1] + BEYOND_MM)
        if keep.any():
            out.append(replace(o, xy_px=o.xy_px[keep], u_px=o.u_px[keep]))
    return tuple(out)


def _second_look(sight: Sight, joint: Joint, index: int) -> Sight:
    """Trace again near where the joint of all photographs says that the outlines are."""
    camera = joint.cameras[index]
    guides = []
    for log, into_gap in (("upper", 1.0), ("lower", -1.0)):
        line = getattr(sight.trace, log)
        u = np.ones(len(line.xy_px))
        miss, _ = residuals(camera, Outline(log, line.xy_px, u), joint)
        guides.append(line.xy_px - np.stack([0 * miss, into_gap * miss], 1))
    return retrace(sight, *guides)
