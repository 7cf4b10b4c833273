"""The field sheet: one upright page that shows an apprentice how to hang, stand and shoot."""

from __future__ import annotations

from reportlab.lib.colors import black
from reportlab.pdfgen.canvas import Canvas

from gapvision.advice.findings import STEEPER
from gapvision.answer.paper import BOLD, register_fonts
from gapvision.lengths import format_length
from gapvision.shoot.figures import (
    BLUE_INK,
    CLOTH,
    CROUCHING,
    STANDING,
    arrow,
    badge,
    card_face,
    cross,
    dashed,
    dog,
    edge_on,
    hand,
    helmet,
    ladder,
    lines,
    log_end,
    log_side,
    person,
    phone,
    text,
)
from gapvision.shoot.ways import CARDS_APART_MM, SMALL_LOG_MM, USUAL_DISTANCE_MM, VIEW

# The drawing, mm: what both papers hold within the 10 mm that any printer prints.
WIDTH_MM, HEIGHT_MM = 190.0, 259.0
_HALF = 92.0  # of the upper row's two fields
_RISE_MM = STEEPER * USUAL_DISTANCE_MM

_EYE = 1.48  # of a standing builder's chin, m: as high as the lens can be held with ease
_REACH = 0.32  # from the feet to the phone, m


def draw_field_sheet(pdf: Canvas, width: float, height: float) -> None:
    """The page's drawing on a sheet of this size; mm from the sheet's lower left."""
    register_fonts()
    pdf.translate((width - WIDTH_MM) / 2, (height - HEIGHT_MM) / 2)
    text(pdf, 0, HEIGHT_MM - 8, "Photograph a joint", 9, font=BOLD)
    text(pdf, WIDTH_MM, HEIGHT_MM - 8, "gapvision field sheet", 3.6, align="right")
    for part, x, y in (
        (_make_fast, 0, 182),
        (_hang, WIDTH_MM - _HALF, 182),
        (_stand, 0, 113),
        (_shoot, 0, 32),
        (_never, 0, 0),
    ):
        pdf.saveState()
        pdf.translate(x, y)
        part(pdf)
        pdf.restoreState()


def _field(pdf: Canvas, number: str, title: str, width: float, height: float) -> None:
    """A field's rim, its number and its name."""
    pdf.setLineWidth(0.4)
    pdf.setStrokeColor(black)
    pdf.roundRect(0, 0, width, height, 2)
    badge(pdf, 7, height - 7, number)
    text(pdf, 14, height - 9.2, title, 6.2, font=BOLD)


def _make_fast(pdf: Canvas) -> None:
    """Both ends dogged; the lower log swept, a cloth behind the gap."""
    _field(pdf, "1", "MAKE FAST", _HALF, 66)
    low, high, radius = 16.5, 37.5, 7.6
    pdf.setFillColor(CLOTH)
    pdf.rect(18, low, 56, high - low, stroke=0, fill=1)
    log_side(pdf, 4, 88, low, radius)
    log_side(pdf, 4, 88, high, radius)
    for x, out in ((13, 1), (79, -1)):
        log_end(pdf, x, (low + high) / 2, 7.5)
        dog(pdf, (x + out * 3, (low + high) / 2 + 3), (x + out * 10, high + 3), -out * 2.2)
    text(pdf, 46, 51, "Dog or chock both ends.", align="middle")
    arrow(pdf, (28, 49.6), (20.5, 42.5))
    arrow(pdf, (64, 49.6), (71.5, 42.5))
    text(pdf, 46, 25.8, "plain cloth behind the gap", 3.2, align="middle")
    text(pdf, 46, 3.5, "Sweep chips and bark off the lower log.", align="middle")


def _hang(pdf: Canvas) -> None:
    """The card from its front, from its edge, and on a thin log."""
    _field(pdf, "2", "HANG", _HALF, 66)
    low, high, radius = 11.0, 34.0, 10.0
    log_side(pdf, 4, 40, low, 7)
    log_side(pdf, 4, 40, high, radius)
    card_face(pdf, 22, high + 0.5, 26)
    lines(pdf, 22, 51, ("nail or pin", "at mid height"), 3.2, align="middle")
    x = 53.0
    log_end(pdf, x, low, 7)
    log_end(pdf, x, high, radius)
    edge_on(pdf, x + radius, high + 0.5, 10)
    dashed(pdf, (x + radius + 1, high - 11), (x + radius + 1, low - 5))
    lines(pdf, x + 1, 51, ("hangs plumb,", "swings free"), 3.2, align="middle")
    x = 79.0
    log_end(pdf, x, low + 4, 5.5)
    log_end(pdf, x, low + 18, 5.5)
    edge_on(pdf, x + 5.5, low + 4.5, 10)
    thin = (f"log under {SMALL_LOG_MM:.0f} mm", "(10 in): on the", "lower one")
    lines(pdf, x - 1, 51, thin, 2.8, align="middle")


