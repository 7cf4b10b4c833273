"""What the field sheet is drawn with: logs, cards, a person, a phone, and marks that say yes or no.

All lengths are mm on the page, y up; black, grey and few colours, so that a print without colour
says the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypedDict, Unpack

from reportlab.lib.colors import Color, black, white
from reportlab.pdfgen.canvas import Canvas

from gapvision.answer.paper import BOLD, REGULAR
from gapvision.answer.picture.drawing import BLUE, VERMILLION, rgb

Point = tuple[float, float]

WOOD, END_GRAIN = Color(0.93, 0.86, 0.74), Color(0.97, 0.93, 0.85)
CLOTH, SKIN, CLOTHES = Color(0.86, 0.9, 0.93), Color(0.85, 0.85, 0.85), Color(0.45, 0.45, 0.45)
BLUE_INK, RED_INK = rgb(BLUE), rgb(VERMILLION)
_RINGS = (0.62, 0.3)  # of an end's radius

# A person's joints in m, looking right, the feet at (0, 0): neck, hip, knees, feet, elbow; and the
# head's middle. The hand is wherever the phone is.
STANDING = {
    "head": (0.0, 1.6), "neck": (-0.02, 1.42), "hip": (-0.04, 0.9), "elbow": (0.14, 1.18),
    "knees": ((-0.06, 0.46), (0.06, 0.47)), "feet": ((-0.1, 0.0), (0.1, 0.0)),
}  # fmt: skip
CROUCHING = {
    "head": (0.0, 1.04), "neck": (-0.06, 0.88), "hip": (-0.2, 0.4), "elbow": (0.1, 0.66),
    "knees": ((0.08, 0.22), (0.16, 0.52)), "feet": ((-0.2, 0.02), (0.14, 0.0)),
}  # fmt: skip


def text(
    pdf: Canvas, x: float, y: float, words: str, size: float = 3.6, *, font: str = REGULAR,
    align: str = "left", ink: Color = black,
) -> None:  # fmt: skip
    """A line of text, its base line at y and ``align`` ("left", "middle", "right") at x."""
    pdf.setFillColor(ink)
    pdf.setFont(font, size)
    draw = {"left": pdf.drawString, "middle": pdf.drawCentredString, "right": pdf.drawRightString}
    draw[align](x, y, words)


class _Look(TypedDict, total=False):
    """How `text` looks, where it is said."""

    font: str
    align: str
    ink: Color


def lines(
    pdf: Canvas, x: float, y: float, words: Sequence[str], size: float = 3.6, **how: Unpack[_Look]
) -> None:
    """Lines of text, the first at y and the others below."""
    for k, line in enumerate(words):
        text(pdf, x, y - 1.3 * size * k, line, size, **how)


def log_side(pdf: Canvas, x0: float, x1: float, y: float, radius: float) -> None:
    """A log that lies across, its middle at y."""
    _pen(pdf, 0.3, fill=WOOD)
    pdf.roundRect(x0, y - radius, x1 - x0, 2 * radius, min(0.35 * radius, 2), stroke=1, fill=1)
    pdf.setStrokeColor(Color(0.72, 0.6, 0.44))
    for part, inset in ((0.45, 0.1), (-0.1, 0.2), (-0.55, 0.06)):
        span = x1 - x0
        pdf.line(
            x0 + inset * span, y + part * radius, x1 - (0.26 - inset) * span, y + part * radius
        )


def log_end(pdf: Canvas, x: float, y: float, radius: float) -> None:
    """A log seen on its end."""
    _pen(pdf, 0.3, fill=END_GRAIN)
    pdf.circle(x, y, radius, fill=1)
    pdf.setStrokeColor(Color(0.72, 0.6, 0.44))
    for part in _RINGS:
        pdf.circle(x, y, part * radius)


def card_face(pdf: Canvas, x: float, nail: float, width: float, plumb: bool = True) -> None:
    """A card from its front, its nail at (x, nail)."""
    height, pin = width * 102 / 262, width * 4 / 262
    pdf.saveState()
    pdf.translate(x, nail)
    if not plumb:
        pdf.rotate(9)
    _pen(pdf, 0.25, fill=white)
    pdf.rect(-width / 2, pin - height, width, height, fill=1)
    square, left, top = width * 22 / 262, -width * 121 / 262, pin - width * 8 / 262
    pdf.setFillColor(black)
    for row in range(4):
        for column in range(row % 2, 11, 2):
            pdf.rect(left + column * square, top - (row + 1) * square, square, square, 0, 1)
    pdf.circle(0, 0, max(0.55, width / 60), stroke=0, fill=1)
    pdf.restoreState()


def edge_on(pdf: Canvas, x: float, nail: float, height: float) -> None:
    """A card from its edge, on a nail in the log's face at (x, nail)."""
    _pen(pdf, 0.5)
    pdf.line(x - 2, nail, x + 2, nail)
    pdf.setLineWidth(0.9)
    pdf.line(x + 1, nail + 0.4, x + 1, nail + 0.4 - height)


def phone(pdf: Canvas, x: float, y: float, size: float = 2.4) -> None:
    """A phone held across, from its side: its lens at (x, y) looks right."""
    pdf.setFillColor(black)
    pdf.roundRect(x - 0.35 * size, y - size / 2, 0.35 * size, size, 0.12 * size, 0, 1)
    pdf.circle(x, y, 0.16 * size, stroke=0, fill=1)


