"""The fonts of the picture and of all PDF pages but the cards': Latin, Greek and Cyrillic letters, and ±."""

from __future__ import annotations

import io
from functools import cache

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

# Noto Sans, SIL Open Font License, from the package pymupdf-fonts. The fonts that every reader of
# PDF has of itself lack most letters of the countries that build with logs.
REGULAR, BOLD = "NotoSans", "NotoSans-Bold"
_FILES = {REGULAR: "notos", BOLD: "notosbo"}
UNPRINTABLE = "?"


@cache
def register_fonts() -> None:
    """Make `REGULAR` and `BOLD` known to reportlab; a PDF holds what it uses of them."""
    for name in _FILES:
        pdfmetrics.registerFont(_font(name))
    pdfmetrics.registerFontFamily(
        REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD
    )


def lacking(text: str) -> str:
    """The signs of a text, each once, for which the fonts have none."""
    known = _font(BOLD).face.charToGlyph
    return "".join(sorted({c for c in text if ord(c) not in known}))


def printable(text: str) -> str:
    """The text with `UNPRINTABLE` for every sign that the fonts lack."""
    lost = lacking(text)
    return text.translate({ord(c): UNPRINTABLE for c in lost}) if lost else text


def width_of(text: str, font: str, size: float) -> float:
    """How wide a text is, in the units of its size."""
    register_fonts()
    return pdfmetrics.stringWidth(printable(text), font, size)


@cache
def _font(name: str) -> TTFont:
    from pymupdf_fonts import myfont

    return TTFont(name, io.BytesIO(myfont(_FILES[name])))


# Upright sheets, width and height: ISO 216 A4, and ANSI/ASME Y14.1 size A (8.5 x 11 in).
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
