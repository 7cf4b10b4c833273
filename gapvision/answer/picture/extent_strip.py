"""Which part of the log each photograph shows: a bar for each, in rows by height."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from gapvision.advice.findings import STEEPER
from gapvision.answer.picture.axis import Columns
from gapvision.answer.picture.drawing import (
    BLACK,
    BLUE,
    GREY,
    PANEL_LEFT_PX,
    PANEL_RIGHT_PX,
    TICK_PX,
    WHITE,
    Point,
    Rgb,
    Strip,
    blank,
    box,
    hatch,
    stack,
    text,
    text_width,
)
from gapvision.answer.picture.photo_strip import BREAK_MM, seen_stations
from gapvision.answer.picture.profile_strips import deciding_line
from gapvision.joint.photo_results import PhotoResult
from gapvision.measurement import Measurement

LANE_PX, ROW_GAP_PX, NAME_PX = 54, 10, 34
ROWS = ("above", "level", "below")


def extent_strip(measurement: Measurement, columns: Columns, shown: PhotoResult | None) -> Strip:
    """Bars of all photographs where several share the log, hatched where one shows no joint.

    Rows are as the lens was held: above, level with or below the gap. Where photographs of a row
    overlap they take turns on lanes.
    """
    used = [p for p in measurement.photos if p.used and np.isfinite(p.from_mm)]
    if len(used) < 2:
        return blank(0)
    sides = sorted({p.side for p in used}, reverse=True)  # outside first
    strips = []
    for side in sides:
        if sides != ["outside"]:
            strips.append(blank(LANE_PX))
            text(strips[-1], (PANEL_LEFT_PX, LANE_PX / 2), f"from {side}:", TICK_PX, anchor="start")
        for row in ROWS:
            here = [p for p in used if p.side == side and _row(p) == row]
            lanes = [_lane(x, measurement, columns, shown) for x in _lanes(here, columns)]
            if lanes:
                text(lanes[0], (PANEL_LEFT_PX - 14, LANE_PX / 2), row, TICK_PX, anchor="end")
                strips += [*lanes, blank(ROW_GAP_PX)]
    return stack(strips)


def _row(photo: PhotoResult) -> str:
    """How the lens was held, parted half-way to the slope that README asks for."""
    slope = photo.height_mm / photo.distance_mm
    return "above" if slope > STEEPER / 2 else "below" if slope < -STEEPER / 2 else "level"


def _ends(photo: PhotoResult, columns: Columns) -> np.ndarray:
    """First and last column of a photograph's bar."""
    ends = columns(np.array([photo.from_mm, photo.to_mm]))
    return np.sort(ends).clip(PANEL_LEFT_PX, PANEL_RIGHT_PX) + (2, -2)


def _lanes(photos: Iterable[PhotoResult], columns: Columns) -> list[list[PhotoResult]]:
    """Photographs in as few lanes as keep them apart."""
    lanes: list[list[PhotoResult]] = []
    for photo in sorted(photos, key=lambda p: _ends(p, columns)[0]):
        left = _ends(photo, columns)[0]
        free = next((lane for lane in lanes if _ends(lane[-1], columns)[1] < left), None)
        if free is None:
            lanes.append([photo])
        else:
            free.append(photo)
    return lanes


def _lane(
    photos: list[PhotoResult], measurement: Measurement, columns: Columns, shown: PhotoResult | None
) -> Strip:
    """One lane of bars with the photographs' names; the one shown is dark."""
    strip = blank(LANE_PX)
    labels: list[tuple[Point, str, Rgb, Rgb]] = []
    for photo in photos:
        is_shown = photo is shown
        station = seen_stations(photo)
        pieces = [
            np.sort(columns(piece[[0, -1]])).clip(PANEL_LEFT_PX, PANEL_RIGHT_PX)
            for piece in np.split(station, np.flatnonzero(np.diff(station) > BREAK_MM) + 1)
            if len(piece)  # one outline alone may be all that it shows
        ]
        ends = _ends(photo, columns)
        hatch(strip, ends[0], ends[1], 4, LANE_PX - 4)
        for left, right in pieces:
            box(strip, left, right, 4, LANE_PX - 4, BLUE if is_shown else GREY)
        # On the largest piece that both outlines show, or else across the hatching.
        for left, right in (*sorted(pieces, key=np.ptp)[-1:], ends):
            if name := _fitted(photo, is_shown, right - left - 16):
                break
        solid = any(left == a and right == b for a, b in pieces)
        ink, halo = (BLACK, WHITE) if not solid else (WHITE, BLUE) if is_shown else (BLACK, GREY)
        labels.append((((left + right) / 2, LANE_PX / 2), name, ink, halo))
    deciding_line(strip, measurement, columns, 0)
    for middle, name, ink, halo in labels:
        text(strip, middle, name, NAME_PX, ink, halo=halo)
    return strip


def _fitted(photo: PhotoResult, is_shown: bool, width: float) -> str:
    """A photograph's name cut from the left: phones number their files at the end."""
    stem = Path(photo.file).stem
    names = [stem, *(f"..{stem[i:]}" for i in range(3, len(stem) - 1))]
    words = [f"{name} (shown)" for name in names if is_shown] + names
    return next((w for w in words if text_width(w, NAME_PX) < width), "")
