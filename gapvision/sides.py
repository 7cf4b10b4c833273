"""Which side of the wall a photograph was taken from, and how the two sides fit together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.fit import View
from gapvision.outlines import SEEN
from gapvision.start import Placed
from gapvision.target import CardSighting

SEARCH_MM = 1500.0
STEP_MM = 5.0
LEAST_SHARED_MM = 400.0


def side_of(sightings: list[CardSighting], given: str, inside_cards: tuple[int, ...]) -> str:
    """The side a photograph was taken from: as given, or by the cards named as hanging inside."""
    if not inside_cards:
        return given
    return "inside" if any(s.number in inside_cards for s in sightings) else given


def check_sides(views: list[View]) -> None:
    """Refuse a card that is seen from both sides of the wall.

    Raises
    ------
    JointNotFitted
        Naming the card.
    """
    sides: dict[int, set[str]] = {}
    for v in views:
        for s in v.sightings:
            sides.setdefault(s.number, set()).add(v.side)
    for number, seen in sorted(sides.items()):
        if len(seen) > 1:
            raise JointNotFitted(
                "card-on-both-sides",
                f"Card {number} is seen from outside and from inside; each side needs cards of its "
                "own: print another number for the inner side, or correct --inside.",
            )


def tie_sides(sights, views, placed: Placed, half_mm: float, thickness_mm: float | None) -> Placed:
    """Move the inside's cameras and cards to where its outlines match the outside's.

    Notes
    -----
    Both sides see the same two logs: their outlines, as heights along the wall, are slid over each
    other until they differ least. The cards stand ``half_mm`` before the logs' axes on either face,
    or ``thickness_mm`` apart.
    """
    inside = [i for i, v in enumerate(views) if v.side == "inside"]
    outside = [i for i, v in enumerate(views) if v.side == "outside"]
    if not inside or not outside:
        return placed
    nails = {c.number: c for c in placed.cards.values()}
    z_out = float(np.median([c.nail_mm[2] for c in nails.values() if c.side == "outside"]))
    z_in = float(np.median([c.nail_mm[2] for c in nails.values() if c.side == "inside"]))
    through = thickness_mm if thickness_mm is not None else 2 * half_mm
    half = through / 2
    curves_out = _curves(sights, placed, outside, z_out - half)
    curves_in = _curves(sights, placed, inside, z_in + half)
    best = None
    for slide in np.arange(-SEARCH_MM, SEARCH_MM + 1, STEP_MM):
        cost, rise, shared = _match(curves_out, curves_in, slide)
        if shared >= LEAST_SHARED_MM and (best is None or cost < best[0]):
            best = cost, slide, rise
    if best is None:
        raise JointNotFitted(
            "sides-untied",
            "The photographs from the two sides share too little of the joint to be tied; "
            "photograph the same 400 mm or more from both sides.",
        )
    move = np.array([best[1], best[2], z_out - through - z_in])
    cameras = list(placed.cameras)
    for i in inside:
        cameras[i] = replace(cameras[i], centre_mm=cameras[i].centre_mm + move)
    cards = {
        n: replace(c, nail_mm=c.nail_mm + move) if c.side == "inside" else c
        for n, c in placed.cards.items()
    }
    return Placed(cameras, cards)


def _curves(sights, placed, which, z_mm):
    """Heights of both outlines (2, n) on a common grid of stations, median over photographs."""
    grid = np.arange(-8000.0, 8000.0, STEP_MM)
    curves = []
    for log in ("lower", "upper"):
        rows = []
        for i in which:
            line = getattr(sights[i].trace, log)
            ok = line.state == SEEN
            if ok.sum() < 5:
                continue
            p = placed.cameras[i].plane_point(line.xy_px[ok], z_mm)
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


def _match(outside, inside, slide):
    steps = int(round(slide / STEP_MM))
    moved = np.roll(inside, steps, axis=1)
    both = np.isfinite(outside) & np.isfinite(moved)
    if both.sum() == 0:
        return np.inf, 0.0, 0.0
    difference = (outside - moved)[both]
    rise = float(np.median(difference))
    cost = float(np.mean(np.minimum(np.abs(difference - rise), 20.0)))
    return cost, rise, float(both.all(0).sum() * STEP_MM)
