"""Where cards hang and cameras stand, from card corners alone: each card's pose, chained by shared cards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from gapvision.scene.camera import Camera, Lens
from gapvision.scene.hung_card import HungCard, card_axes
from gapvision.scene.photo_rows import CardSighting, PhotoRows
from gapvision.scene.priors import Priors

U_STANDOFF_MM = 8.0  # of a card before the log's face, for the first guess of the wall's direction
U_YAW_RAD = 0.07


@dataclass(frozen=True, eq=False, slots=True)
class Placed:
    """Cameras, by photograph, of those that are tied to the first card, and cards in the world."""

    cameras: dict[int, Camera]
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
    ways = []
    for turn, place in zip(turns, places, strict=True):
        turn, place = cv2.solvePnPRefineLM(
            points, sighting.corner_px, k, distortion, turn.copy(), place.copy()
        )
        seen, _ = cv2.projectPoints(points, turn, place, k, distortion)
        miss = float(np.sqrt(np.mean((seen.reshape(-1, 2) - sighting.corner_px) ** 2)))
        r, _ = cv2.Rodrigues(turn)
        ways.append((miss, r, -r.T @ place.ravel()))
    best = min(ways, key=lambda way: way[0])
    return Camera(best[1], best[2], lens.focal_px, lens.k1, size)


def nail_between(
    one: CardSighting, other: CardSighting, lens: Lens, size: tuple[int, int]
) -> float:
    """How far apart (mm) the nails of two cards are that one photograph shows."""
    a, b = (card_pose(s, lens, size) for s in (one, other))
    nail = a.centre_mm - a.camera_from_world.T @ b.camera_from_world @ b.centre_mm
    return float(np.linalg.norm(nail))


def place_cards(photos: Sequence[PhotoRows], lenses: Sequence[Lens], hung_on: str) -> Placed:
    """Chain photographs by the cards they share, from the lowest-numbered outside card on.

    Where they fall into several chains the longest is placed, of equals that with the lowest card.
    The inside is a chain of its own whose first card is put behind the wall at an arbitrary
    station; `gapvision.joint.sides` finds where it belongs.
    """
    cameras: dict[int, Camera] = {}
    cards: dict[int, HungCard] = {}
    for side in ("outside", "inside"):
        seen = {
            i: _Seen(p, {s.number: card_pose(s, lenses[p.lens], p.size) for s in p.sightings})
            for i, p in enumerate(photos)
            if p.side == side
        }
        if seen:
            chain = _levelled(_longest_chain(seen, side, hung_on))
            cameras |= chain.cameras
            cards |= chain.cards
    return Placed(cameras, cards)


@dataclass(frozen=True, eq=False, slots=True)
class _Seen:
    """One photograph, and its camera in the frame of each card that it shows, by number."""

    rows: PhotoRows
    from_card: dict[int, Camera]


@dataclass(frozen=True, eq=False, slots=True)
class _Chain:
    """Photographs of one side that cards connect: cameras by photograph, cards by number."""

    side: str
    cameras: dict[int, Camera]
    cards: dict[int, HungCard]


def _longest_chain(seen: dict[int, _Seen], side: str, hung_on: str) -> _Chain:
    """The chain in the frame of its lowest card: each photograph that sees a placed one is placed.

    Breadth first: a photograph stands by the card that it shows best, and places its others.
    """
    chains = _chains([set(photo.from_card) for photo in seen.values()])
    longest = max(chains, key=lambda c: (len(c), -min(set().union(*c))))
    first = min(set().union(*longest))
    cameras: dict[int, Camera] = {}
    cards = {first: HungCard(first, side, hung_on, np.zeros(3), np.zeros(3))}
    grown = True
    while grown:
        grown = False
        for i, photo in seen.items():
            if i in cameras or cards.keys().isdisjoint(photo.from_card):
                continue
            cameras[i] = _camera_by(photo, cards)
            cards |= {
                number: _card_by(number, own, cameras[i], side, hung_on)
                for number, own in photo.from_card.items()
                if number not in cards
            }
            grown = True
    return _Chain(side, cameras, cards)


def _chains(seen: list[set[int]]) -> list[list[set[int]]]:
    """Photographs, each as the cards it shows, in groups that no card ties to another."""
    chains: list[list[set[int]]] = []
    for cards in seen:
        near = [c for c in chains if any(cards & other for other in c)]
        chains = [c for c in chains if c not in near] + [[cards, *(x for c in near for x in c)]]
    return chains


def _camera_by(photo: _Seen, cards: dict[int, HungCard]) -> Camera:
    """A photograph's camera in the world, by the best shown of the cards that have their place."""
    known = [s for s in photo.rows.sightings if s.number in cards]
    anchor = max(known, key=lambda s: s.module_px * len(s.corner_id))
    from_card, at = photo.from_card[anchor.number], cards[anchor.number]
    axes = card_axes(at.tilt_rad, at.side)
    return replace(
        from_card,
        camera_from_world=from_card.camera_from_world @ axes.T,
        centre_mm=at.nail_mm + axes @ from_card.centre_mm,
    )