def person(pdf: Canvas, x: float, y: float, scale: float, pose: dict, hand: Point) -> None:
    """A person at (x, y), ``scale`` mm to the metre, with the phone in the hand (m, from the feet)."""

    def at(point: Point) -> Point:
        return x + scale * point[0], y + scale * point[1]

    _pen(pdf, 0.11 * scale, CLOTHES)
    for knee, foot in zip(pose["knees"], pose["feet"], strict=True):
        _path(pdf, [at(pose["hip"]), at(knee), at(foot), at((foot[0] + 0.13, foot[1]))])
    pdf.setLineWidth(0.2 * scale)
    _path(pdf, [at(pose["neck"]), at(pose["hip"])])
    _pen(pdf, 0.08 * scale, SKIN)
    _path(pdf, [at(pose["neck"]), at(pose["elbow"]), at(hand)])
    _pen(pdf, 0.25, fill=SKIN)
    pdf.circle(*at(pose["head"]), 0.115 * scale, fill=1)


def helmet(pdf: Canvas, x: float, y: float, radius: float) -> None:
    """A helmet on a head of this middle and radius."""
    _pen(pdf, 0.25, fill=BLUE_INK)
    path = pdf.beginPath()
    path.arc(x - 1.15 * radius, y - 1.05 * radius, x + 1.15 * radius, y + 1.25 * radius, 0, 180)
    path.lineTo(x + 1.6 * radius, y + 0.1 * radius)
    path.close()
    pdf.drawPath(path, stroke=1, fill=1)


def hand(pdf: Canvas, x: float, y: float, size: float) -> None:
    """An open hand that reaches right, its palm's middle at (x, y)."""
    _pen(pdf, 0.3, fill=SKIN)
    finger = size * 0.19
    for k in range(4):
        reach = size * (0.62, 0.72, 0.7, 0.56)[k]
        low = y + (k - 2) * 1.18 * finger
        pdf.roundRect(x, low, size * 0.42 + reach, finger, finger / 2, 1, 1)
    pdf.roundRect(x - size * 0.45, y - 2.36 * finger, size, 4.7 * finger, 0.6 * finger, 1, 1)
    pdf.saveState()
    pdf.translate(x - size * 0.1, y + 2.1 * finger)
    pdf.rotate(52)
    pdf.roundRect(0, -finger / 2, size * 0.62, 1.15 * finger, finger / 2, 1, 1)
    pdf.restoreState()


def ladder(pdf: Canvas, x: float, y: float, height: float) -> None:
    """A ladder that leans to the right, its feet at (x, y)."""
    _pen(pdf, 0.7)
    lean, wide, steps = 0.22 * height, 0.26 * height, 6
    for side in (0, wide):
        pdf.line(x + side, y, x + side + lean, y + height)
    for k in range(1, steps):
        part = k / steps
        pdf.line(x + lean * part, y + height * part, x + lean * part + wide, y + height * part)


def dog(pdf: Canvas, a: Point, b: Point, bend: float) -> None:
    """A log dog from a to b, its points bent aside."""
    _pen(pdf, 1.1)
    x, y = b[0] - a[0], b[1] - a[1]
    length = math.hypot(x, y)
    aside = bend * y / length, -bend * x / length
    _path(pdf, [(a[0] + aside[0], a[1] + aside[1]), a, b, (b[0] + aside[0], b[1] + aside[1])])


def arrow(pdf: Canvas, a: Point, b: Point, ink: Color = black, both: bool = False) -> None:
    """A thin arrow to b, with a head at a too where said."""
    _pen(pdf, 0.35, ink, ink)
    pdf.line(*a, *b)
    for (x, y), other in ((b, a), (a, b))[: 1 + both]:
        along = math.atan2(y - other[1], x - other[0])
        path = pdf.beginPath()
        path.moveTo(x, y)
        for turn in (2.75, -2.75):
            path.lineTo(x + 1.9 * math.cos(along + turn), y + 1.9 * math.sin(along + turn))
        path.close()
        pdf.drawPath(path, stroke=0, fill=1)


def dashed(pdf: Canvas, a: Point, b: Point, ink: Color = BLUE_INK) -> None:
    """A thin dashed line."""
    pdf.saveState()
    _pen(pdf, 0.35, ink)
    pdf.setDash(1.2, 0.9)
    pdf.line(*a, *b)
    pdf.restoreState()


def cross(pdf: Canvas, x: float, y: float, half: float) -> None:
    """The cross over what must not be done."""
    for width, ink in ((2.6, white), (1.5, RED_INK)):
        _pen(pdf, width, ink)
        pdf.line(x - half, y - half, x + half, y + half)
        pdf.line(x - half, y + half, x + half, y - half)


def badge(pdf: Canvas, x: float, y: float, sign: str, radius: float = 4.2) -> None:
    """A number or letter, white on black."""
    pdf.setFillColor(black)
    pdf.circle(x, y, radius, stroke=0, fill=1)
    text(pdf, x, y - 0.5 * radius, sign, 1.4 * radius, font=BOLD, align="middle", ink=white)


def _pen(pdf: Canvas, width: float, ink: Color = black, fill: Color = white) -> None:
    pdf.setLineWidth(width)
    pdf.setStrokeColor(ink)
    pdf.setFillColor(fill)
    pdf.setLineCap(1)
    pdf.setLineJoin(1)


def _path(pdf: Canvas, points: Sequence[Point]) -> None:
    path = pdf.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    pdf.drawPath(path)
