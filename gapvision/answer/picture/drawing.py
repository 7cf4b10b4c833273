"""What the strips of the picture are drawn with: colours, lines, marks, legends and text.

A strip is an array of shape (n, 1600, 3), uint8, BGR; points are ``(x, y)`` in px of the strip,
integer at the pixel centre; colours are RGB.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

WIDTH_PX = 1600
PANEL_LEFT_PX, PANEL_RIGHT_PX = 120, 1576  # columns of photograph and plots; numbers stand left
TITLE_PX, SUBTITLE_PX, TEXT_PX, TICK_PX = 92, 50, 42, 38  # text heights

# Colours that colour-blind people tell apart, as RGB: M. Okabe and K. Ito, "Color Universal
# Design: how to make figures and presentations that are friendly to colorblind people", 2008.
SKY_BLUE = (86, 180, 233)
VERMILLION = (213, 94, 0)
BLUE = (0, 114, 178)
YELLOW = (240, 228, 66)
REDDISH_PURPLE = (204, 121, 167)
BLUISH_GREEN = (0, 158, 115)
BLACK = (0, 0, 0)
WHITE = (255, 255, 255)
GREY = (200, 200, 200)
DARK_GREY = (120, 120, 120)
BAND = (178, 212, 232)  # BLUE, thinned with white

UPPER_COLOUR, LOWER_COLOUR = SKY_BLUE, VERMILLION
WIDEST_COLOUR, DECIDING_COLOUR = YELLOW, REDDISH_PURPLE
LOWERED_COLOUR = BLUISH_GREEN

SHIFT = 4  # fractional bits of the points given to OpenCV

Rgb = tuple[int, int, int]
Point = tuple[float, float]


def blank(height: int, colour: Rgb = WHITE) -> np.ndarray:
    """An empty strip."""
    return np.full((height, WIDTH_PX, 3), colour[::-1], np.uint8)


def line(strip: np.ndarray, points: np.ndarray | Sequence, colour: Rgb, thickness: int) -> None:
    """A line through points, shape (n, 2); a single point is a dot."""
    cv2.polylines(strip, [_fixed(points)], False, colour[::-1], thickness, cv2.LINE_AA, SHIFT)


def dashed(
    strip: np.ndarray, start: Point, end: Point, colour: Rgb, thickness: int, dash: float
) -> None:
    """A straight line of dashes as long as the spaces between them."""
    a, b = np.array(start), np.array(end)
    count = max(int(np.hypot(*(b - a)) / dash), 1)
    for i in range(0, count, 2):
        line(strip, a + (b - a) * np.array([[i], [i + 1]]) / count, colour, thickness)


def polygon(strip: np.ndarray, corners: np.ndarray, colour: Rgb) -> None:
    """A filled polygon, shape (n, 2)."""
    cv2.fillPoly(strip, [_fixed(corners)], colour[::-1], cv2.LINE_AA, SHIFT)


def box(
    strip: np.ndarray, left: float, right: float, top: float, bottom: float, colour: Rgb
) -> None:
    """A filled upright rectangle."""
    start, end = (round(left), round(top)), (round(right), round(bottom))
    cv2.rectangle(strip, start, end, colour[::-1], -1)


def hatch(strip: np.ndarray, left: float, right: float, top: float, bottom: float) -> None:
    """Slanting lines in an upright rectangle, as far as it lies in the panel."""
    start, stop = np.clip((round(left), round(right)), PANEL_LEFT_PX, PANEL_RIGHT_PX)
    field = strip[round(top) : round(bottom), start : stop + 1]
    height, width = field.shape[:2]
    for x in range(-height, width, 22):
        cv2.line(field, (x, height), (x + height, 0), DARK_GREY, 3, cv2.LINE_AA)


def mark(strip: np.ndarray, centre: Point, shape: str) -> None:
    """A filled mark with a dark rim: shapes differ, so that colour need not tell them apart."""
    shapes = {
        "triangle": ([(-20, -17), (20, -17), (0, 17)], WIDEST_COLOUR),  # points down at its place
        "diamond": ([(-20, 0), (0, -20), (20, 0), (0, 20)], DECIDING_COLOUR),
        "square": ([(-15, -15), (15, -15), (15, 15), (-15, 15)], WHITE),
    }
    corners, colour = shapes[shape]
    points = np.array(corners) + centre
    polygon(strip, points, colour)
    cv2.polylines(strip, [_fixed(points)], True, BLACK, 4, cv2.LINE_AA, SHIFT)


def legend(items: Sequence[tuple[Rgb | str | None, str]]) -> np.ndarray:
    """Samples and their names, as many to a row as fit.

    A sample is the colour of a line, the name of a `mark`, ``"band"``, ``"dashes"``, ``"hatching"``
    or None.
    """
    rows: list[np.ndarray] = []
    x = np.inf
    for sample, name in items:
        width = text_width(name, TEXT_PX) + (90 if sample is not None else 0)
        if x + width > WIDTH_PX - 20:
            rows.append(blank(60))
            x = 24.0
        _sample(rows[-1], x, sample)
        text(rows[-1], (x + width, 30), name, TEXT_PX, anchor="rm")
        x += width + 36
    return np.vstack([blank(8), *rows, blank(12)])


def text_width(words: str, size: int) -> float:
    """How wide a text is, px."""
    return _font(size).getlength(words)


def text(
    strip: np.ndarray,
    point: Point,
    words: str,
    size: int,
    colour: Rgb = BLACK,
    anchor: str = "mm",
    *,
    halo: Rgb | None = None,
    bold: bool = False,
) -> None:
    """Text at a point, moved into the strip and made smaller where it would not fit."""
    if not words:
        return
    words, stroke = words.translate(_SIGNS), 4 if halo else int(bold)
    while text_width(words, size) > WIDTH_PX - 40 and size > 20:
        size -= 2
    room = Image.new("RGB", (1, 1))
    bounds = ImageDraw.Draw(room).textbbox(point, words, _font(size), anchor, stroke_width=stroke)
    shift = max(8 - bounds[0], 0) - max(bounds[2] - (WIDTH_PX - 8), 0)
    left, right = max(int(bounds[0] + shift) - 2, 0), min(int(bounds[2] + shift) + 4, WIDTH_PX)
    top, bottom = max(int(bounds[1]) - 2, 0), max(int(bounds[3]) + 4, 0)
    part = strip[top:bottom, left:right]
    if not part.size:
        return
    patch = Image.fromarray(np.ascontiguousarray(part[:, :, ::-1]))
    ImageDraw.Draw(patch).text(
        (point[0] + shift - left, point[1] - top),
        words,
        colour,
        _font(size),
        anchor,
        stroke_width=stroke,
        stroke_fill=halo or colour,
    )
    part[:] = np.asarray(patch)[:, :, ::-1]


def boxed(strip: np.ndarray, centre: Point, words: str, size: int, colour: Rgb) -> None:
    """Text in a box of a colour, wholly within the panel."""
    half = text_width(words, size) / 2 + 14
    x = float(np.clip(centre[0], PANEL_LEFT_PX + half, PANEL_RIGHT_PX - half))
    start = round(x - half), round(centre[1] - size * 0.62)
    end = round(x + half), round(centre[1] + size * 0.62)
    cv2.rectangle(strip, start, end, colour[::-1], -1)
    cv2.rectangle(strip, start, end, BLACK, 3)
    text(strip, (x, centre[1]), words, size)


def wrapped(words: str, size: int, width: float, most: int) -> list[str]:
    """Text cut into lines at spaces, and cut short with dots after so many lines."""
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if text_width(longer, size) <= width or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " ..."]
    return lines


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    """The font that comes with Pillow."""
    return ImageFont.load_default(size=size)


# Signs that the font lacks but texts may hold.
_SIGNS = str.maketrans({"–": "-", "—": "-", "×": "x", "″": '"', "′": "'", "½": " 1/2", "’": "'"})


def _fixed(points: np.ndarray | Sequence) -> np.ndarray:
    """Points as OpenCV takes them with fractional bits."""
    return np.round(np.asarray(points) * 2**SHIFT).astype(np.int32)


def _sample(strip: np.ndarray, x: float, sample: Rgb | str | None) -> None:
    """The sample of a legend's entry."""
    ends = [(x, 30), (x + 72, 30)]
    if sample == "band":
        box(strip, x, x + 72, 14, 46, BAND)
        line(strip, ends, BLUE, 5)
    elif sample == "dashes":
        dashed(strip, (x, 30), (x + 76, 30), BLACK, 4, 15)
    elif sample == "hatching":
        for i in range(4):
            line(strip, [(x + 18 * i, 46), (x + 18 * i + 18, 14)], DARK_GREY, 3)
    elif isinstance(sample, str):
        mark(strip, (x + 46, 30), sample)
    elif sample is not None:
        line(strip, ends, BLACK, 11)
        line(strip, ends, sample, 6)
