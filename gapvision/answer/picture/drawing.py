"""What charts are drawn with: colours, lines, marks, legends and text, as shapes of reportlab.

They become the pixels of the picture (`raster.py`), vectors in the report's PDF and SVG in its
HTML. Points are ``(x, y)`` in px of a strip, integer at the pixel centre, y down; colours are RGB.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from reportlab.graphics.shapes import Drawing, Group, Path, Polygon, PolyLine, Rect, Shape, String
from reportlab.lib.attrmap import AttrMap, AttrMapValue
from reportlab.lib.colors import Color

from gapvision.answer.paper import BOLD, REGULAR, printable, register_fonts, width_of
from gapvision.phrases import NO_BREAK, joined

WIDTH_PX = 1600
PANEL_LEFT_PX, PANEL_RIGHT_PX = 132, 1576  # columns of photograph and plots; numbers stand left
TITLE_PX, SUBTITLE_PX, TEXT_PX, TICK_PX = 92, 50, 42, 40  # text sizes
HALF_DIGIT = 0.357  # of the text's size: digits and capitals are 0.714 high in Noto Sans

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

Rgb = tuple[int, int, int]
Point = tuple[float, float]


@dataclass(frozen=True, eq=False, slots=True)
class Strip:
    """A strip of the picture: shapes in the order in which they are drawn.

    Reportlab's y runs up, so that a point's is ``height - 0.5 - y``. ``photos`` lie under the
    shapes, each from a row on and from the panel's left: shape (h, w, 3), uint8, BGR.
    """

    height: int
    shapes: list[Shape] = field(default_factory=list)
    photos: list[tuple[int, np.ndarray]] = field(default_factory=list)


def blank(height: int, colour: Rgb = WHITE) -> Strip:
    """An empty strip."""
    strip = Strip(height)
    if colour != WHITE:
        strip.shapes.append(Rect(0, 0, WIDTH_PX, height, fillColor=rgb(colour), strokeColor=None))
    return strip


def stack(strips: Sequence[Strip]) -> Strip:
    """Strips, one under the other, as one."""
    out = Strip(sum(s.height for s in strips))
    top = 0
    for s in strips:
        up = out.height - top - s.height
        out.shapes.append(Group(*s.shapes, transform=(1, 0, 0, 1, 0, up)))
        out.photos.extend((top + row, photo) for row, photo in s.photos)
        top += s.height
    return out


def drawing_of(strip: Strip) -> Drawing:
    """The shapes of a strip as a drawing of reportlab, without photographs."""
    register_fonts()
    return Drawing(WIDTH_PX, strip.height, *strip.shapes)


def rgb(colour: Rgb) -> Color:
    """A colour as reportlab has it."""
    return Color(*(c / 255 for c in colour))


def line(
    strip: Strip, points: np.ndarray | Sequence, colour: Rgb, thickness: float, dash: float = 0
) -> None:
    """A line through points, shape (n, 2), of dashes as long as the spaces where said.

    A single point is a dot.
    """
    flat = _flat(strip, points)
    flat = 2 * flat if len(flat) == 2 else flat
    strip.shapes.append(
        PolyLine(
            flat,
            strokeColor=rgb(colour),
            strokeWidth=thickness,
            strokeDashArray=[dash, dash] if dash else None,
            # Round ones; reportlab's SVG has them wrong where they are stated for dashes.
            strokeLineCap=0 if dash else 1,
            strokeLineJoin=0 if dash else 1,
        )
    )


def polygon(strip: Strip, corners: np.ndarray | Sequence, colour: Rgb, rim: float = 0) -> None:
    """A filled polygon, shape (n, 2), with a black rim as thick as said."""
    strip.shapes.append(
        Polygon(
            _flat(strip, corners),
            fillColor=rgb(colour),
            strokeColor=rgb(BLACK) if rim else None,
            strokeWidth=rim,
            strokeLineJoin=1,
        )
    )


def box(
    strip: Strip, left: float, right: float, top: float, bottom: float, colour: Rgb, rim: float = 0
) -> None:
    """A filled upright rectangle."""
    polygon(strip, [(left, top), (right, top), (right, bottom), (left, bottom)], colour, rim)


def hatch(
    strip: Strip, left: float, right: float, top: float, bottom: float,
    colour: Rgb = DARK_GREY, thickness: float = 4,
) -> None:  # fmt: skip
    """Slanting lines in an upright rectangle."""
    top, bottom = top + thickness / 2, bottom - thickness / 2
    height = bottom - top
    path = Path(strokeColor=rgb(colour), strokeWidth=thickness, fillColor=None)
    for start in np.arange(left - height, right, 22):
        ends = np.clip((start, start + height), left, right)
        if np.ptp(ends) > 0:
            flat = _flat(strip, np.c_[ends, bottom - (ends - start)])
            path.moveTo(*flat[:2])
            path.lineTo(*flat[2:])
    strip.shapes.append(path)


def mark(strip: Strip, centre: Point, shape: str) -> None:
    """A filled mark with a dark rim: shapes differ, so that colour need not tell them apart.

    None where the place was not seen, and the centre is not finite.
    """
    shapes = {
        "triangle": ([(-20, -17), (20, -17), (0, 17)], WIDEST_COLOUR),  # points down at its place
        "diamond": ([(-20, 0), (0, -20), (20, 0), (0, 20)], DECIDING_COLOUR),
        "bead": ([(-9, 0), (0, -9), (9, 0), (0, 9)], WHITE),
        "square": ([(-15, -15), (15, -15), (15, 15), (-15, 15)], WHITE),
    }
    corners, colour = shapes[shape]
    if np.isfinite(centre).all():
        polygon(strip, np.array(corners) + centre, colour, rim=3 if shape == "bead" else 5)


def legend(items: Sequence[tuple[Rgb | str | None, str]]) -> Strip:
    """Samples and their names, as many to a row as fit.

    A sample is the colour of a line, the name of a `mark`, ``"band"``, ``"dashes"``, ``"hatching"``,
    ``"by hand"`` or None.
    """
    rows: list[Strip] = []
    x = np.inf
    for sample, name in items:
        width = text_width(name, TEXT_PX) + (90 if sample is not None else 0)
        if x + width > WIDTH_PX - 20:
            rows.append(blank(60))
            x = 24.0
        _sample(rows[-1], x, sample)
        text(rows[-1], (x + width, 30), name, TEXT_PX, anchor="end")
        x += width + 36
    return stack([blank(8), *rows, blank(12)])


def _sample(strip: Strip, x: float, sample: Rgb | str | None) -> None:
    """The sample of a legend's entry."""
    ends = [(x, 30), (x + 72, 30)]
    if sample == "band":
        box(strip, x, x + 72, 14, 46, BAND)
        line(strip, ends, BLUE, 6)
    elif sample == "dashes":
        line(strip, ends, BLACK, 5, dash=15)
    elif sample == "by hand":
        line(strip, ends, BLACK, 7)
        for at in (x + 8, x + 36, x + 64):
            mark(strip, (at, 30), "bead")
    elif sample == "hatching":
        hatch(strip, x, x + 72, 14, 46)
    elif isinstance(sample, str):
        mark(strip, (x + 46, 30), sample)
    elif sample is not None:
        line(strip, ends, BLACK, 11)
        line(strip, ends, sample, 6)