def _card_by(number: int, own: Camera, camera: Camera, side: str, hung_on: str) -> HungCard:
    """A card in the world by a camera there, which in the card's own frame is ``own``."""
    in_world = camera.camera_from_world.T @ own.camera_from_world
    nail = camera.centre_mm - in_world @ own.centre_mm
    return HungCard(number, side, hung_on, nail, _tilt_of(in_world, side))


def _levelled(chain: _Chain) -> _Chain:
    """Turned about its first nail: cards hang plumb on the average and stand along the wall.

    The wall's direction is that of the line through the nails, where it is known better than by how
    squarely the cards face it.
    """
    in_order = [chain.cards[n] for n in sorted(chain.cards)]
    tilt = np.mean([c.tilt_rad for c in in_order], axis=0)
    first = in_order[0]
    last = max(in_order, key=lambda c: abs(c.nail_mm[0] - first.nail_mm[0]))
    base = last.nail_mm - first.nail_mm
    yaw = float(tilt[1])
    length = float(np.hypot(base[0], base[2]))
    if length > 0 and first.hung_on != "free":
        along = -np.arctan2(base[2] * np.sign(base[0]), abs(base[0]))
        u_along, u_yaw = U_STANDOFF_MM * np.sqrt(2) / length, U_YAW_RAD / np.sqrt(len(in_order))
        yaw = (along / u_along**2 + yaw / u_yaw**2) / (1 / u_along**2 + 1 / u_yaw**2)
    facing = card_axes(np.zeros(3), chain.side)
    # Takes the chain's mean card to a plumb one that faces the wall.
    turn = facing @ card_axes(np.array([tilt[0], yaw, tilt[2]]), chain.side).T
    origin = first.nail_mm

    def turned(place_mm: np.ndarray) -> np.ndarray:
        return origin + turn @ (place_mm - origin)

    cameras = {
        i: replace(c, camera_from_world=c.camera_from_world @ turn.T, centre_mm=turned(c.centre_mm))
        for i, c in chain.cameras.items()
    }
    cards = {
        n: replace(
            c,
            nail_mm=turned(c.nail_mm),
            tilt_rad=_tilt_of(turn @ card_axes(c.tilt_rad, chain.side), chain.side),
        )
        for n, c in chain.cards.items()
    }
    return _Chain(chain.side, cameras, cards)


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


def joint_z(cards: Sequence[HungCard], radius: dict[str, np.ndarray], priors: Priors) -> float:
    """Where the logs' axes stand, by the cards that hang on them."""
    hung = [c for c in cards if c.hung_on != "free"] or list(cards)
    places = []
    for c in hung:
        log = "lower" if c.hung_on == "lower" else "upper"
        reach = float(np.mean(radius[log])) + priors.standoff_mm
        places.append(c.nail_mm[2] + (-reach if c.side == "outside" else reach))
    return float(np.median(places))
