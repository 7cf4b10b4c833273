"""Slips that name a joint: labels to print, photograph first, and staple to the log.

The QR code holds the label's words as plain text and nothing else::

    Building: Barn; Wall: north; Log: 3
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import segno
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from gapvision.answer.paper import (
    BOLD,
    PAPERS_MM,
    REGULAR,
    lacking,
    register_fonts,
    width_of,
)
from gapvision.inputs.joint_name import JointName, one_line

LABEL_MM = (95.0, 65.0)  # two to a row and four rows fit on A4 and on Letter
COLUMNS, ROWS = 2, 4
CODE_MM = 50.0  # with its quiet zone, four modules wide: ISO/IEC 18004
QUIET = 4
LONGEST = 30  # signs of a name; three such names still make a code that a phone reads

_PAD_MM = 3.0
_MARK_MM = 2.0  # half a cut mark
_TEXT = re.compile(r"Building: ([^;]+); Wall: ([^;]+); Log: ([^;]+)")


@dataclass(frozen=True, slots=True)
class Slip:
    """A joint as a slip names it, shorter than an archive might.

    Raises
    ------
    ValueError
        Where a name is empty, longer than `LONGEST`, or holds a semicolon or a sign that does not
        print.
    """

    joint: JointName

    def __post_init__(self) -> None:
        for what, name in asdict(self.joint).items():
            if not name or name != name.strip() or len(name) > LONGEST:
                raise ValueError(
                    f"{name!r} is no name of a {what}: 1 to {LONGEST} signs are needed, "
                    "without spaces at the ends"
                )
            wrong = sorted({c for c in name if c == ";" or not c.isprintable()})
            if wrong:
                raise ValueError(f"{name!r} is no name of a {what}: leave out {wrong[0]!r}")

    @property
    def text(self) -> str:
        """What the QR code holds."""
        return "Building: {building}; Wall: {wall}; Log: {log}".format(**asdict(self.joint))


def slip_of(building: str, wall: str, log: str) -> Slip:
    """A slip from what was typed, its names as `one_line` writes them.

    Raises
    ------
    ValueError
        As `Slip` does.
    """
    return Slip(JointName(*map(one_line, (building, wall, log))))


def parse_slip(text: str) -> Slip | None:
    """The slip whose code holds a text; None for any other text.

    Examples
    --------
    >>> parse_slip("Building: Barn; Wall: north; Log: 3")
    Slip(joint=JointName(building='Barn', wall='north', log='3'))
    >>> parse_slip("Building: Barn; Log: 3") is None
    True
    """
    found = _TEXT.fullmatch(text)
    if not found:
        return None
    try:
        return Slip(JointName(*found.groups()))
    except ValueError:
        return None


def slips_pdf(slips: Sequence[Slip], paper: str = "a4", answer: str = "") -> bytes:
    """Slips, eight to an upright sheet, with marks to cut along, as a PDF.

    Parameters
    ----------
    slips : sequence of Slip
        At least one.
    paper : {"a4", "letter"}
    answer : str
        A line to staple to the log with it, as `verdict_text.crayon_line` has it; on every slip.

    Raises
    ------
    ValueError
        If the paper is not known, or a name has a letter that the font lacks.
    """
    if paper not in PAPERS_MM:
        raise ValueError(f"paper must be one of {', '.join(PAPERS_MM)}, not {paper!r}")
    lost = lacking("".join(slip.text for slip in slips))
    if lost:
        raise ValueError(
            f"the slips' font has no sign for {lost[0]!r}: write the names in Latin, Greek or "
            "Cyrillic letters"
        )
    register_fonts()
    content = io.BytesIO()
    width, height = PAPERS_MM[paper]
    pdf = Canvas(content, pagesize=(width * mm, height * mm), lang="en-GB")
    pdf.setTitle("Log slips")
    # Their size does not matter much, but a reader that fits the page would cut the marks off.
    pdf.setViewerPreference("PrintScaling", "None")
    left, top = (width - COLUMNS * LABEL_MM[0]) / 2, (height + ROWS * LABEL_MM[1]) / 2
    for start in range(0, len(slips), COLUMNS * ROWS):
        pdf.scale(mm, mm)
        for k, slip in enumerate(slips[start : start + COLUMNS * ROWS]):
            row, column = divmod(k, COLUMNS)
            pdf.saveState()
            pdf.translate(left + column * LABEL_MM[0], top - (row + 1) * LABEL_MM[1])
            _draw_label(pdf, slip, answer)
            pdf.restoreState()
        pdf.showPage()
    pdf.save()
    return content.getvalue()


def _draw_label(pdf: Canvas, slip: Slip, answer: str) -> None:
    """One label; mm from its lower left corner."""
    width, height = LABEL_MM
    pdf.setLineWidth(0.15)
    pdf.setStrokeGray(0.4)
    for x in (0, width):
        for y in (0, height):
            pdf.line(x - _MARK_MM, y, x + _MARK_MM, y)
            pdf.line(x, y - _MARK_MM, x, y + _MARK_MM)
    pdf.setFillGray(0)
    _draw_code(pdf, slip.text, width - CODE_MM, height - CODE_MM)
    room = width - CODE_MM - _PAD_MM
    _draw_fitted(pdf, slip.joint.building, _PAD_MM, height - 11, room, 7.5, BOLD)
    _draw_fitted(pdf, f"Wall: {slip.joint.wall}", _PAD_MM, height - 20, room, 6.5, REGULAR)
    _draw_fitted(pdf, "Log:", _PAD_MM, height - 28.5, room, 6.5, REGULAR)
    _draw_fitted(pdf, slip.joint.log, _PAD_MM, height - 48.5, room, 23, BOLD)
    what, _, where = answer.rpartition(" | ")  # on two lines, so that they stay large
    for line, y in ((what, 9.0), (where, 2.5)):
        if line:
            _draw_fitted(pdf, line, _PAD_MM, y, width - 2 * _PAD_MM, 6.5, BOLD)


def _draw_fitted(
    pdf: Canvas, text: str, x: float, y: float, room: float, size: float, font: str
) -> None:
    """A line of text, smaller where it would not fit."""
    size = min(size, room / max(width_of(text, font, 1.0), 1e-6))
    pdf.setFont(font, size)
    pdf.drawString(x, y, text)


def _draw_code(pdf: Canvas, text: str, x: float, y: float) -> None:
    """A QR code with its quiet zone in a square of `CODE_MM` right of and above (x, y)."""
    code = segno.make(text, error="m", encoding="utf-8", micro=False)
    rows = [list(row) for row in code.matrix_iter(border=QUIET)]
    module = CODE_MM / len(rows)
    # All in one path: between two rectangles that only touch, viewers and printers leave a seam.
    path = pdf.beginPath()
    for i, row in enumerate(rows):
        j = 0
        while j < len(row):
            end = j
            while end < len(row) and row[end]:
                end += 1
            if end > j:
                top = y + CODE_MM - i * module
                path.rect(x + j * module, top - module, (end - j) * module, module)
            j = max(end, j + 1)
    pdf.drawPath(path, stroke=0, fill=1)
