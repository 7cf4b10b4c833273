"""Where each of a joint's unknowns stands in the vector that the fit solves for."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gapvision.joint.model import LEAST_RADIUS_MM, SECTION_NAMES, Joint
from gapvision.scene.camera import Camera, rotation

LARGEST_RADIUS_MM = 600.0
LENS_STEP = 0.1  # of the focal length's logarithm, at most, in one step


@dataclass(frozen=True, eq=False, slots=True)
class Unknowns:
    """First column of each group of unknowns: poses (6 a photograph) come first."""

    lens: int  # log focal length and k1 of each lens
    card: int  # nail and tilt of each card
    swing: dict[tuple[int, int], int]  # (card, photograph) -> three turns
    shift: int  # lower and upper outline's common shift of each photograph
    section: dict[str, slice]  # the splines' coefficients by name
    size: int

    @property
    def section_start(self) -> int:
        """Column of the first spline's first coefficient; the sections are last."""
        return self.section[SECTION_NAMES[0]].start

    def pose(self, photo: int, lens: int) -> list[int]:
        """Columns of a photograph's turn, centre, and its lens."""
        at = self.lens + 2 * lens
        return [*range(6 * photo, 6 * photo + 6), at, at + 1]

    def card_at(self, card: int) -> int:
        """First column of a card's nail and tilt."""
        return self.card + 6 * card


def unknowns_of(joint: Joint) -> Unknowns:
    """The columns of a joint's unknowns."""
    lens = 6 * len(joint.photos)
    card = lens + 2 * len(joint.lenses)
    at = card + 6 * len(joint.cards)
    swing = {}
    for k, c in enumerate(joint.cards):
        for photo in c.swing_rad:
            swing[k, photo] = at
            at += 3
    shift = at
    at += 2 * len(joint.photos)
    section = {}
    for name in SECTION_NAMES:
        n = len(joint.coefficients[name])
        section[name] = slice(at, at + n)
        at += n
    return Unknowns(lens, card, swing, shift, section, at)


def moved(joint: Joint, step: np.ndarray) -> Joint:
    """The joint with its unknowns moved by a step."""
    u = unknowns_of(joint)
    lenses = tuple(
        replace(
            lens,
            focal_px=lens.focal_px * np.exp(np.clip(step[u.lens + 2 * i], -LENS_STEP, LENS_STEP)),
            k1=lens.k1 + step[u.lens + 2 * i + 1],
        )
        for i, lens in enumerate(joint.lenses)
    )
    shifts = step[u.shift : u.shift + 2 * len(joint.photos)].reshape(-1, 2)
    photos = []
    for i, photo in enumerate(joint.photos):
        camera = _posed(photo.camera, step[6 * i : 6 * i + 6])
        lens = lenses[photo.rows.lens]
        camera = replace(camera, focal_px=lens.focal_px, k1=lens.k1)
        photos.append(replace(photo, camera=camera, shift_px=photo.shift_px + shifts[i]))
    cards = []
    for k, c in enumerate(joint.cards):
        at = u.card_at(k)
        swing = {i: s + step[u.swing[k, i] : u.swing[k, i] + 3] for i, s in c.swing_rad.items()}
        nail, tilt = c.nail_mm + step[at : at + 3], c.tilt_rad + step[at + 3 : at + 6]
        cards.append(replace(c, nail_mm=nail, tilt_rad=tilt, swing_rad=swing))
    coefficients = {n: joint.coefficients[n] + step[u.section[n]] for n in SECTION_NAMES}
    for name in ("r_l", "r_u"):
        coefficients[name] = np.clip(coefficients[name], LEAST_RADIUS_MM, LARGEST_RADIUS_MM)
    return replace(
        joint, photos=tuple(photos), lenses=lenses, cards=tuple(cards), coefficients=coefficients
    )


def _posed(camera: Camera, step: np.ndarray) -> Camera:
    return replace(
        camera,
        camera_from_world=rotation(step[:3]) @ camera.camera_from_world,
        centre_mm=camera.centre_mm + step[3:],
    )
