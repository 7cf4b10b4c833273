"""The picture of a calibration: where in the frame corners were seen, and how they miss."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from gapvision.files import write_new
from gapvision.photo.lens.calibration import Calibration
from gapvision.photo.lens.text import corner_counts

FRAME_PX = 1000  # width of the frame as drawn
MARGIN_PX = 40
TITLE_PX = 56
ARROW_PX = 40  # the longest usual residual as drawn
ENLARGED = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
WHITE, BLACK, BLUE, EMPTY = (255, 255, 255), (0, 0, 0), (0, 114, 178), (246, 205, 170)
ORANGE = (213, 94, 0)


def draw_calibration(calibration: Calibration) -> Image.Image:
    """Coverage above and residuals below, each in the frame of the picture held across.

    Cells of the frame that no corner reached are orange. Residuals are drawn as arrows from where a
    corner was seen to where the lens puts it, enlarged as the title says.
    """
    c = calibration
    scale = FRAME_PX / c.size[0]
    tall = round(c.size[1] * scale)
    left = np.concatenate([p.residual_px for p in c.photos])
    long = float(np.percentile(np.hypot(*left.T), 99))
    enlarge = max(s for s in ENLARGED if s == 1 or s * long * scale <= ARROW_PX)
    image = Image.new("RGB", (FRAME_PX + 2 * MARGIN_PX, 2 * (tall + TITLE_PX) + MARGIN_PX), WHITE)
    draw = ImageDraw.Draw(image)
    _coverage(draw, c, (MARGIN_PX, TITLE_PX), (FRAME_PX, tall), scale)
    y = 2 * TITLE_PX + tall
    title = (
        f"How corners miss, {enlarge} times as long; median {np.median(np.hypot(*left.T)):.3f} px"
    )
    _title(draw, y - TITLE_PX, title)
    draw.rectangle((MARGIN_PX, y, MARGIN_PX + FRAME_PX, y + tall), outline=BLACK, width=2)
    for photo in c.photos:
        starts = (photo.corner_px + 0.5) * scale + [MARGIN_PX, y]
        for start, end in zip(starts, starts + photo.residual_px * scale * enlarge, strict=True):
            draw.line((*start, *end), fill=BLUE, width=2)
            draw.ellipse((*(start - 2), *(start + 2)), fill=ORANGE)
    return image


def write_calibration_picture(path: Path, calibration: Calibration, overwrite: bool) -> None:
    """Write the picture, as JPEG or PNG by its suffix, which is checked before.

    Raises
    ------
    MeasurementError
        ``file-exists``, or ``not-written`` if the disk refuses.
    """
    content = io.BytesIO()
    kind = "PNG" if path.suffix.lower() == ".png" else "JPEG"
    draw_calibration(calibration).save(content, kind)
    write_new(path, content.getvalue(), "the picture", overwrite)


def _coverage(
    draw: ImageDraw.ImageDraw, c: Calibration, at: tuple[int, int], size: tuple[int, int],
    scale: float,
) -> None:  # fmt: skip
    counts = corner_counts(c)
    _title(draw, 0, f"{counts.sum()} corners in {len(c.photos)} photographs; orange: none")
    rows, columns = counts.shape
    for i in range(rows):
        for j in range(columns):
            box = (
                at[0] + size[0] * j / columns, at[1] + size[1] * i / rows,
                at[0] + size[0] * (j + 1) / columns, at[1] + size[1] * (i + 1) / rows,
            )  # fmt: skip
            draw.rectangle(box, fill=WHITE if counts[i, j] else EMPTY, outline=(200, 200, 200))
    for photo in c.photos:
        for place in (photo.corner_px + 0.5) * scale + at:
            draw.ellipse((*(place - 3), *(place + 3)), fill=BLUE)
    draw.rectangle((*at, at[0] + size[0], at[1] + size[1]), outline=BLACK, width=2)


def _title(draw: ImageDraw.ImageDraw, y: float, text: str) -> None:
    font = ImageFont.load_default(size=28)
    draw.text((MARGIN_PX, y + TITLE_PX / 2), text, BLACK, font, "lm")
