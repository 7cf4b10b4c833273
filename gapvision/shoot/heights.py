"""The plan of heights: what one photograph is among level, above and below, and which is wanted next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gapvision.advice.findings import HEIGHTS_APART, STEEPER, STEEPEST
from gapvision.photo.pose import card_pose, nail_between
from gapvision.quantity import Place
from gapvision.shoot.ways import LEVEL, USUAL_DISTANCE_MM
from gapvision.trace.outlines import SEEN
from gapvision.trace.rows import slope_of

if TYPE_CHECKING:
    from gapvision.joint.gather import Look

LEAST_OFF_MM = 10.0  # nobody holds a phone more exactly
HEIGHTS = {"level": 0.0, "above": STEEPER, "below": -STEEPER}  # slopes of sight, in walking order


@dataclass(frozen=True, slots=True)
class Sight:
    """What one photograph shows by itself, mm.

    Attributes
    ----------
    cards, unread : tuple of int
        Numbers of those read, and of those of which only parts are seen.
    height : str
        Which of `HEIGHTS` it is nearest to.
    off_mm : float
        How much higher the lens was than is good for that; 0 where it was right.
    over_mm : float
        How much higher than the gap it was.
    distance_mm : float
        Of the lens from the logs.
    ends : pair of Place, or None
        From where to where both outlines are seen; None where nowhere both are.
    """

    cards: tuple[int, ...]
    unread: tuple[int, ...]
    height: str
    off_mm: float
    over_mm: float
    distance_mm: float
    ends: tuple[Place, Place] | None


def sight_of(look: Look) -> Sight:
    """What a traced photograph shows by itself."""
    traced, slope = look.traced, slope_of(look.traced)
    distance_mm = float(abs(traced.band.camera.centre_mm[2] - traced.band.z_mm))
    height, off = height_of(slope)
    return Sight(
        tuple(s.number for s in traced.rows.sightings),
        traced.unread_cards,
        height,
        off * distance_mm if abs(off) * distance_mm >= LEAST_OFF_MM else 0.0,
        slope * distance_mm,
        distance_mm,
        _ends(look),
    )


def height_of(slope: float) -> tuple[str, float]:
    """Which height a slope of sight belongs to, and how far it lies outside what is good for that.

    Examples
    --------
    >>> height_of(0.02), height_of(-0.06), height_of(0.25)
    (('level', 0.0), ('level', -0.06), ('above', 0.0))
    """
    name = min(HEIGHTS, key=lambda n: abs(slope - HEIGHTS[n]))
    if name == "level":
        return name, 0.0 if abs(slope) <= LEVEL else float(slope)
    low, high = sorted(np.sign(HEIGHTS[name]) * np.array([HEIGHTS_APART, STEEPEST]))
    return name, float(slope - np.clip(slope, low, high))


def next_height(heights: Iterable[str]) -> str | None:
    """The first of `HEIGHTS` that no photograph is of yet; None where there are all."""
    there = set(heights)
    return next((name for name in HEIGHTS if name not in there), None)


def over_gap_mm(height: str, distances_mm: Sequence[float]) -> float:
    """How high over the gap the lens belongs, from as far away as the other photographs are."""
    distance = float(np.median(distances_mm)) if len(distances_mm) else USUAL_DISTANCE_MM
    return HEIGHTS[height] * distance


def _ends(look: Look) -> tuple[Place, Place] | None:
    """First and last station that both outlines are seen at, each from the nearest card's nail."""
    trace = look.traced.trace
    both = (trace.upper.state == SEEN) & (trace.lower.state == SEEN)
    if not both.any():
        return None
    nails = _nails(look)
    seen = trace.station_mm[both]
    return tuple(_place(float(mm), nails) for mm in (seen.min(), seen.max()))


def _place(station_mm: float, nails: dict[int, float]) -> Place:
    near = min(nails, key=lambda number: abs(nails[number] - station_mm))
    return Place(station_mm, near, station_mm - nails[near])


def _nails(look: Look) -> dict[int, float]:
    """The stations of the cards' nails, from that of the lowest number, seen from its own side."""
    rows, size = look.traced.rows, look.traced.facts.size
    first, *others = sorted(rows.sightings, key=lambda s: s.number)
    camera = card_pose(first, look.lens, size)
    nails = {first.number: 0.0}
    for other in others:
        middle = camera.plane_point(other.corner_px.mean(axis=0)[None], 0.0)[0, 0]
        apart = nail_between(first, other, look.lens, size)
        nails[other.number] = float(np.sign(middle) * apart)
    return nails
