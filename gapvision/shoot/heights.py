"""The plan of heights: what one photograph is among level, above and below, and which is wanted next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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

ALL_ALONG_MM = 2400.0  # of joint: two photographs side by side show what is shorter, at each height
SHORT_MM = 60.0  # of joint: what is shorter and not seen is bridged
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
    nails_mm : mapping
        Stations of the cards' nails in this photograph, from that of the lowest number.
    """

    cards: tuple[int, ...]
    unread: tuple[int, ...]
    height: str
    off_mm: float
    over_mm: float
    distance_mm: float
    ends: tuple[Place, Place] | None
    nails_mm: Mapping[int, float]


def sight_of(look: Look) -> Sight:
    """What a traced photograph shows by itself."""
    traced, slope, nails = look.traced, slope_of(look.traced), _nails(look)
    distance_mm = float(abs(traced.band.camera.centre_mm[2] - traced.band.z_mm))
    height, off = height_of(slope)
    return Sight(
        tuple(s.number for s in traced.rows.sightings),
        traced.unread_cards,
        height,
        off * distance_mm if abs(off) * distance_mm >= LEAST_OFF_MM else 0.0,
        slope * distance_mm,
        distance_mm,
        _ends(look, nails),
        nails,
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


@dataclass(frozen=True, slots=True)
class Due:
    """Which photograph is due: its height, and the stretch that is not seen yet, where one is stated."""

    height: str
    stretch: tuple[Place, Place] | None = None


def due(sights: Sequence[Sight], ends_mm: tuple[float | None, float | None]) -> Due | None:
    """The photograph to take next; None where measuring tells more.

    Level ones have to show the joint from notch to notch, as far as these are stated. Then a short
    joint wants one from above and one from below; of a long one the answer tells where.

    Parameters
    ----------
    sights : sequence of Sight
        What was photographed from outside.
    ends_mm : pair of float or None
        Stations of the notches.
    """
    nails, shown = _chained(sights)
    level = [ends for sight, ends in shown if sight.height == "level"]
    if not any(sight.height == "level" for sight in sights):
        return Due("level")
    if nails and level and (hole := _hole(level, ends_mm)):
        return Due("level", (_place(hole[0], nails), _place(hole[1], nails)))
    if level and max(b for _, b in level) - min(a for a, _ in level) > ALL_ALONG_MM:
        return None
    there = {sight.height for sight in sights}
    return next((Due(name) for name in HEIGHTS if name not in there), None)


def _chained(
    sights: Sequence[Sight],
) -> tuple[dict[int, float], list[tuple[Sight, tuple[float, float]]]]:
    """The cards' nails by station, from that of the lowest number, and what each photograph shows.

    Only photographs that shared cards tie to it have a station.
    """
    first = min((n for s in sights for n in s.nails_mm), default=None)
    if first is None:
        return {}, []
    nails, shown, left = {first: 0.0}, [], list(sights)
    while tied := [s for s in left if nails.keys() & s.nails_mm.keys()]:
        for sight in tied:
            shared = nails.keys() & sight.nails_mm.keys()
            shift = float(np.mean([nails[n] - sight.nails_mm[n] for n in shared]))
            nails = {n: mm + shift for n, mm in sight.nails_mm.items()} | nails
            if sight.ends is not None:
                first_end, last_end = sight.ends
                shown.append((sight, (first_end.station_mm + shift, last_end.station_mm + shift)))
        left = [s for s in left if s not in tied]
    return nails, shown


def _hole(
    seen_mm: Sequence[tuple[float, float]], ends_mm: tuple[float | None, float | None]
) -> tuple[float, float] | None:
    """The first stretch between the notches, or between what is seen, that is not; short ones count not."""
    first, last = ends_mm
    at = min(a for a, _ in seen_mm) if first is None else first
    end = max(b for _, b in seen_mm) if last is None else last
    for a, b in sorted(seen_mm):
        if min(a, end) - at > SHORT_MM:
            return at, min(a, end)
        at = max(at, b)
    return (at, end) if end - at > SHORT_MM else None


def over_gap_mm(height: str, distances_mm: Sequence[float]) -> float:
    """How high over the gap the lens belongs, from as far away as the other photographs are."""
    distance = float(np.median(distances_mm)) if len(distances_mm) else USUAL_DISTANCE_MM
    return HEIGHTS[height] * distance


def _ends(look: Look, nails: Mapping[int, float]) -> tuple[Place, Place] | None:
    """First and last station that both outlines are seen at, each from the nearest card's nail."""
    trace = look.traced.trace
    both = (trace.upper.state == SEEN) & (trace.lower.state == SEEN)
    if not both.any():
        return None
    seen = trace.station_mm[both]
    return _place(float(seen.min()), nails), _place(float(seen.max()), nails)


def _place(station_mm: float, nails: Mapping[int, float]) -> Place:
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
