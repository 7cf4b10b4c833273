"""Cameras and sight rays against OpenCV's projection."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gapvision.scene.camera import FACING, Camera, rotation

SIZE = (4032, 3024)


@pytest.fixture(params=[-0.05, 0.0, 0.08])
def camera(request):
    turn = cv2.Rodrigues(np.array([0.2, -0.07, 0.05]))[0] @ FACING["outside"]
    return Camera(turn, np.array([130.0, 260.0, 1350.0]), 2912.0, request.param, SIZE)


@pytest.fixture
def points():
    """Points over the whole picture at different depths."""
    rng = np.random.default_rng(3)
    return rng.uniform((-500, -350, -200), (700, 250, 150), (300, 3))


def opencv_pixels(camera: Camera, points: np.ndarray) -> np.ndarray:
    c = camera.principal_px
    k = np.array([[camera.focal_px, 0, c[0]], [0, camera.focal_px, c[1]], [0, 0, 1]])
    turn = camera.camera_from_world
    place = -turn @ camera.centre_mm
    distortion = np.array([camera.k1, 0, 0, 0])
    return cv2.projectPoints(points, cv2.Rodrigues(turn)[0], place, k, distortion)[0][:, 0]


def test_project_matches_opencv(camera, points):
    np.testing.assert_allclose(camera.project(points), opencv_pixels(camera, points), atol=1e-6)


def test_principal_point_is_the_middle_of_the_pixels(camera):
    """Integer at the pixel centre: the middle of 4032 columns lies between 2015 and 2016."""
    ahead = camera.centre_mm + 1000.0 * camera.camera_from_world[2]
    np.testing.assert_allclose(camera.project(ahead), (2015.5, 1511.5), atol=1e-9)


def test_directions_undo_the_projection(camera, points):
    """To 0.01 px, a tenth of the best corner."""
    xy = opencv_pixels(camera, points)
    inside = np.all((xy > 0) & (xy < SIZE), axis=1)
    assert inside.sum() > 150
    d = camera.directions(xy[inside])
    np.testing.assert_allclose(d @ camera.camera_from_world[2], 1.0, atol=1e-12)
    along = (points[inside] - camera.centre_mm) @ camera.camera_from_world[2]
    miss_mm = camera.centre_mm + d * along[:, None] - points[inside]
    miss_px = np.linalg.norm(miss_mm, axis=1) / along * camera.focal_px
    assert miss_px.max() < 0.01


def test_plane_point_lies_on_plane_and_ray(camera):
    xy = np.array([[100.0, 200.0], [2000.0, 2900.0], [3900.0, 1500.0]])
    world = camera.plane_point(xy, -172.0)
    np.testing.assert_allclose(world[:, 2], -172.0)
    np.testing.assert_allclose(camera.project(world), xy, atol=0.01)


@pytest.mark.parametrize("angle", [0.0, 1e-12, 1e-7, 1e-3, 1.0, 3.0])
def test_rotation_matches_scipy(angle):
    vector = angle * np.array([2.0, -3.0, 6.0]) / 7
    expected = Rotation.from_rotvec(vector).as_matrix()
    np.testing.assert_allclose(rotation(vector), expected, atol=1e-12)


@pytest.mark.parametrize(("side", "towards"), [("outside", -1.0), ("inside", 1.0)])
def test_facing_looks_at_the_wall(side, towards):
    turn = FACING[side]
    assert np.linalg.det(turn) == pytest.approx(1.0)
    np.testing.assert_allclose(turn.T @ [0, 0, 1], (0, 0, towards))  # the view
    np.testing.assert_allclose(turn.T @ [0, 1, 0], (0, -1, 0))  # the picture's down