def _stand(pdf: Canvas) -> None:
    """Three heights from one distance."""
    _field(pdf, "3", "STAND", WIDTH_MM, 66)
    away = f"{USUAL_DISTANCE_MM / 1000:g} m (5 ft) from the logs. Square to the wall, phone held across."
    text(pdf, 46, 57.5, away)
    rise = f"{_RISE_MM:.0f} mm ({format_length(_RISE_MM, 'in')})"
    gap, scale = _EYE - _RISE_MM / 1000, 22.0
    for k, (sign, pose, words, more) in enumerate(
        (
            (0, STANDING, "level with the gap", "phone at the chest"),
            (1, STANDING, f"{rise} higher", "phone at the chin"),
            (-1, CROUCHING, f"{rise} lower", "crouch"),
        )
    ):
        pdf.saveState()
        pdf.translate(4 + 62.3 * k, 13.5)
        _scene(pdf, scale, gap, sign, pose)
        text(pdf, 2, -5, words, 3.8, font=BOLD)
        text(pdf, 2, -9.6, more, 3.4)
        pdf.restoreState()


def _scene(pdf: Canvas, scale: float, gap: float, sign: int, pose: dict) -> None:
    """A person at the wall, to scale: feet at 0.35 m, the logs' face at the usual distance."""
    x, lens = 0.35 * scale, gap + sign * _RISE_MM / 1000
    eye = x + _REACH * scale
    face = eye + USUAL_DISTANCE_MM / 1000 * scale
    radius = 0.15 * scale
    middle = face + radius
    pdf.setLineWidth(0.4)
    pdf.setStrokeColor(black)
    pdf.line(0, -0.8, middle + 2 * radius, -0.8)
    pdf.setFillColor(CLOTH)
    pdf.rect(middle + 1.4 * radius, (gap - 0.2) * scale, 0.8, 0.5 * scale, 0, 1)
    log_end(pdf, middle, (gap + 0.04) * scale + radius, radius)
    y = (gap - 0.04) * scale - radius
    while y > 0:
        log_end(pdf, middle, y, radius)
        y -= 1.8 * radius
    person(pdf, x, 0, scale, pose, (_REACH, lens))
    head = pose["head"]
    helmet(pdf, x + head[0] * scale, head[1] * scale, 0.115 * scale)
    phone(pdf, eye, lens * scale)
    dashed(pdf, (eye + 0.8, lens * scale), (middle, gap * scale))
    if sign:
        across = eye + 0.42 * scale
        dashed(pdf, (eye, gap * scale), (middle, gap * scale), black)
        arrow(pdf, (across, gap * scale), (across, lens * scale), both=True)
    else:
        arrow(pdf, (eye, 0.3 * scale), (face, 0.3 * scale), both=True)
        text(pdf, (eye + face) / 2, 0.36 * scale, "1.5 m", 3.4, font=BOLD, align="middle")


