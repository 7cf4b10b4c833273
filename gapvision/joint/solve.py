"""What the photographs alone tell: connected by cards, fitted, traced again, fitted again -> Solved."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from gapvision.inputs.diameters import stated_radii
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.connect import Connected, connect_photographs
from gapvision.joint.disagreement import (
    CONTRADICTS_U,
    GapShift,
    Outlier,
    find_outlier,
    fits_grossly_ill,
    gap_shifts,
    u_label,
    u_shift,
)
from gapvision.joint.first_joint import first_joint
from gapvision.joint.fit import REFINE, fit_joint
from gapvision.joint.gather import Gathered
from gapvision.joint.model import FittedPhoto, Joint, residuals
from gapvision.joint.photo_results import PhotoResult
from gapvision.scene.photo_rows import OutlineRows, PhotoRows
from gapvision.scene.priors import Beliefs, Priors
from gapvision.trace.outlines import Trace
from gapvision.trace.rows import outlines_of, rough_mm, slope_of
from gapvision.trace.traced_photo import TracedPhoto, retrace

BEYOND_MM = 120.0  # fitted past the asked stretch, so that its ends are not the spline's


@dataclass(frozen=True, eq=False, slots=True)
class Solved:
    """The joint that the photographs alone tell, in which `photos` stand in the order of its own.

    ``stretch_mm`` is what was asked for or seen, ``left_out`` what nothing connects. ``aside`` holds
    photographs that contradict the others, each perhaps the right one; ``contradict`` says that some do
    by centimetres and that it cannot be told which.
    """

    photos: tuple[TracedPhoto, ...]
    joint: Joint
    beliefs: Beliefs
    stretch_mm: tuple[float, float]
    left_out: tuple[PhotoResult, ...]
    shifts: tuple[GapShift, ...]
    aside: tuple[tuple[TracedPhoto, Outlier], ...]
    contradict: bool

    @property
    def disagrees(self) -> bool:
        """Whether some photograph's outlines contradict the others' beyond chance."""
        far = any(x.size > CONTRADICTS_U for x in self.shifts)
        return bool(self.aside) or self.contradict or far or fits_grossly_ill(self.joint)

    def pairs(self) -> list[tuple[TracedPhoto, FittedPhoto]]:
        """Each photograph as it was traced and as it stands in the joint."""
        return list(zip(self.photos, self.joint.photos, strict=True))

    def risk_mm(self, station_mm: np.ndarray) -> np.ndarray:
        """What wrong outlines may add to the gap at stations (n,), sd, mm."""
        label = u_label([(p.trace, f) for p, f in self.pairs()], self.joint, station_mm)
        apart = math.hypot(u_shift(self.shifts), *(o.risk_mm for _, o in self.aside))
        return np.hypot(label, apart)


def solve(
    options: MeasureOptions,
    given: Gathered,
    priors: Priors,
    aside: tuple[tuple[TracedPhoto, Outlier], ...] = (),
) -> Solved:
    """The joint of all photographs.

    A photograph that contradicts the others is set aside, and the rest is solved anew: one that is
    grossly off before the second look, which would follow the joint that it has bent.

    Raises
    ------
    JointNotFitted
        As `connect.connect_photographs` and `fit.fit_joint`.
    """
    connected = connect_photographs(options, given, priors)
    photos = tuple(p.traced for p in connected.placed.photos)

    def without(outlier: Outlier) -> Solved:
        wrong = photos[outlier.photo]
        rest = tuple(p for p in given.photos if p.facts is not wrong.facts)
        return solve(options, replace(given, photos=rest), priors, (*aside, (wrong, outlier)))

    stretch = connected.stretch_mm
    beliefs = Beliefs(given.lenses, stated_radii(options, stretch), priors)
    rough = rough_mm([slope_of(p) for p in photos], [p.rows.side for p in photos])
    joint = _first_fit(connected, beliefs, rough)
    if outlier := find_outlier(joint, beliefs, ()):
        return without(outlier)
    contradict = fits_grossly_ill(joint)
    photos = tuple(_second_look(p, f, joint) for p, f in zip(photos, joint.photos, strict=True))
    traces = [p.trace for p in photos]
    joint = fit_joint(_observing(joint, traces, stretch, rough), beliefs, (), REFINE)
    shifts = gap_shifts(joint, beliefs)
    if outlier := find_outlier(joint, beliefs, shifts):
        return without(outlier)
    return Solved(photos, joint, beliefs, stretch, connected.left_out, shifts, aside, contradict)


def _first_fit(connected: Connected, beliefs: Beliefs, rough: float) -> Joint:
    """The joint as the photographs, each traced by itself, have it."""
    placed, (low, high) = connected.placed, connected.stretch_mm
    traces = [p.traced.trace for p in placed.photos]
    photos = [
        FittedPhoto(replace(p.traced.rows, outlines=outlines_of(p.traced.trace, rough)), p.camera)
        for p in placed.photos
    ]
    start = first_joint(photos, placed.cards, (low - BEYOND_MM, high + BEYOND_MM), beliefs)
    return fit_joint(_observing(start, traces, connected.stretch_mm, rough), beliefs)


def _observing(
    joint: Joint, traces: list[Trace], stretch_mm: tuple[float, float], rough: float
) -> Joint:
    """The joint with the rows of these traces, one a photograph, that lie in the fitted stretch."""
    return joint.observing(
        _within(p, trace, joint, stretch_mm, rough)
        for p, trace in zip(joint.photos, traces, strict=True)
    )


def _within(
    photo: FittedPhoto, trace: Trace, joint: Joint, stretch_mm: tuple[float, float], rough: float
) -> PhotoRows:
    out = []
    for o in outlines_of(trace, rough):
        _, station = residuals(photo.camera, o, joint)
        keep = (station > stretch_mm[0] - BEYOND_MM) & (station < stretch_mm[1] + BEYOND_MM)
        if keep.any():
            out.append(replace(o, xy_px=o.xy_px[keep], u_px=o.u_px[keep]))
    return replace(photo.rows, outlines=tuple(out))


def _second_look(photo: TracedPhoto, fitted: FittedPhoto, joint: Joint) -> TracedPhoto:
    """Trace again near where the joint of all photographs says that the outlines are."""
    guides = []
    for log, into_gap in (("upper", 1.0), ("lower", -1.0)):
        line = getattr(photo.trace, log)
        every = OutlineRows(log, line.xy_px, np.ones(len(line.xy_px)))
        miss, _ = residuals(fitted.camera, every, joint)
        guides.append(line.xy_px - np.stack([0 * miss, into_gap * miss], 1))
    return retrace(photo, *guides)
