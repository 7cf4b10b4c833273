"""A report's pages as reportlab lays them out: an answer over the whole width, evidence in columns."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from copy import copy
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import black
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    Image,
    KeepInFrame,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from gapvision.answer.paper import BOLD, PAPERS_MM, REGULAR, printable, register_fonts, width_of
from gapvision.answer.picture.drawing import BLUE, YELLOW, rgb
from gapvision.answer.report.section import Headline, Section
from gapvision.phrases import joined

MARGIN_MM = 16.0
GUTTER_MM = 7.0  # between the columns of the evidence
PAD_MM = 4.0  # within the frame of the answer
LEAST_SKETCH_MM = 60.0  # lower, it goes to the next page
SPARE_MM = 3.0  # below the sketch
PICTURE_HEIGHT = 0.86  # of the page's text, at most
FEW_PHOTOS = 4  # more of them are drawn smaller
MOST_NAMES = 0.42  # of the width, for the names of rows
LONGEST_CELL = 34  # letters that count towards a column's width
_LOUD = re.compile("AT LEAST|MEASURE AGAIN|LOWER FIRST|NO SETTING|broken|DISAGREES|LEFT OUT")

_BLUE, _YELLOW = rgb(BLUE), rgb(YELLOW)


class Page:
    """What has been put on the pages so far, from the top down.

    The first pages have one column; from `evidence` on there are two, in smaller type.
    """

    def __init__(self, title: str, paper: str) -> None:
        if paper not in PAPERS_MM:
            raise ValueError(f"paper must be one of {', '.join(PAPERS_MM)}, not {paper!r}")
        register_fonts()
        self._title, self._size = title, tuple(side * mm for side in PAPERS_MM[paper])
        self._width = self._size[0] - 2 * MARGIN_MM * mm
        self._height = self._size[1] - 2 * MARGIN_MM * mm
        self._type = 10.0
        self._story: list[Flowable] = [Paragraph(_marked(title), _style(16, BOLD, after=8))]

    def evidence(self) -> None:
        """Begin a page of two columns."""
        self._story += [NextPageTemplate("evidence"), PageBreak()]
        self._width = (self._width - GUTTER_MM * mm) / 2
        self._type = 8.2

    def heading(self, title: str, level: int = 0) -> None:
        size = self._type * (1.35, 1.12, 1.05)[min(level, 2)]
        style = _style(size, BOLD, before=(1.0, 0.7, 0.5)[min(level, 2)] * self._type, after=2)
        style.keepWithNext = True
        self._story.append(Paragraph(_marked(title), style))

    def section(self, section: Section, level: int = 0) -> None:
        self.heading(section.title, level)
        self.content(section, level)

    def content(self, section: Section, level: int = 0) -> None:
        for text in section.text:
            self.text(text)
        if section.rows:
            self._rows(section.rows)
        if section.table:
            self.table(section.table)
        for item in section.items:
            style = ParagraphStyle(
                "item", parent=self._text_style(), leftIndent=9, bulletFontName=REGULAR
            )
            self._story.append(Paragraph(_marked(item), style, bulletText="•"))
        for part in section.parts:
            self.section(part, level + 1)

    def _rows(self, rows: Sequence[tuple[str, str]]) -> None:
        longest = max(width_of(name, BOLD, 0.95 * self._type) for name, _ in rows)
        left = min(longest + 8, MOST_NAMES * self._width)
        cells = [(self._cell(name, BOLD), self._cell(value)) for name, value in rows]
        self._story.append(_table(cells, (left, self._width - left), ()))

    def text(self, text: str) -> None:
        self._story.append(Paragraph(_marked(text), self._text_style()))

    def answer(self, head: Headline) -> None:
        """The answer in a frame; whatever is not to be set as it stands on yellow with a double rim."""
        size = 26 if len(head.large) < 20 else 17
        lines = [Paragraph(_marked(head.large), _style(size, BOLD, after=4))]
        lines.append(Paragraph(_marked(head.reason), _style(11.5)))
        lines += [
            Paragraph(_marked(t), _style(11.5, BOLD, before=3))
            for t in (head.crayon, head.ready)
            if t
        ]
        style: list[tuple] = [("BOX", (0, 0), (-1, -1), 2.5, _BLUE)]
        if head.kind != "set":
            style = [
                ("BACKGROUND", (0, 0), (-1, -1), _YELLOW),
                ("BOX", (0, 0), (-1, -1), 2, black, None, None, None, 2, 2.5),
            ]
        sides = ("LEFT", "RIGHT", "TOP", "BOTTOM")
        pad = [(f"{side}PADDING", (0, 0), (-1, -1), PAD_MM * mm) for side in sides]
        frame = Table([[lines]], colWidths=[self._width], style=[*style, *pad])
        self._story += [frame, Spacer(1, 6)]

    def table(self, rows: Sequence[Sequence[str]], widths: Sequence[float] = ()) -> None:
        """A table; its columns as wide as said, of all, or as their longest text."""
        head, *body = rows
        cells = [[self._cell(name, BOLD) for name in head]]
        cells += [[self._cell(v, BOLD if _LOUD.match(v) else REGULAR) for v in row] for row in body]
        parts = widths or [
            min(max(map(len, column), default=0), LONGEST_CELL) + 4
            for column in zip(*rows, strict=True)
        ]
        grid = [("LINEBELOW", (0, 0), (-1, -1), 0.5, black)]
        scaled = [self._width * part / sum(parts) for part in parts]
        self._story.append(_table(cells, scaled, grid, repeat=1))

    def drawing(self, drawing: Drawing) -> None:
        _scale(drawing, self._width, self._height * PICTURE_HEIGHT)
        self._story += [drawing, Spacer(1, 4)]

    def apart(self, share: float = 1.0) -> Page:
        """An empty page of a share of the width, to put together what `beside` and `add` take."""
        page = copy(self)
        page._width, page._story = share * self._width, []
        return page

    def add(self, apart: Page) -> None:
        """Put what was put together apart on this page."""
        self._story += apart._story

    def beside(self, apart: Page, sketch: Drawing | bytes, below: Page) -> None:
        """What was put together apart, a drawing or JPEG at its right, and something below both.

        All of it stays on one page: the sketch is as large as that allows.
        """
        self._story += [_Beside(apart._story, apart._width, sketch, below._story), *below._story]

    def photos(self, photos: Sequence[tuple[str, bytes]]) -> None:
        count = 2 if len(photos) <= FEW_PHOTOS else 3
        width = self._width / count - 4
        cells = [
            [_image(jpeg, width, 0.4 * self._height), Paragraph(_marked(name), _style(7, after=2))]
            for name, jpeg in photos
        ]
        for start in range(0, len(cells), count):
            row: list[list[Flowable] | str] = [*cells[start : start + count]]
            row += [""] * (count - len(row))
            self._story.append(_table([row], [self._width / count] * count, ()))

    def signatures(self, names: Sequence[str]) -> None:
        rows = [[self._cell(name), "", self._cell("Date"), ""] for name in names]
        lines: list[tuple] = [("LINEBELOW", (k, 0), (k, -1), 0.7, black) for k in (1, 3)]
        lines.append(("VALIGN", (0, 0), (-1, -1), "BOTTOM"))
        part = [f * self._width for f in (0.17, 0.45, 0.1, 0.28)]
        heights = [12 * mm] * len(rows)
        self._story.append(Table(rows, colWidths=part, rowHeights=heights, style=lines))

    def pdf(self) -> bytes:
        content = io.BytesIO()
        left, width, height = MARGIN_MM * mm, self._size[0] - 2 * MARGIN_MM * mm, self._height
        column = (width - GUTTER_MM * mm) / 2
        no_pad = {f"{side}Padding": 0 for side in ("left", "right", "top", "bottom")}
        whole = [Frame(left, left, width, height, **no_pad)]
        columns = [
            Frame(left + k * (column + GUTTER_MM * mm), left, column, height, **no_pad)
            for k in range(2)
        ]
        document = BaseDocTemplate(content, pagesize=self._size, title=self._title, lang="en-GB")
        document.addPageTemplates(
            [
                PageTemplate("answer", whole, onPageEnd=self._foot),
                PageTemplate("evidence", columns, onPageEnd=self._foot),
            ]
        )
        document.build(self._story)
        return content.getvalue()

    def _foot(self, canvas: Canvas, document: BaseDocTemplate) -> None:
        canvas.setFont(REGULAR, 8)
        canvas.setFillColor(black)
        y = 8 * mm
        canvas.drawString(MARGIN_MM * mm, y, printable(self._title))
        canvas.drawRightString(self._size[0] - MARGIN_MM * mm, y, f"page {document.page}")

    def _text_style(self) -> ParagraphStyle:
        return _style(self._type, after=0.3 * self._type)

    def _cell(self, text: str, font: str = REGULAR) -> Paragraph:
        return Paragraph(_marked(text), _style(0.95 * self._type, font))


class _Beside(Flowable):  # type: ignore[misc]  # reportlab tells no types
    """Flowables with a drawing or JPEG at their right, in the height that others leave them."""

    def __init__(
        self, left: list[Flowable], left_width: float, sketch: Drawing | bytes,
        below: Sequence[Flowable],
    ) -> None:  # fmt: skip
        super().__init__()
        self._left, self._left_width = left, left_width
        self._sketch, self._below = sketch, below

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        taken = sum(
            f.wrapOn(self.canv, width, height)[1] + f.getSpaceBefore() + f.getSpaceAfter()
            for f in self._below
        )
        room = max(height - taken - SPARE_MM * mm, LEAST_SKETCH_MM * mm)
        wide = width - self._left_width - GUTTER_MM * mm
        if isinstance(self._sketch, bytes):
            self._drawn = _image(self._sketch, wide, room)
        else:
            self._drawn = _scale(self._sketch, wide, room)
        self._drawn_size = self._drawn.wrapOn(self.canv, wide, room)
        self._text = KeepInFrame(self._left_width, room, self._left, mode="shrink")
        self._text_height = self._text.wrapOn(self.canv, self._left_width, room)[1]
        self._width, self._tall = width, max(self._text_height, self._drawn_size[1])
        return width, self._tall

    def draw(self) -> None:
        self._text.drawOn(self.canv, 0, self._tall - self._text_height)
        x = self._width - self._drawn_size[0]
        self._drawn.drawOn(self.canv, x, self._tall - self._drawn_size[1])


def _scale(drawing: Drawing, width: float, height: float) -> Drawing:
    """The drawing, made as large as fits."""
    by = min(width / drawing.width, height / drawing.height)
    drawing.scale(by, by)
    drawing.width, drawing.height = drawing.width * by, drawing.height * by
    return drawing


def _style(size: float, font: str = REGULAR, before: float = 0, after: float = 0) -> ParagraphStyle:
    return ParagraphStyle(
        f"{font} {size}",
        fontName=font,
        fontSize=size,
        leading=1.25 * size,
        spaceBefore=before,
        spaceAfter=after,
    )


def _marked(text: str) -> str:
    """Text as reportlab's paragraphs take it, which read a kind of XML."""
    return escape(joined(printable(text)))


def _table(rows: list, widths: Sequence[float], style: Sequence, repeat: int = 0) -> Table:
    close = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
    ]
    return Table(
        rows, colWidths=list(widths), repeatRows=repeat, style=[*close, *style], hAlign="LEFT"
    )


def _image(jpeg: bytes, width: float, height: float) -> Image:
    w, h = ImageReader(io.BytesIO(jpeg)).getSize()
    scale = min(width / w, height / h)
    return Image(io.BytesIO(jpeg), w * scale, h * scale, hAlign="LEFT")
