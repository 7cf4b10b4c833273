"""A strip as pixels: its shapes go through PDF, which PDFium rasterises over the photographs."""

from __future__ import annotations

import numpy as np
import pypdfium2
from reportlab.graphics import renderPDF

from gapvision.answer.picture.drawing import PANEL_LEFT_PX, WIDTH_PX, Strip, drawing_of


def pixels_of(strip: Strip) -> np.ndarray:
    """A strip's photographs with its shapes over them, shape (n, 1600, 3), uint8, BGR."""
    bgr = np.full((strip.height, WIDTH_PX, 3), 255, np.uint8)
    if not strip.height:
        return bgr
    for top, photo in strip.photos:
        height, width = photo.shape[:2]
        bgr[top : top + height, PANEL_LEFT_PX : PANEL_LEFT_PX + width] = photo
    content = renderPDF.drawToString(drawing_of(strip), pageCompression=0)
    with pypdfium2.PdfDocument(content) as pdf:
        bitmap = pypdfium2.PdfBitmap.new_native(
            WIDTH_PX,
            strip.height,
            pypdfium2.raw.FPDFBitmap_BGR,
            buffer=np.ctypeslib.as_ctypes(bgr.reshape(-1)),
        )
        # `PdfPage.render` would begin by filling the bitmap: the photographs are there already.
        pypdfium2.raw.FPDF_RenderPageBitmap(bitmap, pdf[0], 0, 0, WIDTH_PX, strip.height, 0, 0)
    return bgr
