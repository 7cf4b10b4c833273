"""The band's picture: what it shows in a cell is what the photograph shows where the camera says."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from helpers.drawn_joint import BOTTOM_MM, CAMERA, STRETCH_MM, TOP_MM, draw

from gapvision.scene.camera import rotation
from gapvision.trace.rectified import cut_band


@pytest.mark.parametrize("k1", [0.0, 0.04, -0.04])
@pytest.mark.parametrize("cell_mm", [1.0, 0.5])
def test_a_cell_shows_what_the_photograph_shows_there(k1, cell_mm):
    turned = rotation(np.array([0.05, 0.08, 0.02])) @ CAMERA.camera_from_world
    camera = replace(CAMERA, camera_from_world=turned, k1=k1)
    photograph = cv2.GaussianBlur(draw(34.0), (0, 0), 2.0)
    band, picture = cut_band(photograph, camera, 0.0, STRETCH_MM, TOP_MM, BOTTOM_MM, [], cell_mm)
    rows, columns = picture.shape[:2]
    c, r = np.meshgrid(np.arange(columns), np.arange(rows))
    px = band.to_image(c.ravel(), r.ravel()).reshape(rows, columns, 2).astype(np.float32)
    there = cv2.remap(photograph, px, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    assert np.abs(picture[band.seen].astype(int) - there[band.seen]).max() <= 1


def test_of_a_finer_photograph_a_cell_is_the_mean_of_several_samples():
    """Noise of single pixels falls to a third where a cell has 4.4 x 4.4 of them; one sample halves it."""
    noisy = np.random.default_rng(3).integers(0, 256, (1520, 2600, 3), dtype=np.uint8)
    px_per_mm = 4.4
    camera = replace(CAMERA, focal_px=px_per_mm * CAMERA.centre_mm[2], size=(2600, 1520))
    _, picture = cut_band(noisy, camera, 0.0, (0.0, 200.0), -100.0, -200.0, [])
    assert picture.std() < 0.4 * noisy.std()
