"""Measurement to picture: the photograph with what was traced, and numbers on the same stations.

The picture is a stack of strips of one width, each drawn by a function that knows nothing of the
others; what they share is the way from a station to a column.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from gapvision.answer.corrected_text import TITLE, corrected_text
from gapvision.answer.picture.axis import Columns, even_columns, station_strip
from gapvision.answer.picture.cover_strip import cover_strip
from gapvision.answer.picture.drawing import (
    GREY,
    PANEL_LEFT_PX,
    PANEL_RIGHT_PX,
    SUBTITLE_PX,
    TEXT_PX,
    TITLE_PX,
    WHITE,
    WIDTH_PX,
    YELLOW,
    Strip,
    blank,
    stack,
    text,
    wrapped,
)
from gapvision.answer.picture.extent_strip import extent_strip
from gapvision.answer.picture.photo_strip import best_photo, photo_legend, photo_strip, view_of
from gapvision.answer.picture.profile_strips import chart_legend, gap_strip, groove_strip
from gapvision.answer.picture.raster import pixels_of
from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import READY, first_line, reason_text
from gapvision.files import check_new, write_new
from gapvision.measurement import Measurement
from gapvision.photo.photo import load_photo

PICTURE_SUFFIXES = (".jpg", ".jpeg", ".png")


def draw_picture(
    measurement: Measurement, load_bgr: Callable[[str], np.ndarray], units: str = "mm"
) -> np.ndarray:
    """Return the answer as one picture, for a phone held upright or across.

    From above: the verdict, and where it is decided; what to do next; the photograph that shows the
    deciding place best, with both traced outlines, stations, the widest gap and the deciding place;
    gap and groove width by station, each with the band that holds the truth 95 times in 100; which
    part of the log each photograph shows; other covers where they were asked for. No setting, and no
    groove cut at one, where there is none to set.

    Parameters
    ----------
    measurement : Measurement
        The answer of a joint.
    load_bgr : callable
        Gives the photograph of a path, upright, shape (h, w, 3), uint8 or uint16, BGR.
        Called once at most.
    units : {"mm", "in"}
        The unit of all numbers in the picture.

    Returns
    -------
    array, shape (n, 1600, 3), uint8, BGR

    Raises
    ------
    PhotoUnreadable
        From `load_bgr`, if the photograph is no longer there.

    Notes
    -----
    Where the whole profile lies within the photograph, the stations below it follow the
    photograph's own; otherwise they are evenly spaced over the whole log, and the photograph has
    only its own ticks.
    """
    shown, has_setting = best_photo(measurement), measurement.verdict.has_setting
    strips = [_title_strip(measurement, units), _to_do_strip(measurement, units)]
    columns = _log_columns(measurement)
    if shown is not None:
        bgr = load_bgr(shown.file)
        view = view_of(shown, bgr.shape)
        ends = view.columns(measurement.profile.station_mm[[0, -1]])
        if ends.min() >= PANEL_LEFT_PX and ends.max() <= PANEL_RIGHT_PX:
            columns = view.columns
        strips += [
            photo_strip(measurement, view, bgr, units),
            photo_legend(shown, measurement.verdict.has_setting),
        ]
    strips += [
        gap_strip(measurement, columns, units),
        groove_strip(measurement, columns, units) if has_setting else blank(0),
        station_strip(measurement.profile.station_mm, measurement.cards, columns, units),
        extent_strip(measurement, columns, shown),
        cover_strip(measurement, units) if has_setting else blank(0),
        chart_legend(measurement, units, marks=shown is None),
    ]
    return pixels_of(stack(strips))


def write_picture(
    path: str | Path,
    measurement: Measurement,
    units: str = "mm",
    overwrite: bool = False,
) -> None:
    """Draw the picture of a joint and write it to a file, as JPEG or PNG by its suffix.

    Parameters
    ----------
    path : str or Path
        Where to write; the folder must be there.
    measurement : Measurement
        The answer of a joint; the photograph needed is read again from its ``file``.
    units : {"mm", "in"}
        The unit of all numbers in the picture.
    overwrite : bool
        Whether a file of this name may be replaced.

    Raises
    ------
    ValueError
        If the suffix is none of `PICTURE_SUFFIXES`.
    MeasurementError
        ``"file-exists"``, ``"no-folder"``, or ``"not-written"`` if the disk refuses.
    PhotoUnreadable
        If the photograph is no longer there.
    """
    path = Path(path)
    check_picture_path(path, overwrite)
    content = picture_bytes(measurement, units, path.suffix.lower())
    write_new(path, content, "the picture", overwrite)


def picture_bytes(measurement: Measurement, units: str = "mm", suffix: str = ".jpg") -> bytes:
    """The picture of a joint as the content of a file, as `write_picture` writes it.

    Parameters
    ----------
    measurement : Measurement
        The answer of a joint; the photograph needed is read again from its ``file``.
    units : {"mm", "in"}
        The unit of all numbers in the picture.
    suffix : str
        One of `PICTURE_SUFFIXES`.

    Raises
    ------
    PhotoUnreadable
        If the photograph is no longer there.
    """
    picture = draw_picture(measurement, lambda file: load_photo(file).bgr, units)
    quality = [cv2.IMWRITE_JPEG_QUALITY, 90] if suffix != ".png" else []
    return cv2.imencode(suffix, picture, quality)[1].tobytes()


def check_picture_path(path: str | Path, overwrite: bool = False) -> None:
    """Raise what `write_picture` would raise for this path, before any work is done.

    Parameters
    ----------
    path : str or Path
        Where the picture is to be written.
    overwrite : bool
        Whether a file of this name may be replaced.

    Raises
    ------
    ValueError
        If the suffix is none of `PICTURE_SUFFIXES`.
    MeasurementError
        ``"no-folder"`` or ``"file-exists"``.
    """
    path = Path(path)
    if path.suffix.lower() not in PICTURE_SUFFIXES:
        allowed = ", ".join(PICTURE_SUFFIXES)
        raise ValueError(f"a picture's name must end in one of {allowed}, not {path.name!r}")
    check_new(path, "the picture", overwrite)


def _log_columns(measurement: Measurement) -> Columns:
    """Evenly spaced columns for the whole log, left to right as the photographs show it."""
    used = [p for p in measurement.photos if p.used]
    ends = [(p.from_mm, p.to_mm) for p in used]
    stations = np.append(measurement.profile.station_mm, ends)
    first, last = np.nanmin(stations), np.nanmax(stations)
    if used and all(p.side == "inside" for p in used):
        first, last = last, first
    return even_columns(first, last)


def _title_strip(measurement: Measurement, units: str) -> Strip:
    """The verdict, first and largest, where it is decided or why, and whether to scribe."""
    verdict = measurement.verdict
    title, _, rest = first_line(measurement, units).partition(": ")
    reason = wrapped(reason_text(measurement, units), SUBTITLE_PX, WIDTH_PX - 52, 4)
    if corrected := corrected_text(measurement, units):
        reason += wrapped(f"{TITLE}: {corrected}.", SUBTITLE_PX, WIDTH_PX - 52, 2)
    lines = [*([rest] if rest else []), *reason, *([f"{READY}."] if verdict.ready else [])]
    strip = blank(110 + 56 * len(lines) + 12, WHITE if verdict.kind == "set" else YELLOW)
    text(strip, (24, 62), title, TITLE_PX, anchor="start", bold=True)
    for i, words in enumerate(lines):
        loud = words in (rest, f"{READY}.")
        at = 26, 142 + 56 * i
        text(strip, at, words, SUBTITLE_PX, anchor="start", bold=loud)
    return strip


def _to_do_strip(measurement: Measurement, units: str) -> Strip:
    """What to do next, in the order in which one walks; empty where nothing is left to do."""
    m = measurement
    lines = []
    for number, step in enumerate(m.verdict.to_do, 1):
        words = f"{number}. {to_do_text(step, m.cards, units)}"
        lines += wrapped(words, TEXT_PX, WIDTH_PX - 48, 4)
    strip = blank(len(lines) * 54 + 32 if lines else 0, GREY)
    for i, words in enumerate(lines):
        at = 24, 16 + 27 + i * 54
        text(strip, at, words, TEXT_PX, anchor="start")
    return strip
