"""Where cards hang and cameras stand, from card corners alone: each card's pose, chained by shared cards."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from gapvision.photo.cards import CardSighting
from gapvision.scene.camera import Camera, Lens
from gapvision.scene.hung_card import HungCard, card_axes
from gapvision.scene.photo_rows import PhotoRows
from gapvision.scene.priors import Priors

U_STANDOFF_MM = 8.0  # of a card before the log's face, for the first guess of the wall's direction
U_YAW_RAD = 0.07


@dataclass(frozen=True, eq=False, slots=True)
class Placed:
    """Cameras (None where a photograph is not tied to the first card) and cards in the world."""

    cameras: list[Camera | None]
    cards: dict[int, HungCard]


def card_pose(sighting: CardSighting, lens: Lens, size: tuple[int, int]) -> Camera:
    """The camera as seen from one card: its world is the card's own frame.

    Notes
    -----
    IPPE gives two candidates; both are polished (near square on, IPPE alone can be off by half a
    per cent in distance) and the one with the smaller reprojection error is kept.
    """
    centre = (np.array(size, float) - 1) / 2
    k = np.array([[lens.focal_px, 0, centre[0]], [0, lens.focal_px, centre[1]], [0, 0, 1]])
    distortion = np.array([lens.k1, 0, 0, 0], float)
    points = sighting.corner_mm
    _, turns, places, _ = cv2.solvePnPGeneric(
        points, sighting.corner_px, k, distortion, flags=cv2.SOLVEPNP_IPPE
    )
    best = None
    for turn, place in zip(turns, places, strict=True):
        turn, place = cv2.solvePnPRefineLM(
            points, sighting.corner_px, k, distortion, turn.copy(), place.copy()
        )
        seen, _ = cv2.projectPoints(points, turn, place, k, distortion)
        miss = float(np.sqrt(np.mean((seen.reshape(-1, 2) - sighting.corner_px) ** 2)))
        r, _ = cv2.Rodrigues(turn)
        if best is None or miss < best[0]:
            best = miss, r, -r.T @ place.ravel()
    return Camera(best[1], best[2], lens.focal_px, lens.k1, size)


def place_cards(views: list[PhotoRows], lenses: list[Lens], hung_on: str) -> Placed:
    """Chain photographs by the cards they share, from the lowest-numbered outside card on.

    Where they fall into several chains the longest is placed, of equals that with the lowest card.
    The inside is a chain of its own whose first card is put behind the wall at an arbitrary
    station; `gapvision.joint.sides` finds where it belongs.
    """
    poses = [{s.number: card_pose(s, lenses[v.lens], v.size) for s in v.sightings} for v in views]
    cameras: list[Camera | None] = [None] * len(views)
    cards: dict[int, HungCard] = {}
    for side in ("outside", "inside"):
        chains = _chains([set(p) for v, p in zip(views, poses, strict=True) if v.side == side])
        if not chains:
            continue
        longest = max(chains, key=lambda c: (len(c), -min(set().union(*c))))
        first = min(set().union(*longest))
        cards[first] = HungCard(first, side, hung_on, np.zeros(3), np.zeros(3))
        _grow(views, poses, cameras, cards, side, hung_on)
        _level(views, cameras, cards, side)
    return Placed(cameras, cards)


def _chains(seen: list[set[int]]) -> list[list[set[int]]]:
    """Photographs, each as the cards it shows, in groups that no card ties to another."""
    chains: list[list[set[int]]] = []
    for cards in seen:
        near = [c for c in chains if any(cards & other for other in c)]
        chains = [c for c in chains if c not in near] + [[cards, *(x for c in near for x in c)]]
    return chains


def _level(views, cameras, cards, side):
    """Turn a chain about its first nail: cards hang plumb on the average and stand along the wall.

    The wall's direction is that of the line through the nails, where it is known better than by how
    squarely the cards face it.
    """
    mine = sorted((c for c in cards.values() if c.side == side), key=lambda c: c.number)
    tilt = np.mean([c.tilt_rad for c in mine], axis=0)
    first, last = mine[0], max(mine, key=lambda c: abs(c.nail_mm[0] - mine[0].nail_mm[0]))
    base = last.nail_mm - first.nail_mm
    yaw = float(tilt[1])
    length = float(np.hypot(base[0], base[2]))
    if length > 0 and first.hung_on != "free":
        along = -np.arctan2(base[2] * np.sign(base[0]), abs(base[0]))
        u_along, u_yaw = U_STANDOFF_MM * np.sqrt(2) / length, U_YAW_RAD / np.sqrt(len(mine))
        yaw = (along / u_along**2 + yaw / u_yaw**2) / (1 / u_along**2 + 1 / u_yaw**2)
    turn = card_axes(np.array([tilt[0], yaw, tilt[2]]), side)
    facing = card_axes(np.zeros(3), side)
    turn = facing @ turn.T  # takes the chain's mean card to a plumb one that faces the wall
    origin = first.nail_mm
    for i, v in enumerate(views):
        if v.side == side and cameras[i] is not None:
            cameras[i] = replace(
                cameras[i],
                camera_from_world=cameras[i].camera_from_world @ turn.T,
                centre_mm=origin + turn @ (cameras[i].centre_mm - origin),
            )
    for c in mine:
        axes = turn @ card_axes(c.tilt_rad, side)
        cards[c.number] = replace(
            c, nail_mm=origin + turn @ (c.nail_mm - origin), tilt_rad=_tilt_of(axes, side)
        )


def _grow(views, poses, cameras, cards, side, hung_on):
    """Breadth first: each photograph that sees a placed card is placed, and places its others."""
    grown = True
    while grown:
        grown = False
        for i, view in enumerate(views):
            if cameras[i] is not None or view.side != side:
                continue
            known = [s for s in view.sightings if s.number in cards]
            if not known:
                continue
            anchor = max(known, key=lambda s: s.module_px * len(s.corner_id))
            from_card = poses[i][anchor.number]
            at = cards[anchor.number]
            axes = card_axes(at.tilt_rad, side)
            cameras[i] = Camera(
                from_card.camera_from_world @ axes.T,
                at.nail_mm + axes @ from_card.centre_mm,
                from_card.focal_px, from_card.k1, view.size,
            )  # fmt: skip
            grown = True
            for s in view.sightings:
                if s.number in cards:
                    continue
                own = poses[i][s.number]
                in_world = cameras[i].camera_from_world.T @ own.camera_from_world
                nail = cameras[i].centre_mm - in_world @ own.centre_mm
                cards[s.number] = HungCard(s.number, side, hung_on, nail, _tilt_of(in_world, side))


def _tilt_of(axes: np.ndarray, side: str) -> np.ndarray:
    """(pitch, yaw, roll) of a card whose axes in the world are given: inverse of `card_axes`."""
    m = (np.eye(3) if side == "outside" else np.diag([-1.0, 1.0, -1.0])) @ axes
    return np.array(
        [
            np.arcsin(np.clip(-m[1, 2], -1, 1)),
            np.arctan2(m[0, 2], m[2, 2]),
            np.arctan2(m[1, 0], m[1, 1]),
        ]
    )


def joint_z(cards, radius: dict[str, np.ndarray], priors: Priors) -> float:
    """Where the logs' axes stand, by the cards that hang on them."""
    hung = [c for c in cards if c.hung_on != "free"] or list(cards)
    places = []
    for c in hung:
        log = "lower" if c.hung_on == "lower" else "upper"
        reach = float(np.mean(radius[log])) + priors.standoff_mm
        places.append(c.nail_mm[2] + (-reach if c.side == "outside" else reach))
    return float(np.median(places))