def _shoot(pdf: Canvas) -> None:
    """A long log in frames that share cards, the notches in the first and the last."""
    _field(pdf, "4", "SHOOT", WIDTH_MM, 77)
    _slip(pdf, 4, 49)
    text(pdf, 46, 68.5, "All three heights from every place. Neighbouring pictures share a card.")
    scale, left, low, radius = 29.0, 39.0, 31.0, 4.4  # mm to the metre; the left notch
    right, high = left + 4.2 * scale, low + 2 * radius + 1.4
    middle = (low + high) / 2
    log_side(pdf, left - 12, right + 12, low, radius)
    log_side(pdf, left - 12, right + 12, high, radius)
    for x in (left - 4, right + 4):
        log_end(pdf, x, middle, 4)
    cards = [left + scale * x for x in (0.3, 1.2, 2.1, 3.0, 3.9)]
    for x in cards:
        card_face(pdf, x, high, 0.262 * scale)
    wide = VIEW * USUAL_DISTANCE_MM / 1000 * scale
    for k, (x, lift) in enumerate(((0.62, 0.0), (2.1, 2.6), (3.58, 0.0))):
        _frame(pdf, left + x * scale, middle + lift, wide, "ABC"[k])
    for x in (cards[1], cards[3]):
        arrow(pdf, (x, 15.5), (x, high - 5), BLUE_INK)
        text(pdf, x, 11.5, "in both", 3.4, align="middle", ink=BLUE_INK)
    for x, tip in ((left - 24, left - 6), (right + 17, right + 6)):
        arrow(pdf, (x, 20), (tip, middle - 3.5))
        lines(pdf, x, 15.5, ("notch", "in the picture"), 3.2, align="middle")
    arrow(pdf, (cards[0], high + 6), (cards[1], high + 6), both=True)
    apart = f"{CARDS_APART_MM / 1000:g} m (3 ft)"
    text(pdf, (cards[0] + cards[1]) / 2, high + 7.2, apart, 3.2, align="middle")
    words = "Main camera, no zoom, no flash. Hold still."
    text(pdf, WIDTH_MM / 2, 3.5, words, align="middle")


def _slip(pdf: Canvas, x: float, y: float) -> None:
    """The slip that is photographed before the joint."""
    pdf.setLineWidth(0.3)
    pdf.setStrokeColor(black)
    pdf.rect(x, y, 17, 11)
    for k in range(36):
        row, column = divmod(k, 6)
        if (7 * row + 5 * column + row * column) % 3:
            pdf.rect(x + 8.6 + 1.3 * column, y + 1.6 + 1.3 * row, 1.3, 1.3, 0, 1)
    for k in range(3):
        pdf.line(x + 1.5, y + 8.5 - 2.5 * k, x + 6.5, y + 8.5 - 2.5 * k)
    lines(pdf, x, y - 4, ("first the slip,", "0.25 m (10 in)", "away"), 3.0)


def _frame(pdf: Canvas, x: float, y: float, width: float, sign: str) -> None:
    """What one photograph shows, its middle at (x, y)."""
    tall = 0.62 * width  # lower than it is: the sky above the log says nothing
    pdf.setLineWidth(0.8)
    pdf.setStrokeColor(BLUE_INK)
    pdf.roundRect(x - width / 2, y - tall / 2, width, tall, 2)
    badge(pdf, x, y + tall / 2, sign, 3)


def _never(pdf: Canvas) -> None:
    """What must not be done, each crossed out."""
    for x, draw, words in (
        (0, _reach_in, ("No hand", "in the gap")),
        (46, _climb, ("Not from", "a ladder")),
        (86, _step_back, ("Never step back", "looking at the phone")),
        (143, _move, ("Nothing moves", "till the last one")),
    ):
        pdf.saveState()
        pdf.translate(x, 0)
        draw(pdf)
        lines(pdf, 21, 15.5, words, 3.1, font=BOLD)
        pdf.restoreState()


def _reach_in(pdf: Canvas) -> None:
    log_end(pdf, 13, 5.5, 5.5)
    log_end(pdf, 13, 22.5, 5.5)
    hand(pdf, 5.5, 14, 9)
    cross(pdf, 10, 14, 6)


def _climb(pdf: Canvas) -> None:
    ladder(pdf, 3, 2, 24)
    cross(pdf, 9, 14, 6)


def _step_back(pdf: Canvas) -> None:
    pdf.setLineWidth(1.4)
    pdf.setStrokeColor(black)
    pdf.line(6, 4, 19, 4)
    pdf.line(16, 0, 16, 4)
    person(pdf, 7.5, 5, 11.5, STANDING, (_REACH, 1.45))
    phone(pdf, 7.5 + 11.5 * _REACH, 5 + 11.5 * 1.45)
    arrow(pdf, (8, 27), (1, 27))
    cross(pdf, 10, 14, 6)


def _move(pdf: Canvas) -> None:
    log_side(pdf, 0, 19, 6, 4.5)
    log_side(pdf, 0, 19, 18, 4.5)
    arrow(pdf, (3, 25.5), (16, 25.5), both=True)
    cross(pdf, 9.5, 12, 6)
