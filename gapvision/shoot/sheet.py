"""The sheets to print: scale cards at true size, marks to set a scriber on, the field sheet."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from gapvision.answer.paper import PAPERS_MM
from gapvision.files import write_new
from gapvision.lengths import CHECK_BAR_MM, SIXTEENTH_MM
from gapvision.scene.card import (
    BAR_ABOVE_EDGE_MM,
    CARD_COUNT,
    CARD_HEIGHT_MM,
    CARD_WIDTH_MM,
    COLUMNS,
    NAIL_BELOW_TOP_MM,
    ROWS,
    SIDE_MARGIN_MM,
    SQUARE_MM,
    TOP_MARGIN_MM,
    board,
    outline_mm,
)
from gapvision.shoot.field_sheet import draw_field_sheet

# Sheets lie across: width and height.
LANDSCAPE_MM = {name: (long, short) for name, (short, long) in PAPERS_MM.items()}
CARDS_PER_SHEET = 2

SHORTEST_SETTING_MM = 20
LONGEST_SETTING_MM = 150

# Squares, markers and marker modules (17 / 6 mm) all begin on whole sixths of a millimetre.
_PX_PER_MM = 6
_TICK_MM = 2.0  # half a tick of the check bar
_LINE_MM = 0.25

_HANG = (
    "Hang it by a push pin or cord through the hole: it must swing free and plumb.",
    "Glue it to something stiff, flat and matt, no larger than the card itself.",
)
_PRINT = (
    "Print at 100 %. Measure the bar with a good rule and tell the program: --printed-bar",
    "Flat and uncut, this sheet calibrates the phone. Then cut at the marks' inner ends.",
)

# The setting sheets. Printers leave some 5 mm white all round, so nothing is nearer to the edge.
_PAGE_MARGIN_MM = 9.0
_FIRST_BASE_MM = 17.0  # of the lower pairs above the sheet's lower edge: the check bar is below
_TOP_BASE_MM = 16.0  # of the upper pairs below the sheet's upper edge: the title is above
_ARM_MM = 1.3  # of a mark's cross
_LABEL_MM = 3.6  # type size; the columns are about 4 mm apart
_TWO_LABELS_MM = 45  # on a shorter pair two labels would leave no line to be seen between them


def write_cards(
    path: str | Path,
    paper: str = "a4",
    first: int = 1,
    count: int = 2,
    *,
    setting_sheet: bool = False,
    field_sheet: bool = False,
    overwrite: bool = False,
) -> None:
    """Write cards, two to a landscape sheet, as a PDF to be printed at 100 %.

    A sheet carries its lower number above. An odd count leaves the lower place of the last sheet
    empty; the upper card stays where it always is.

    Parameters
    ----------
    path : str or Path
        The PDF.
    paper : {"a4", "letter"}
        The sheet.
    first, count : int
        The cards ``first`` to ``first + count - 1``, all within 1 to `CARD_COUNT`.
    setting_sheet : bool
        Whether two more pages follow, with marks to set a scriber on: one in millimetres and one in
        sixteenths of an inch, from `SHORTEST_SETTING_MM` to `LONGEST_SETTING_MM`.
    field_sheet : bool
        Whether one upright page follows that shows how to hang, stand and shoot.
    overwrite : bool
        Whether a file of this name may be replaced.

    Raises
    ------
    ValueError
        If the paper is not known, or a card would be outside 1 to `CARD_COUNT`.
    MeasurementError
        ``"file-exists"``; ``"no-folder"``; ``"not-written"`` if the disk refuses.
    """
    if paper not in LANDSCAPE_MM:
        raise ValueError(f"paper must be one of {', '.join(LANDSCAPE_MM)}, not {paper!r}")
    if count < 1:
        raise ValueError(f"count must be at least 1 card, not {count}")
    if first < 1 or first + count - 1 > CARD_COUNT:
        raise ValueError(
            f"card numbers run from 1 to {CARD_COUNT}: "
            f"first {first} and count {count} ask for cards {first} to {first + count - 1}"
        )
    numbers = range(first, first + count)
    sheets = [numbers[i : i + CARDS_PER_SHEET] for i in range(0, count, CARDS_PER_SHEET)]

    content = io.BytesIO()
    width, height = LANDSCAPE_MM[paper]
    # Invariant: the same cards give the same file, without a date in it.
    pdf = Canvas(content, pagesize=(width * mm, height * mm), invariant=1)
    pdf.setTitle("gapvision scale cards")
    pdf.setAuthor("gapvision")
    pdf.setViewerPreference("PrintScaling", "None")  # else viewers shrink the sheet to its margins
    for sheet in sheets:
        pdf.scale(mm, mm)
        _draw_sheet(pdf, width, height, sheet)
        pdf.showPage()
    for ladder in _LADDERS if setting_sheet else ():
        pdf.scale(mm, mm)
        _draw_settings(pdf, width, height, ladder)
        pdf.showPage()
    if field_sheet:
        upright = PAPERS_MM[paper]
        pdf.setPageSize(tuple(side * mm for side in upright))
        pdf.scale(mm, mm)
        draw_field_sheet(pdf, *upright)
        pdf.showPage()
    pdf.save()
    write_new(Path(path), content.getvalue(), "the cards", overwrite)


def _draw_sheet(pdf: Canvas, width: float, height: float, numbers: Sequence[int]) -> None:
    """Up to two cards one above the other, their notes beside them; mm from the lower left."""
    top = height / 2 + CARD_HEIGHT_MM
    for place in range(CARDS_PER_SHEET):
        nail_y = top - place * CARD_HEIGHT_MM - NAIL_BELOW_TOP_MM
        if place < len(numbers):
            pdf.saveState()
            pdf.translate(width / 2, nail_y)
            _draw_card(pdf, numbers[place])
            _draw_cut_marks(pdf, above=place == 0)
            pdf.restoreState()
        # A Letter sheet is only 8.7 mm wider than a card on each side, and a printer leaves some of
        # that white: one line of small type close to the card is all there is room for.
        middle = nail_y + NAIL_BELOW_TOP_MM - CARD_HEIGHT_MM / 2
        _draw_upright(pdf, (width - CARD_WIDTH_MM) / 2 - 1.7, middle, _HANG[place], 2.5)
        _draw_upright(pdf, (width + CARD_WIDTH_MM) / 2 + 3.5, middle, _PRINT[place], 2.5)


def _draw_card(pdf: Canvas, number: int) -> None:
    """One card, in its own frame."""
    left, top = outline_mm()[0]
    pdf.setFillGray(0)
    pdf.setStrokeGray(0)
    pdf.setLineWidth(_LINE_MM)

    path = pdf.beginPath()
    for loop in _dark_outlines_mm(number):
        x, y = loop.T
        points = np.column_stack([left + SIDE_MARGIN_MM + x, top - TOP_MARGIN_MM - y]).tolist()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        path.close()
    pdf.drawPath(path, stroke=0, fill=1, fillMode=0)  # even-odd

    pdf.circle(0, 0, 1.2)
    pdf.line(-2, 0, 2, 0)
    pdf.line(0, -2, 0, 2)
    pdf.setFont("Helvetica-Bold", 5.5)  # two digits are 6.1 mm wide
    pdf.drawString(left + 2, top - 14, str(number))
    _draw_check_bar(pdf, -CHECK_BAR_MM / 2, top - CARD_HEIGHT_MM + BAR_ABOVE_EDGE_MM)


def _dark_outlines_mm(number: int) -> list[np.ndarray]:
    """Closed outlines (n, 2) of all that is dark on the board; mm, board frame.

    Outlines and not module by module: between two rectangles that only touch, viewers and printers
    leave a pale seam.
    """
    size = [round(n * SQUARE_MM * _PX_PER_MM) for n in (COLUMNS, ROWS)]
    dark = np.pad(board(number).generateImage(size, marginSize=0) == 0, 1)
    # The lattice of all places where anything changes; cell [i, j] ends at lattice line [i, j].
    x = np.flatnonzero((dark[:, 1:] != dark[:, :-1]).any(axis=0))
    y = np.flatnonzero((dark[1:] != dark[:-1]).any(axis=1))
    cell = np.pad(dark[np.ix_(y[1:], x[1:])], 1)

    # Every side between dark and white as a step from lattice point to lattice point, dark on its
    # right, so that the steps join to loops.
    steps: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for i, j in np.argwhere(cell[1:, 1:-1] != cell[:-1, 1:-1]).tolist():  # along x
        ends = ((j, i), (j + 1, i)) if cell[i + 1, j + 1] else ((j + 1, i), (j, i))
        steps.setdefault(ends[0], []).append(ends[1])
    for i, j in np.argwhere(cell[1:-1, 1:] != cell[1:-1, :-1]).tolist():  # along y
        ends = ((j, i + 1), (j, i)) if cell[i + 1, j + 1] else ((j, i), (j, i + 1))
        steps.setdefault(ends[0], []).append(ends[1])

    loops = []
    while steps:
        loop = [next(iter(steps))]
        while loop[-1] in steps:
            ways = steps[loop[-1]]
            loop.append(ways.pop())
            if not ways:
                del steps[loop[-2]]
        at = np.array(loop[:-1])
        loops.append(np.column_stack([x[at[:, 0]], y[at[:, 1]]]) / _PX_PER_MM)
    return loops


def _draw_check_bar(pdf: Canvas, x: float, y: float) -> None:
    """A line of `CHECK_BAR_MM` to the right of (x, y), its ends in the middle of two ticks."""
    pdf.setLineWidth(_LINE_MM)
    pdf.line(x, y, x + CHECK_BAR_MM, y)
    for at in (x, x + CHECK_BAR_MM):
        pdf.line(at, y - _TICK_MM, at, y + _TICK_MM)


def _draw_cut_marks(pdf: Canvas, above: bool) -> None:
    """Lines outside a card whose inner ends are its corners, in its frame.

    The inner ends count because A4 has just 3 mm above and below the cards, which many printers
    leave white: the marks at the sides must do alone.
    """
    pdf.setLineWidth(0.12)
    for x, y in outline_mm().tolist():
        pdf.line(x, y, x + np.copysign(4, x), y)
        if (y > 0) == above:  # at its other edge the neighbouring card begins
            pdf.line(x, y, x, y + (2.5 if above else -2.5))


def _draw_upright(
    pdf: Canvas, x: float, y: float, text: str, size: float, font: str = "Helvetica"
) -> None:
    """A line of text read from below upwards, its base line at x and its middle at y."""
    pdf.saveState()
    pdf.translate(x, y)
    pdf.rotate(90)
    pdf.setFillGray(0)
    pdf.setFont(font, size)
    pdf.drawCentredString(0, 0, text)
    pdf.restoreState()


def _inches(sixteenths: int) -> str:
    """A length as on a tape, as in 2 5/16."""
    whole, part = divmod(sixteenths, 16)
    common = int(np.gcd(part, 16))
    fraction = f"{part // common}/{16 // common}" if part else ""
    return f"{whole or ''} {fraction}".strip()


@dataclass(frozen=True, slots=True)
class _Ladder:
    """The pairs of one setting sheet, every ``step_mm``, and what a rule must read on one of them."""

    unit: str
    check: str
    step_mm: float
    bold_every: int
    label: Callable[[int], str]

    def pairs(self) -> list[tuple[float, str, bool]]:
        """Setting, label and whether it is bold, shortest first."""
        least = int(np.ceil(SHORTEST_SETTING_MM / self.step_mm))
        most = int(LONGEST_SETTING_MM / self.step_mm)
        return [
            (n * self.step_mm, self.label(n), n % self.bold_every == 0)
            for n in range(least, most + 1)
        ]


_LADDERS = (
    _Ladder("millimetres", "pair 100 must read 100.0 mm as well", 1.0, 5, str),
    _Ladder("inches", "pair 4 must read 4 in (101.6 mm)", SIXTEENTH_MM, 8, _inches),
)


def _draw_settings(pdf: Canvas, width: float, height: float, ladder: _Ladder) -> None:
    """A page of upright pairs, two to a column; mm from the sheet's lower left.

    The longest pair shares its column with the shortest, the next with the next: so all columns
    are filled alike, and half as many leave room for large labels.
    """
    pdf.setFillGray(0)
    pdf.setFont("Helvetica-Bold", 4.5)
    pdf.drawString(_PAGE_MARGIN_MM, height - 10.5, f"Scriber settings in {ladder.unit}")
    pdf.setFont("Helvetica", 3.4)
    how = "True size, print at 100 %. Set the scriber on the crosses at the two ends of one line."
    pdf.drawRightString(width - _PAGE_MARGIN_MM, height - 10.5, how)

    pairs = ladder.pairs()
    columns = (len(pairs) + 1) // 2
    upper, lower = pairs[: len(pairs) - columns], pairs[: -columns - 1 : -1]
    pitch = (width - 2 * _PAGE_MARGIN_MM) / columns
    for k in range(columns):
        x = _PAGE_MARGIN_MM + (k + 0.5) * pitch
        _draw_pair(pdf, x, _FIRST_BASE_MM, 1, *lower[k])
        if k < len(upper):
            _draw_pair(pdf, x, height - _TOP_BASE_MM, -1, *upper[k])

    _draw_check_bar(pdf, _PAGE_MARGIN_MM, 8)
    pdf.setFillGray(0)
    pdf.setFont("Helvetica", 3.4)
    note = (
        f"The bar must read 100.0 mm on a good rule, and {ladder.check}.",
        "If either does not, do not use this sheet: set the scriber on the rule.",
    )
    for line, y in zip(note, (9.2, 5.2), strict=True):
        pdf.drawString(_PAGE_MARGIN_MM + CHECK_BAR_MM + 6, y, line)


def _draw_pair(
    pdf: Canvas, x: float, base: float, up: int, setting_mm: float, label: str, bold: bool
) -> None:
    """Two crosses a setting apart, joined by a line that bears the label near each end."""
    end = base + up * setting_mm
    pdf.setStrokeGray(0 if bold else 0.6)
    pdf.setLineWidth(0.15)
    pdf.line(x, base, x, end)
    pdf.setStrokeGray(0)
    for y in (base, end):
        pdf.line(x - _ARM_MM, y, x + _ARM_MM, y)
        pdf.line(x, y - _ARM_MM, x, y + _ARM_MM)

    font = "Helvetica-Bold" if bold else "Helvetica"
    room = stringWidth(label, font, _LABEL_MM) + 1
    if setting_mm > _TWO_LABELS_MM:
        inset = _ARM_MM + 1.5 + room / 2
        places = [base + up * inset, end - up * inset]
    else:
        places = [(base + end) / 2]
    for y in places:
        pdf.setFillGray(1)
        pdf.rect(x - 0.5, y - room / 2, 1, room, stroke=0, fill=1)
        _draw_upright(pdf, x + 0.36 * _LABEL_MM, y, label, _LABEL_MM, font)
