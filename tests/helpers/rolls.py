"""Photographs of slips as a phone takes them, drawn."""

from datetime import datetime
from functools import cache

import cv2
import numpy as np
import pypdfium2
from PIL import Image

from gapvision.scene.card import board
from gapvision.shoot.slip import LABEL_MM, slip_of, slips_pdf

SIZE = 4032, 3024
NORTH_3, NORTH_4 = slip_of("Barn", "north", "3"), slip_of("Barn", "north", "4")
CODE_SHARE = 29 / 37 * 50 / LABEL_MM[0]  # of the label's width, without its quiet zone
START = datetime(2026, 5, 14, 9, 0, 0)


@cache
def label_of(slip):
    """A printed slip, cut, px."""
    with pypdfium2.PdfDocument(slips_pdf([slip])) as pdf:
        page = pdf[0].render(scale=500 / 72, grayscale=True).to_numpy().squeeze()
    k = 500 / 25.4
    left, top = 105 - LABEL_MM[0], (297 - 4 * LABEL_MM[1]) / 2
    (x0, y0), (x1, y1) = (np.array([[left, top], np.add((left, top), LABEL_MM)]) * k).astype(int)
    return page[y0:y1, x0:x1]


def background(rng):
    """Something blotched, with a scale card in it that must not pass for a slip."""
    small = rng.integers(60, 180, (SIZE[1] // 36, SIZE[0] // 36), np.uint8)
    grey = cv2.resize(small, SIZE, interpolation=cv2.INTER_CUBIC)
    card = board(1).generateImage((1100, 400))
    grey[200:600, 500:1600] = card
    return grey


def with_slip(slip, share, turn_deg, tilt, blur, rng, plain=None):
    """The slip's code takes a share of the picture's width; turned, seen askew, out of focus."""
    grey = background(rng) if plain is None else np.full(SIZE[::-1], plain, np.uint8)
    label = label_of(slip)
    width = share * SIZE[0] / CODE_SHARE
    height = width * LABEL_MM[1] / LABEL_MM[0]
    corner = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (width, height) / 2
    turn = np.deg2rad(turn_deg)
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    seen = corner * (1 + corner @ np.array(tilt) / width)[:, None] @ turned + np.array(SIZE) / 2
    h, w = label.shape
    outline = np.float32([[0, 0], [w, 0], [w, h], [0, h]])
    view = cv2.getPerspectiveTransform(outline, np.float32(seen))
    soft = cv2.GaussianBlur(label, (0, 0), max(0.4 * w / width, 0.5))
    cv2.warpPerspective(soft, view, SIZE, grey, cv2.INTER_LINEAR, cv2.BORDER_TRANSPARENT)
    grey = cv2.GaussianBlur(grey, (0, 0), blur) if blur else grey
    noise = rng.normal(0, 4, (SIZE[1] // 4, SIZE[0] // 4))
    return np.clip(0.8 * grey + cv2.resize(noise, SIZE), 0, 255).astype(np.uint8)


def save(path, grey, taken=None, model="EX-1", **tags):
    exif = Image.Exif()
    exif[0x0110] = model
    if taken:
        detail = exif.get_ifd(0x8769)
        detail[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
        detail[0x9291] = f"{taken.microsecond // 1000:03d}"
    Image.fromarray(grey).save(path, quality=85, exif=exif)
    return path
