"""A printed card as it hangs: its nail, its tilt, and how it swung between photographs."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from gapvision.scene.camera import SMALL_TURNS, rotation


@dataclass(frozen=True, eq=False, slots=True)
class HungCard:
    """Nail (3,) mm and tilt (pitch, yaw, roll) rad of a card, and its swing in each photograph."""

    number: int
    side: str
    hung_on: str
    nail_mm: np.ndarray
    tilt_rad: np.ndarray
    swing_rad: dict[int, np.ndarray] = field(default_factory=dict)

    def points(self, card_mm: np.ndarray, photo: int | None = None) -> np.ndarray:
        """World points (n, 3) of points (n, 3) of the card's frame, as it hung in one photograph."""
        swing = 0.0 if photo is None else self.swing_rad.get(photo, 0.0)
        return self.nail_mm + card_mm @ card_axes(self.tilt_rad + swing, self.side).T


def card_axes(tilt_rad: np.ndarray, side: str) -> np.ndarray:
    """A hanging card's right, up and outward axes as columns in the world."""
    facing, yaw, pitch, roll = _turns(tilt_rad, side)
    return facing @ yaw @ pitch @ roll


def axes_change(tilt_rad: np.ndarray, side: str) -> np.ndarray:
    """Change (3, 3, 3) of `card_axes` with pitch, yaw and roll."""
    facing, yaw, pitch, roll = _turns(tilt_rad, side)
    x, y, z = SMALL_TURNS
    return facing @ yaw @ np.stack([pitch @ x @ roll, y @ pitch @ roll, pitch @ roll @ z])


def _turns(tilt_rad: np.ndarray, side: str) -> tuple[np.ndarray, ...]:
    pitch, yaw, roll = tilt_rad
    return (
        np.eye(3) if side == "outside" else np.diag([-1.0, 1.0, -1.0]),
        rotation(np.array([0, yaw, 0.0])),
        rotation(np.array([pitch, 0, 0.0])),
        rotation(np.array([0, 0, roll])),
    )
