"""The same reports as PDF, for A4 and Letter, by the library that draws the cards."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import black
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    Image,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
)

from gapvision.answer.paper import BOLD, PAPERS_MM, REGULAR, printable, register_fonts
from gapvision.answer.picture.drawing import BLUE, YELLOW, rgb
from gapvision.answer.report import conditions, wall, words
from gapvision.answer.report.chart import profile_drawing, wall_drawings
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.section import Headline, Section
from gapvision.phrases import joined

MARGIN_MM = 16.0
PAD_MM = 4.0  # within the frame of the answer
PICTURE_HEIGHT = 0.86  # of the page's text, at most
PHOTOS_A_ROW = 2
_LOUD = re.compile("DOUBTFUL|LOWER FIRST|MEASURE AGAIN|AT LEAST|REFUSED|broken|DISAGREES|LEFT OUT")

_BLUE, _YELLOW = rgb(BLUE), rgb(YELLOW)


def joint_pdf(report: JointReport, paper: str = "a4") -> bytes:
    """One joint as a PDF, with what `html.joint_html` has.

    Parameters
    ----------
    report : JointReport
    paper : {"a4", "letter"}

    Raises
    ------
    ValueError
        If the paper is not known.
    """
    page = _Page(words.job_title(report), paper)
    page.answer(words.headline(report))
    if to_do := words.to_do(report):
        page.section(to_do)
    page.content(words.numbers(report))
    page.section(words.cautions(report))
    if report.result["status"] != "refused":
        page.heading("Profile")
        page.text(words.about(report), with_next=True)
        page.drawing(profile_drawing(report))
    page.heading("Picture")
    if report.picture:
        page.picture(report.picture)
    else:
        page.text("No picture was kept with this measurement.")
    page.section(conditions.conditions(report))
    page.photos(report.photos)
    for section in (*words.later_sections(report), words.safety()):
        page.section(section)
    page.signatures()
    return page.pdf()


def wall_pdf(reports: Sequence[JointReport], paper: str = "a4") -> bytes:
    """All joints of a wall as a PDF, with what `html.wall_html` has.

    Parameters
    ----------
    reports : sequence of JointReport
        In any order; at least one.
    paper : {"a4", "letter"}

    Raises
    ------
    ValueError
        If the paper is not known.
    """
    courses = wall.in_courses(reports)
    page = _Page(wall.wall_title(courses), paper)
    page.heading("All logs, from the lowest up")
    page.table(wall.wall_rows(courses))
    drawings = wall_drawings(courses)
    if drawings:
        page.heading("Course by course")
        page.text(wall.WALL_ABOUT)
    for drawing, _ in drawings:
        page.drawing(drawing)
    page.heading("Log by log")
    for report in courses:
        page.heading(words.job_title(report), 1)
        head = words.headline(report)
        if head.tone == "measured":
            page.text(head.sentence)
        else:
            page.answer(head)
        if to_do := words.to_do(report):
            page.section(to_do, 2)
        page.text(words.date_text(report))
        page.content(words.cautions(report))
    page.section(words.safety())
    page.signatures()
    return page.pdf()


class _Page:
    """What has been put on the pages so far, from the top down."""

    def __init__(self, title: str, paper: str) -> None:
        if paper not in PAPERS_MM:
            raise ValueError(f"paper must be one of {', '.join(PAPERS_MM)}, not {paper!r}")
        register_fonts()
        self._title, self._size = title, tuple(side * mm for side in PAPERS_MM[paper])
        self._width = self._size[0] - 2 * MARGIN_MM * mm
        self._height = self._size[1] - 2 * MARGIN_MM * mm
        self._story: list[Flowable] = [Paragraph(_marked(title), _style(16, BOLD, after=8))]

    def heading(self, title: str, level: int = 0) -> None:
        size = (13.5, 11.5, 10.5)[min(level, 2)]
        style = _style(size, BOLD, before=12 - 3 * min(level, 2), after=3)
        style.keepWithNext = True
        self._story.append(Paragraph(_marked(title), style))

    def section(self, section: Section, level: int = 0) -> None:
        self.heading(section.title, level)
        self.content(section, level)

    def content(self, section: Section, level: int = 0) -> None:
        for text in section.text:
            self.text(text)
        if section.rows:
            rows = [(_cell(name, BOLD), _cell(value)) for name, value in section.rows]
            self._story.append(_table(rows, (0.3 * self._width, 0.7 * self._width), ()))
        if section.table:
            self.table(section.table)
        for item in section.items:
            self._story.append(Paragraph(_marked(item), _ITEM, bulletText="•"))
        for part in section.parts:
            self.section(part, level + 1)

    def text(self, text: str, with_next: bool = False) -> None:
        self._story.append(Paragraph(_marked(text), _LEADING if with_next else _TEXT))

    def answer(self, head: Headline) -> None:
        """The answer in a frame, doubtful ones on yellow with a double rim."""
        lines = [Paragraph(_marked(head.large), _style(24, BOLD, after=4))]
        lines.append(Paragraph(_marked(head.reason), _style(11.5, after=3)))
        if head.ready:
            lines.append(Paragraph(_marked(head.ready), _style(11, BOLD)))
        style = [("BOX", (0, 0), (-1, -1), 2.5, _BLUE)]
        if head.tone != "measured":
            style = [
                ("BACKGROUND", (0, 0), (-1, -1), _YELLOW),
                ("BOX", (0, 0), (-1, -1), 2, black, None, None, None, 2, 2.5),
            ]
        sides = ("LEFT", "RIGHT", "TOP", "BOTTOM")
        pad = [(f"{side}PADDING", (0, 0), (-1, -1), PAD_MM * mm) for side in sides]
        frame = Table([[lines]], colWidths=[self._width], style=[*style, *pad])
        self._story += [frame, Spacer(1, 6)]

    def table(self, rows: Sequence[Sequence[str]]) -> None:
        head, *body = rows
        cells = [[_cell(name, BOLD) for name in head]]
        cells += [[_cell(v, BOLD if _LOUD.match(v) else REGULAR) for v in row] for row in body]
        # As long as their longest text, within reason.
        letters = [
            min(max(map(len, column), default=0), 34) + 3 for column in zip(*rows, strict=True)
        ]
        widths = [self._width * n / sum(letters) for n in letters]
        grid = [("LINEBELOW", (0, 0), (-1, -1), 0.5, black)]
        self._story.append(_table(cells, widths, grid, repeat=1))

    def drawing(self, drawing: Drawing) -> None:
        scale = min(self._width / drawing.width, self._height * PICTURE_HEIGHT / drawing.height)
        drawing.scale(scale, scale)
        drawing.width, drawing.height = drawing.width * scale, drawing.height * scale
        self._story += [drawing, Spacer(1, 4)]

    def picture(self, jpeg: bytes) -> None:
        self._story.append(_image(jpeg, self._width, self._height * PICTURE_HEIGHT))

    def photos(self, photos: Sequence[tuple[str, bytes]]) -> None:
        width = self._width / PHOTOS_A_ROW - 6
        cells = [
            [_image(jpeg, width, 0.4 * self._height), Paragraph(_marked(name), _SMALL)]
            for name, jpeg in photos
        ]
        for start in range(0, len(cells), PHOTOS_A_ROW):
            row = cells[start : start + PHOTOS_A_ROW]
            row += [""] * (PHOTOS_A_ROW - len(row))
            self._story.append(_table([row], [self._width / PHOTOS_A_ROW] * PHOTOS_A_ROW, ()))

    def signatures(self) -> None:
        rows = [[_cell(name), "", _cell("Date"), ""] for name in words.SIGNATURES]
        lines = [("LINEBELOW", (k, 0), (k, -1), 0.7, black) for k in (1, 3)]
        lines.append(("VALIGN", (0, 0), (-1, -1), "BOTTOM"))
        part = [f * self._width for f in (0.17, 0.45, 0.1, 0.28)]
        table = Table(rows, colWidths=part, rowHeights=[15 * mm] * len(rows), style=lines)
        heading = Paragraph("Signatures", _style(13.5, BOLD, before=12))
        self._story.append(KeepTogether([heading, table]))

    def pdf(self) -> bytes:
        content = io.BytesIO()
        document = SimpleDocTemplate(
            content,
            pagesize=self._size,
            leftMargin=MARGIN_MM * mm - 6,  # the frame pads by 6
            rightMargin=MARGIN_MM * mm - 6,
            topMargin=MARGIN_MM * mm - 6,
            bottomMargin=MARGIN_MM * mm - 6,
            title=self._title,
            lang="en-GB",
        )
        document.build(self._story, onFirstPage=self._foot, onLaterPages=self._foot)
        return content.getvalue()

    def _foot(self, canvas: Canvas, document: SimpleDocTemplate) -> None:
        canvas.setFont(REGULAR, 8)
        canvas.setFillColor(black)
        y = 8 * mm
        canvas.drawString(MARGIN_MM * mm, y, printable(self._title))
        canvas.drawRightString(self._size[0] - MARGIN_MM * mm, y, f"page {document.page}")


def _style(size: float, font: str = REGULAR, before: float = 0, after: float = 0) -> ParagraphStyle:
    return ParagraphStyle(
        f"{font} {size}",
        fontName=font,
        fontSize=size,
        leading=1.25 * size,
        spaceBefore=before,
        spaceAfter=after,
    )


_TEXT, _SMALL = _style(10, after=3), _style(8.5, after=3)
_LEADING = ParagraphStyle("leading", parent=_TEXT, keepWithNext=True)
_ITEM = ParagraphStyle("item", parent=_TEXT, leftIndent=10, bulletFontName=REGULAR)


def _marked(text: str) -> str:
    """Text as reportlab's paragraphs take it, which read a kind of XML."""
    return escape(joined(printable(text)))


def _cell(text: str, font: str = REGULAR) -> Paragraph:
    return Paragraph(_marked(text), _style(9.5, font))


def _table(rows: list, widths: Sequence[float], style: Sequence, repeat: int = 0) -> Table:
    close = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
    ]
    return Table(rows, colWidths=list(widths), repeatRows=repeat, style=[*close, *style])


def _image(jpeg: bytes, width: float, height: float) -> Image:
    w, h = ImageReader(io.BytesIO(jpeg)).getSize()
    scale = min(width / w, height / h)
    return Image(io.BytesIO(jpeg), w * scale, h * scale, hAlign="LEFT")
