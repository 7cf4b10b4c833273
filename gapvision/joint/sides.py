"""Which side of the wall a photograph was taken from, and how the two sides fit together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.joint.placed import PlacedPhoto, Placement
from gapvision.scene.photo_rows import CardSighting
from gapvision.trace.outlines import SEEN
from gapvision.trace.traced_photo import TracedPhoto

SEARCH_MM = 1500.0
STEP_MM = 5.0
FAR_MM = 20.0  # apart: two outlines that are not the same
ALIKE_MM = 80.0  # of an outline, over which its height goes one way
READ_MM = 0.5  # to which outlines of two sides agree at best
APART_MM = 60.0  # two slides that are not one
# Natural log of a slide against strangers, and against the next slide. Of 65 pairs of other logs the
# best slide reached 21; the same logs reach 20 to 30 where 600 mm are shared and 40 to 64 over 1300.
LEAST_GAIN, LEAST_ODDS = 25.0, 5.0
LEVEL = 0.12  # slopes of sight that are alike
LEAST_SHARED_MM = 400.0


def side_of(sightings: list[CardSighting], given: str, inside_cards: tuple[int, ...]) -> str:
    """The side a photograph was taken from: as given, or by the cards named as hanging inside."""
    if not inside_cards:
        return given
    return "inside" if any(s.number in inside_cards for s in sightings) else given


def check_sides(photos: Iterable[TracedPhoto]) -> None:
    """Refuse a card that is seen from both sides of the wall.

    Raises
    ------
    JointNotFitted
        Naming the card.
    """
    sides: dict[int, set[str]] = {}
    for rows in (p.rows for p in photos):
        for s in rows.sightings:
            sides.setdefault(s.number, set()).add(rows.side)
    for number, seen in sorted(sides.items()):
        if len(seen) > 1:
            raise JointNotFitted(
                "card-on-both-sides",
                f"Card {number} is seen from outside and from inside; each side needs cards of its "
                "own: print another number for the inner side, or correct --inside.",
            )


def check_inside_cards(photos: Iterable[TracedPhoto], inside_cards: tuple[int, ...]) -> None:
    """Refuse a card stated to hang inside that no photograph shows: another one may be meant.

    Raises
    ------
    JointNotFitted
        Naming the card.
    """
    seen = {s.number for p in photos for s in p.rows.sightings}
    for number in inside_cards:
        if number not in seen:
            raise JointNotFitted(
                "inside-card-unseen",
                f"Card {number} was stated to hang inside (--inside-cards), and no photograph shows "
                f"it; seen are {', '.join(str(n) for n in sorted(seen))}: correct it or leave it out.",
            )


def connect_sides(placed: Placement, half_mm: float, thickness_mm: float | None) -> Placement:
    """Move the inside's cameras and cards to where its outlines match the outside's.

    Notes
    -----
    Both sides see the same two logs: their outlines, as heights along the wall, are slid over each
    other until they agree best but for a rise and a lean. Only the photographs nearest to level
    count, where a side has some: steep ones see other lines of the logs. The cards stand
    ``half_mm`` before the logs' axes on either face, or ``thickness_mm`` apart.

    Raises
    ------
    JointNotFitted
        Where no slide is clearly the likeliest.
    """
    outside, inside = placed.of_side("outside"), placed.of_side("inside")
    if not inside.photos or not outside.photos:
        return placed
    z_out, z_in = (
        float(np.median([c.nail_mm[2] for c in side.cards.values()])) for side in (outside, inside)
    )
    through = thickness_mm if thickness_mm is not None else 2 * half_mm
    half = through / 2
    height = float(np.median([c.nail_mm[1] for c in placed.cards.values()]))
    curves_out = _curves(_level(outside.photos, height, z_out - half), z_out - half)
    curves_in = _curves(_level(inside.photos, height, z_in + half), z_in + half)
    slides = np.arange(-SEARCH_MM, SEARCH_MM + 1, STEP_MM)
    tried = [_match(curves_out, curves_in, slide) for slide in slides]
    gain = np.array([t[0] for t in tried])
    best = int(np.argmax(gain))
    rival = gain[np.abs(slides - slides[best]) > APART_MM].max()
    if gain[best] < LEAST_GAIN or gain[best] - rival < LEAST_ODDS:
        raise JointNotFitted(
            "sides-untied",
            "The photographs from the two sides show too little of the joint alike to be tied; "
            "photograph the same 1000 mm or more from both sides, level with the gap.",
        )
    move = np.array([slides[best], tried[best][1], z_out - through - z_in])
    photos = tuple(
        replace(p, camera=replace(p.camera, centre_mm=p.camera.centre_mm + move))
        if p.side == "inside"
        else p
        for p in placed.photos
    )
    cards = {
        n: replace(c, nail_mm=c.nail_mm + move) if c.side == "inside" else c
        for n, c in placed.cards.items()
    }
    return Placement(photos, cards)


def _curves(photos: Sequence[PlacedPhoto], z_mm: float) -> np.ndarray:
    """Heights of both outlines (2, n) on a common grid of stations, median over photographs."""
    grid = np.arange(-8000.0, 8000.0, STEP_MM)
    curves = []
    for log in ("lower", "upper"):
        rows = []
        for photo in photos:
            line = getattr(photo.traced.trace, log)
            ok = line.state == SEEN
            if ok.sum() < 5:
                continue
            p = photo.camera.plane_point(line.xy_px[ok], z_mm)
            order = np.argsort(p[:, 0])
            x, y = p[order, 0], p[order, 1]
            value = np.interp(grid, x, y, left=np.nan, right=np.nan)
            near = np.abs(grid - x[np.clip(np.searchsorted(x, grid), 0, len(x) - 1)]) < 20
            rows.append(np.where(near, value, np.nan))
        full = np.full((1, len(grid)), np.nan) if not rows else np.array(rows)
        with np.errstate(all="ignore"):
            count = np.isfinite(full).sum(0)
            curves.append(np.where(count > 0, np.nansum(full, 0) / np.maximum(count, 1), np.nan))
    return np.array(curves)


def _match(outside: np.ndarray, inside: np.ndarray, slide: float) -> tuple[float, float]:
    """How much likelier (natural log) a slide is than chance, and the inside's rise there, mm.

    Over each `ALIKE_MM` of an outline the two heights are taken for independent: likelihood is then
    the ratio of what they would differ by as two strangers to what they do differ by.
    """
    moved = np.roll(inside, int(round(slide / STEP_MM)), axis=1)
    gain, rises = 0.0, []
    for out, into in zip(outside, moved, strict=True):
        at = np.flatnonzero(np.isfinite(out) & np.isfinite(into))
        if len(at) * STEP_MM < LEAST_SHARED_MM:
            return -np.inf, 0.0
        line = np.stack([np.ones(len(at)), at - at.mean()], 1)
        pairs = np.stack([out[at], into[at], out[at] - into[at]], 1)
        for _ in range(2):  # the second time without what lies far off the first line
            free = pairs - line @ np.linalg.lstsq(line, pairs, rcond=None)[0]
            keep = np.abs(free[:, 2]) < FAR_MM
            if keep.sum() * STEP_MM < LEAST_SHARED_MM:
                break
            line, pairs, free = line[keep], pairs[keep], free[keep]
        stranger, same = (
            np.sqrt((free[:, :2] ** 2).mean(0).sum()),
            np.sqrt((free[:, 2] ** 2).mean()),
        )
        gain += len(free) * STEP_MM / ALIKE_MM * np.log(stranger / np.hypot(same, READ_MM))
        rises.append(float(np.median(pairs[:, 2])))
    return gain, float(np.mean(rises))


def _level(photos: Sequence[PlacedPhoto], height_mm: float, z_mm: float) -> list[PlacedPhoto]:
    """Of a side's photographs those whose sight slopes little more than the most level one's."""
    centres = [p.camera.centre_mm for p in photos]
    slope = [abs((c[1] - height_mm) / (c[2] - z_mm)) for c in centres]
    return [p for p, t in zip(photos, slope, strict=True) if t < min(slope) + LEVEL]
