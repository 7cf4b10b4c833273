"""The uncut sheet seen through a known lens: OpenCV projects, nothing of the program is used."""

import cv2
import numpy as np

SIZE = (4032, 3024)
TRUE = {"f": 2956.8, "k1": 0.02, "k2": 0.0, "cx": 2015.5, "cy": 1511.5}
# Of the printed sheet in mm, from its layout: inner corners 22 mm apart, the cards 102 mm.
CARD = np.array([(x, y, 0.0) for y in (26, 48, 70) for x in np.arange(-99.0, 100.0, 22.0)])
CORNERS = np.concatenate([CARD, CARD + [0, 102, 0]])


def pose(rng, tilt_deg=(18, 40), roll_deg=20.0, distance_mm=(300, 420)):
    """Turn and shift of the sheet, tilted towards any side, its middle anywhere near the axis."""
    side, tilt = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(*tilt_deg))
    roll = np.radians(rng.normal(0, roll_deg))
    turn = cv2.Rodrigues(tilt * np.array([np.cos(side), np.sin(side), 0]))[0]
    turn = turn @ cv2.Rodrigues(roll * np.array([0, 0, 1.0]))[0]
    at = np.array([*rng.uniform(-40, 40, 2), rng.uniform(*distance_mm)])
    return cv2.Rodrigues(turn)[0].ravel(), at - turn @ CORNERS.mean(0)


def seen(rng, photos=10, noise_px=0.05, aspect=1.0, lens=TRUE, size=SIZE, corners=CORNERS, **poses):
    """Points (n, 3) and their places (n, 2) px in each photograph, as far as they are in the frame."""
    matrix = np.array([[lens["f"], 0, lens["cx"]], [0, lens["f"], lens["cy"]], [0, 0, 1.0]])
    distortion = np.array([lens["k1"], lens["k2"], 0.0, 0.0])
    out = []
    for _ in range(photos):
        turn, shift = pose(rng, **poses)
        px = cv2.projectPoints(corners * [1, aspect, 1], turn, shift, matrix, distortion)[0][:, 0]
        inside = np.all((px > 5) & (px < np.array(size) - 6), axis=1)
        out.append((CORNERS[inside], px[inside] + rng.normal(0, noise_px, (inside.sum(), 2))))
    return out
