"""A drawn photograph of two logs whose outlines are known, and the camera that sees them."""

from __future__ import annotations

import cv2
import numpy as np

from gapvision.scene.camera import FACING, Camera

SIZE = (1300, 760)  # px
PX_PER_MM = 1.8
CENTRE_MM = np.array([60.0, -180.0, 1500.0])
EXPECTED_MM = -150.0  # where the upper log should end
STRETCH_MM, TOP_MM, BOTTOM_MM = (-270.0, 390.0), -40.0, -330.0
WOOD = {"upper": (88, 124, 158), "lower": (70, 104, 140)}  # BGR, display-encoded
CLOTH = (236, 232, 228)
CAMERA = Camera(FACING["outside"], CENTRE_MM, PX_PER_MM * CENTRE_MM[2], 0.0, SIZE)


def upper_mm(x):
    """Height of the upper outline at stations: it runs downhill and sags a little."""
    return -150.0 - 0.012 * x - 3.0 * np.sin(x / 150.0)


def draw(gap_mm, seed=5, wood=WOOD, behind=CLOTH):
    """A photograph of two logs with streaks and grain along them, and a plain cloth between them."""
    rng = np.random.default_rng(seed)
    w, h = SIZE
    y, x = np.mgrid[:h, :w].astype(np.float32)
    x_mm = CENTRE_MM[0] + (x - (w - 1) / 2) / PX_PER_MM
    y_mm = CENTRE_MM[1] - (y - (h - 1) / 2) / PX_PER_MM
    edge = upper_mm(x_mm)
    # Pixels on an outline are mixed: over one pixel's height its share changes from 0 to 1.
    share = {
        "upper": np.clip((y_mm - edge) * PX_PER_MM + 0.5, 0, 1),
        "lower": np.clip((edge - gap_mm - y_mm) * PX_PER_MM + 0.5, 0, 1),
    }
    picture = np.full((h, w, 3), behind, np.float32)
    for log, part in share.items():
        streaks = sum(
            cv2.resize(
                rng.normal(0, sd, (h // down, w // along)).astype(np.float32),
                SIZE,
                interpolation=cv2.INTER_CUBIC,
            )
            for sd, down, along in ((9, 5, 70), (9, 2, 25))
        )
        far = np.abs(y_mm - edge + (0 if log == "upper" else gap_mm))
        shade = 0.55 + 0.45 * np.sqrt(np.clip(far / 90.0, 0, 1))  # a log turns away at its limb
        face = np.float32(wood[log]) * shade[..., None] + streaks[..., None]
        picture = picture * (1 - part[..., None]) + face * part[..., None]
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, 2, picture.shape)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)
