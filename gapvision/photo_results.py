"""What the answer says of each photograph and card."""

from __future__ import annotations

import math

import numpy as np

from gapvision.cameras import CameraKey
from gapvision.findings import near
from gapvision.fit import Joint, Outline, View, residuals
from gapvision.outlines import HIDDEN, OUTSIDE, SEEN, SHUT, UNSURE, Trace
from gapvision.result import CardResult, LineStep, PhotoResult
from gapvision.sight import LEAST_BLOCKS, Sight
from gapvision.steps import largest_step


def left_out_result(sight: Sight, why: str) -> PhotoResult:
    """A photograph that shows cards and joint and yet is of no use."""
    return PhotoResult(
        str(sight.photo.path), sight.photo.sha256, sight.view.side, False, why,
        cards=tuple(c.number for c in sight.view.sightings), camera=_camera(sight),
        taken=sight.photo.taken, label=sight.photo.file,
    )  # fmt: skip


def photo_result(
    sight: Sight, views: list[View], joint: Joint, index: int, scale: float
) -> PhotoResult:
    """Of one photograph in use, the joint's ``index``-th, in true mm: ``scale`` of the card's."""
    camera = joint.cameras[index]
    middle = float(np.mean(joint.coefficients["z_l"]))
    trace = sight.trace
    mid_px = 0.5 * (trace.upper.xy_px + trace.lower.xy_px)
    axis = camera.plane_point(mid_px, middle)[:, 0]
    heights = joint.sections(np.clip(axis, axis.min(), axis.max()))
    level = 0.5 * (float(np.mean(heights.h_l)) + float(np.mean(heights.h_u)))
    miss = np.concatenate(list(joint.residual_px[index].values()) or [np.array([np.nan])])
    either = (trace.upper.state == SEEN) | (trace.lower.state == SEEN)
    both = (trace.upper.state == SEEN) & (trace.lower.state == SEEN)
    seen = (
        axis[both if both.sum() >= LEAST_BLOCKS else either] if either.any() else np.array([np.nan])
    )
    return PhotoResult(
        file=str(sight.photo.path), sha256=sight.photo.sha256, side=sight.view.side, used=True,
        height_mm=float(camera.centre_mm[1] - level) * scale,
        distance_mm=joint.distance_mm(index) * scale,
        from_mm=float(seen.min()) * scale, to_mm=float(seen.max()) * scale,
        cards=tuple(s.number for s in sight.view.sightings), unread_cards=sight.unread_cards,
        steps=tuple(_steps(trace, axis, views, joint, index, scale)),
        lens=sight.photo.focal_source,
        camera=_camera(sight), taken=sight.photo.taken,
        residual_px=float(np.median(np.abs(miss))) * 1.4826,
        upper_px=trace.upper.xy_px[trace.upper.state == SEEN],
        lower_px=trace.lower.xy_px[trace.lower.state == SEEN],
        axis_px=mid_px, axis_station_mm=axis * scale, axis_state=_states(trace),
        label=sight.photo.file,
    )  # fmt: skip


def _steps(trace: Trace, axis: np.ndarray, views: list[View], joint: Joint, index: int, scale):
    for log in ("upper", "lower"):
        line = getattr(trace, log)
        nobody = np.zeros(len(line.row))
        if largest_step(line, trace.mm_per_px, nobody, nobody) is None:
            continue  # as nearly always; what the others show takes time
        whole = Outline(log, line.xy_px, np.ones(len(line.xy_px)))
        miss, station = residuals(joint.cameras[index], whole, joint)
        others = np.zeros(len(station), int)
        for k, view in enumerate(views):
            for o in (o for o in view.outlines if o.log == log and k != index):
                others += near(station, residuals(joint.cameras[k], o, joint)[1])
        found = largest_step(line, trace.mm_per_px, miss, others)
        if found is not None:
            step_mm, block = found
            yield LineStep(log, float(axis[block]) * scale, step_mm * scale)


def card_results(
    joint: Joint, photos: tuple[PhotoResult, ...], scale: float
) -> tuple[CardResult, ...]:
    """Of every card of the joint, in true mm, with the photographs that show it."""
    return tuple(
        CardResult(
            c.number, c.side, float(c.nail_mm[0]) * scale, -math.degrees(float(c.tilt_rad[0])),
            tuple(p.name for p in photos if c.number in p.cards),
        )
        for c in joint.cards
    )  # fmt: skip


def _camera(sight: Sight) -> CameraKey:
    """As `cameras.key_of`, when the pixels are let go."""
    photo, (width, height) = sight.photo, sight.view.size
    return CameraKey(
        photo.make, photo.model, photo.lens, max(width, height), min(width, height),
        photo.focal35_mm,
    )  # fmt: skip


def _states(trace: Trace) -> np.ndarray:
    """What holds for both outlines by block: seen where both are, else what hinders most."""
    out = np.full(len(trace.upper.state), UNSURE)
    for state in (SHUT, HIDDEN, OUTSIDE):
        out[(trace.upper.state == state) | (trace.lower.state == state)] = state
    out[(trace.upper.state == SEEN) & (trace.lower.state == SEEN)] = SEEN
    return out
