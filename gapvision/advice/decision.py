"""What the builder decides beside the setting: lower first or scribe, which cover, what follows.

Computed from the fitted joint's draws after `gap.py`, each part by a module of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.advice.course import U_HEIGHT_MM, Course, Half, follow
from gapvision.advice.covers import Covers, other_covers
from gapvision.advice.draws import true_draws, true_sections
from gapvision.advice.limits import Judged, Limited, judge
from gapvision.advice.lowering import Lowering, lower_first
from gapvision.inputs.options import MeasureOptions
from gapvision.inputs.rules import in_force
from gapvision.joint.gap import spread
from gapvision.joint.model import Joint

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
    station_mm: np.ndarray,
    u_label_mm: np.ndarray,
    scale: float,
    options: MeasureOptions,
    ends_mm: tuple[float, float],
    half: dict[str, Half | None],
    cover_mm: float,
    set_to_mm: float,
    groove: tuple[np.ndarray, np.ndarray],
) -> Decision:
    """All that is decided from a fitted joint.

    Parameters
    ----------
    joint : Joint
        In the card's millimetres; ``scale`` is true millimetres for each of those. All else is true.
    station_mm, u_label_mm : arrays, shape (n,)
        Stations shown, and what wrongly labelled outlines may add to the gap there, sd.
    options : MeasureOptions
        Of which only lengths are read that `stated.in_card_mm` leaves alone.
    ends_mm : the measured stretch.
    half : ``"upper"``/``"lower"`` -> stated half diameter by station, or None.
    groove : width (n,) at the setting, and its standard uncertainty.

    Raises
    ------
    JointNotFitted
        As `course.follow`.
    """
    draws = true_draws(joint, station_mm, u_label_mm, scale)
    needed = draws.sections.setting_needed(cover_mm)
    stated = options.from_mm is not None and options.to_mm is not None
    inside = [ends_mm[0] <= x <= ends_mm[1] for x in options.heights_at_mm]
    course = follow(
        draws,
        lambda x: true_sections(joint, x, scale),
        set_to_mm,
        options.underscribe_mm,
        tuple(x for x, ok in zip(options.heights_at_mm, inside, strict=True) if ok),
        half["upper"],
        options.units,
    )
    upper, u_upper = _diameter(draws.sections.r_u, half["upper"], station_mm)
    lower, u_lower = _diameter(draws.sections.r_l, half["lower"], station_mm)
    limited = Limited(
        station_mm, *groove, course.depth_mm, course.depth_u_mm, upper, u_upper, lower, u_lower
    )  # fmt: skip
    return Decision(
        station_mm=station_mm,
        groove_width_mm=groove[0],
        upper_diameter_mm=upper,
        lower_diameter_mm=lower,
        lowering=lower_first(
            draws, needed, ends_mm, stated, set_to_mm, options.lower_to_mm,
            options.scriber_largest_mm, options.units, options.scriber_step_mm,
        ),
        covers=other_covers(
            draws, cover_mm, needed, options.covers_mm, options.units, options.scriber_step_mm
        ),
        course=course,
        rules=options.rules,
        judged=judge(in_force(options.rules, options.limits), limited),
        heights_outside_mm=tuple(
            x for x, ok in zip(options.heights_at_mm, inside, strict=True) if not ok
        ),
    )  # fmt: skip


def _diameter(
    radius_mm: np.ndarray, half: Half | None, station_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """A log's diameter (n,) and its u: as stated, else twice the crown's radius (d, n)."""
    if half is not None:
        value = 2 * np.broadcast_to(half(station_mm), station_mm.shape)
        return value, np.full(station_mm.shape, U_TAPE_MM)
    return 2 * radius_mm.mean(0), np.hypot(2 * spread(radius_mm), U_HEIGHT_MM)