def text_width(words: str, size: float, bold: bool = False) -> float:
    """How wide a text is, px."""
    return width_of(words, BOLD if bold else REGULAR, size)


def text(
    strip: Strip,
    point: Point,
    words: str,
    size: float,
    colour: Rgb = BLACK,
    anchor: str = "middle",
    *,
    halo: Rgb | None = None,
    bold: bool = False,
) -> None:
    """Text from, to or about a point half-way up its digits: "start", "end" or "middle".

    It is moved into the strip, and made smaller where it would not fit.
    """
    if not words:
        return
    size *= min((WIDTH_PX - 40) / text_width(words, size, bold), 1.0)
    width = text_width(words, size, bold)
    left = point[0] - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width
    left = np.clip(left, 8, WIDTH_PX - 8 - width)
    x, y = _flat(strip, (left, point[1] + HALF_DIGIT * size))
    words, font = printable(words), BOLD if bold else REGULAR
    if halo:
        rim = _Halo(x, y, words, strokeColor=rgb(halo), fontName=font, fontSize=size)
        strip.shapes.append(rim)
    strip.shapes.append(String(x, y, words, fillColor=rgb(colour), fontName=font, fontSize=size))


def boxed(strip: Strip, centre: Point, words: str, size: float, colour: Rgb) -> None:
    """Text in a box of a colour, wholly within the panel."""
    half = text_width(words, size) / 2 + 14
    x = float(np.clip(centre[0], PANEL_LEFT_PX + half, PANEL_RIGHT_PX - half))
    box(strip, x - half, x + half, centre[1] - size * 0.62, centre[1] + size * 0.62, colour, rim=4)
    text(strip, (x, centre[1]), words, size)


def wrapped(words: str, size: float, width: float, most: int) -> list[str]:
    """Text cut into lines at spaces, and cut short with dots after so many lines.

    What `phrases.joined` holds together stays so.
    """
    register_fonts()
    lines: list[str] = []
    for word in joined(printable(words)).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " ..."]
    return [line.replace(NO_BREAK, " ") for line in lines]


class _Halo(String):  # type: ignore[misc]  # reportlab tells no types
    """The rim that sets a text off from what is under it; the text itself follows."""

    _attrMap = AttrMap(
        BASE=String,
        strokeColor=AttrMapValue(None),
        strokeWidth=AttrMapValue(None),
        strokeLineJoin=AttrMapValue(None),
    )

    def __init__(self, x: float, y: float, text: str, **look: object) -> None:
        super().__init__(x, y, text, textRenderMode=1, strokeWidth=8, strokeLineJoin=1, **look)


def _flat(strip: Strip, points: np.ndarray | Sequence) -> list[float]:
    """Points, shape (n, 2), as reportlab takes them: x, y, x, y and so on, y up."""
    flipped = np.asarray(points, float) * (1, -1) + (0.5, strip.height - 0.5)
    return np.round(flipped, 1).ravel().tolist()
