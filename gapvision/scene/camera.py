"""Cameras and sight rays: world points to pixels and back.

World frame: x along the wall to the right as seen from outside, y up (plumb), z out of the wall.
Camera frame as in OpenCV: x right, y down, z along the view. ``camera_from_world`` turns world
directions into camera directions; ``centre_mm`` is the perspective centre in the world.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True, slots=True)
class Lens:
    """Prior of one lens: focal length, px, and radial distortion."""

    focal_px: float
    u_focal_px: float
    k1: float = 0.0
    u_k1: float = 0.01


# What a small turn about each axis does to a vector v: SMALL_TURNS @ v is axis x v, (3, 3).
SMALL_TURNS = np.cross(np.eye(3)[:, None], np.eye(3)).swapaxes(1, 2)
FACING = {"outside": np.diag([1.0, -1.0, -1.0]), "inside": np.diag([-1.0, -1.0, 1.0])}


@dataclass(frozen=True, eq=False, slots=True)
class Camera:
    """One photograph's camera. ``k1`` is OpenCV's first radial coefficient."""

    camera_from_world: np.ndarray
    centre_mm: np.ndarray
    focal_px: float
    k1: float
    size: tuple[int, int]

    @property
    def principal_px(self) -> np.ndarray:
        """Principal point, taken as the picture's middle (integer = pixel centre)."""
        return (np.array(self.size, float) - 1) / 2

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """Pixels (..., 2) of world points (..., 3)."""
        q = (np.asarray(points_mm, float) - self.centre_mm) @ self.camera_from_world.T
        n = q[..., :2] / q[..., 2:]
        r2 = np.vecdot(n, n)[..., None]
        return self.principal_px + self.focal_px * n * (1 + self.k1 * r2)

    def directions(self, xy_px: np.ndarray) -> np.ndarray:
        """World directions (n, 3) of the sight rays of pixels (n, 2), of length 1 along the view."""
        d = (np.asarray(xy_px, float) - self.principal_px) / self.focal_px
        n = d.copy()
        for _ in range(5):
            n = d / (1 + self.k1 * np.vecdot(n, n)[..., None])
        return np.concatenate([n, np.ones((len(n), 1))], 1) @ self.camera_from_world

    def plane_point(self, xy_px: np.ndarray, z_mm: float) -> np.ndarray:
        """World points (n, 3) where sight rays cross the plane z = z_mm."""
        d = self.directions(xy_px)
        return self.centre_mm + d * ((z_mm - self.centre_mm[2]) / d[:, 2])[:, None]


def rotation(vector: np.ndarray) -> np.ndarray:
    """Rotation matrix (3, 3) of a rotation vector (3,), rad."""
    return cv2.Rodrigues(np.asarray(vector, float))[0]
