"""What the builder decides beside the setting: lower first or scribe, which cover, what follows.

Computed from the fitted joint's draws after `gap.py`, each part by a module of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.advice.course import U_HEIGHT_MM, Course, follow
from gapvision.advice.covers import Covers, other_covers
from gapvision.advice.draws import drawn_sections, draws_of
from gapvision.advice.limits import Judged, Limited, judge
from gapvision.advice.lowering import Lowering, lower_first
from gapvision.inputs.options import MeasureOptions
from gapvision.inputs.rules import in_force
from gapvision.joint.gap import Drawn, Groove, spread
from gapvision.joint.model import Joint
from gapvision.scene.priors import Half

U_TAPE_MM = 3.0  # of a diameter somebody taped and stated; a judgement


@dataclass(frozen=True, eq=False, slots=True)
class Decision:
    """The parts, and the stations (n,) mm that their arrays are at: those shown.

    ``groove_width_mm`` (n,) is at the setting; the diameters (n,) are as stated, else as the crowns
    have them. ``rules`` names the published set, ``heights_outside_mm`` the stations that lie outside
    the measured stretch, so that no height is told there. ``lowering`` and ``course`` are None
    only where a file that was read back lacks them.
    """

    station_mm: np.ndarray
    groove_width_mm: np.ndarray
    upper_diameter_mm: np.ndarray
    lower_diameter_mm: np.ndarray
    lowering: Lowering | None
    covers: Covers
    course: Course | None
    rules: str
    judged: tuple[Judged, ...]
    heights_outside_mm: tuple[float, ...]


def decide(
    joint: Joint,
    drawn: Drawn,
    u_label_mm: np.ndarray,
    options: MeasureOptions,
    ends_mm: tuple[float, float],
    half: dict[str, Half | None],
    groove: Groove,
) -> Decision:
    """All that is decided from a fitted joint.

    Parameters
    ----------
    joint : Joint
    drawn : Drawn
        Its draws at the stations shown (n,).
    u_label_mm : array, shape (n,)
        What wrongly labelled outlines may add to the gap there, sd.
    options : MeasureOptions
    ends_mm : the measured stretch.
    half : ``"upper"``/``"lower"`` -> stated half diameter by station, or None.
    groove : at the setting that is answered.

    Raises
    ------
    JointNotFitted
        As `course.follow`.
    """
    draws, needed, station_mm = draws_of(drawn, u_label_mm), drawn.needed_mm, drawn.station_mm
    asked = options.to_decide
    inside = [ends_mm[0] <= x <= ends_mm[1] for x in asked.heights_at_mm]
    course = follow(
        draws,
        lambda x: drawn_sections(joint, x),
        groove.set_to_mm,
        asked.underscribe_mm,
        tuple(x for x, ok in zip(asked.heights_at_mm, inside, strict=True) if ok),
        half["upper"],
        options.units,
    )
    upper, u_upper = _diameter(draws.sections.r_u, half["upper"], station_mm)
    lower, u_lower = _diameter(draws.sections.r_l, half["lower"], station_mm)
    limited = Limited(
        station_mm, groove.width_mm, groove.u_width_mm, course.depth_mm, course.depth_u_mm,
        upper, u_upper, lower, u_lower,
    )  # fmt: skip
    return Decision(
        station_mm=station_mm,
        groove_width_mm=groove.width_mm,
        upper_diameter_mm=upper,
        lower_diameter_mm=lower,
        lowering=lower_first(
            draws, needed, ends_mm, options.stretch.stated, groove.set_to_mm, asked.lower_to_mm,
            options.scriber, options.units,
        ),
        covers=other_covers(
            draws, options.cover_mm, needed, asked.covers_mm, options.units, options.scriber.step_mm
        ),
        course=course,
        rules=asked.rules,
        judged=judge(in_force(asked.rules, asked.limits), limited),
        heights_outside_mm=tuple(
            x for x, ok in zip(asked.heights_at_mm, inside, strict=True) if not ok
        ),
    )  # fmt: skip


def _diameter(
    radius_mm: np.ndarray, half: Half | None, station_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """A log's diameter (n,) and its u: as stated, else twice the crown's radius (d, n)."""
    if half is not None:
        value = 2 * np.broadcast_to(half(station_mm), station_mm.shape)
        return value, np.full(station_mm.shape, U_TAPE_MM)
    return 2 * radius_mm.mean(0, dtype=float), np.hypot(2 * spread(radius_mm), U_HEIGHT_MM)
