"""The photograph that shows the deciding place best, with what was traced in it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from gapvision.advice.findings import STEEPER
from gapvision.answer.picture.axis import Mm, ticks
from gapvision.answer.picture.drawing import (
    BLACK,
    DECIDING_COLOUR,
    GREY,
    LOWER_COLOUR,
    PANEL_LEFT_PX,
    PANEL_RIGHT_PX,
    SUBTITLE_PX,
    TICK_PX,
    UPPER_COLOUR,
    WHITE,
    WIDEST_COLOUR,
    Strip,
    blank,
    boxed,
    hatch,
    legend,
    line,
    mark,
    text,
    text_width,
)
from gapvision.inputs.corrections import Correction
from gapvision.joint.photo_results import Corrected, PhotoResult, joined_mm
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.trace.outlines import SEEN

BREAK_MM = 25.0  # an outline is not drawn across a longer stretch that was not traced
BEAD_PX = 34  # between the beads along what was drawn by hand
ABOVE_PX, BELOW_PX = 250, 230  # kept above and below the traces: cards and labels


def seen_stations(photo: PhotoResult) -> np.ndarray:
    """Stations at which a photograph shows both outlines (n,), mm, rising."""
    return np.sort(photo.outlines.axis_station_mm[photo.outlines.axis_state == SEEN])


def best_photo(measurement: Measurement) -> PhotoResult | None:
    """Return the photograph that shows the deciding place best.

    Parameters
    ----------
    measurement : Measurement
        The answer of a joint.

    Returns
    -------
    PhotoResult or None
        A used photograph in which both outlines are seen there, or else nearest to it; of several
        one from outside, for places are told as seen from there, the one most level and with the
        place nearest to its middle. None if no photograph has a traced stretch.
    """
    place = measurement.deciding_place.station_mm

    def rank(photo: PhotoResult) -> tuple[float, bool, float]:
        unseen = max(np.abs(seen_stations(photo) - place).min() - BREAK_MM, 0.0)
        ends = photo.outlines.axis_station_mm.min(), photo.outlines.axis_station_mm.max()
        off_centre = abs(place - sum(ends) / 2) / np.ptp(ends)
        # At the edge of a level photograph is as good as in the middle of one half raised.
        off_level = abs(photo.height_mm) / photo.distance_mm / STEEPER
        return unseen, photo.side == "inside", off_centre + off_level

    traced = [p for p in measurement.photos if p.used and len(seen_stations(p)) > 1]
    return min(traced, key=rank, default=None)


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """The part of a photograph that is shown, in its px, and the scale at which it is shown.

    It may reach above and below the photograph, where there is room for numbers only.
    """

    photo: PhotoResult
    left: int
    top: int
    right: int
    bottom: int
    scale: float

    def points(self, image_px: np.ndarray) -> np.ndarray:
        """Image points, shape (n, 2), as points of the strip."""
        inside = (image_px - (self.left, self.top) + 0.5) * self.scale - 0.5
        return inside + (PANEL_LEFT_PX, 0)

    def columns(self, station_mm: Mm) -> Mm:
        """Columns by station as the photograph has them, straight on beyond its traces."""
        order = np.argsort(self.photo.outlines.axis_station_mm)
        station = self.photo.outlines.axis_station_mm[order]
        column = self.points(self.photo.outlines.axis_px[order])[:, 0]
        beyond = station_mm - np.clip(station_mm, station[0], station[-1])
        return np.interp(station_mm, station, column) + np.polyfit(station, column, 1)[0] * beyond

    def row(self, trace: np.ndarray, column: float) -> float:
        """The row of an outline at a column; of the gap's middle if it was not traced."""
        points = self.points(trace if len(trace) else self.photo.outlines.axis_px)
        order = np.argsort(points[:, 0])
        return float(np.interp(column, points[order, 0], points[order, 1]))


def view_of(photo: PhotoResult, shape: tuple[int, ...]) -> View:
    """Take the band round the traces and as much of the length as has traces or cards."""
    width = shape[1]
    traces = np.vstack([photo.outlines.upper_px, photo.outlines.lower_px, photo.outlines.axis_px])
    # At least half the photograph, so that a short trace still shows where on the log it is.
    margin = max(0.06 * width, (0.5 * width - np.ptp(traces[:, 0])) / 2)
    left = int(np.clip(traces[:, 0].min() - margin, 0, width - 1))
    right = int(np.clip(traces[:, 0].max() + margin, left + 1, width))
    scale = (PANEL_RIGHT_PX - PANEL_LEFT_PX) / (right - left)
    top = int(traces[:, 1].min() - ABOVE_PX / scale)
    bottom = int(traces[:, 1].max() + BELOW_PX / scale)
    return View(photo, left, top, right, bottom, scale)


def photo_strip(measurement: Measurement, view: View, bgr: np.ndarray, units: str) -> Strip:
    """The photograph round the joint, with its outlines, stations and the two places."""
    above, below = max(-view.top, 0), max(view.bottom - bgr.shape[0], 0)
    crop = bgr[max(view.top, 0) : view.bottom, view.left : view.right]
    if crop.dtype == np.uint16:
        crop = (crop >> 8).astype(np.uint8)
    crop = cv2.copyMakeBorder(crop, above, below, 0, 0, cv2.BORDER_CONSTANT, value=GREY)
    size = (PANEL_RIGHT_PX - PANEL_LEFT_PX, max(round(crop.shape[0] * view.scale), 1))
    method = cv2.INTER_AREA if view.scale < 1 else cv2.INTER_LINEAR
    strip = blank(size[1])
    strip.photos.append((0, cv2.resize(crop, size, interpolation=method)))
    corrected = view.photo.corrected or Corrected(Correction())
    for trace, colour, drawn_mm in (
        (view.photo.outlines.upper_px, UPPER_COLOUR, corrected.upper_mm),
        (view.photo.outlines.lower_px, LOWER_COLOUR, corrected.lower_mm),
    ):
        _outline(strip, view, trace, colour, drawn_mm)
    for stretch in joined_mm(corrected.given.not_gap):
        _not_gap(strip, view, stretch)
    _ticks(strip, measurement, view, units)
    _place(strip, measurement, view, units, widest=True)
    if measurement.verdict.has_setting:
        _place(strip, measurement, view, units, widest=False)
    return strip


def photo_legend(photo: PhotoResult, decided: bool) -> Strip:
    """What the lines and marks in the photograph are, and which photograph it is.

    ``decided`` is whether the place that decides the setting is marked.
    """
    corrected = photo.corrected or Corrected(Correction())
    drawn = corrected.upper_mm or corrected.lower_mm
    by_hand = [("by hand", "drawn by hand")] if drawn else []
    if corrected.given.not_gap:
        by_hand.append(("hatching", "by hand: not the gap"))
    swapped = ", from inside: left and right are swapped" if photo.side == "inside" else ""
    diamond = [("diamond", "decides the setting")] if decided else []
    return legend(
        [
            (UPPER_COLOUR, "upper log's underside"),
            (LOWER_COLOUR, "lower log's top"),
            ("triangle", "widest gap"),
            *diamond,
            *by_hand,
            (None, f"photograph {photo.name}{swapped}"),
        ]
    )


def _outline(
    strip: Strip, view: View, trace: np.ndarray, colour: tuple,
    drawn_mm: tuple[tuple[float, float], ...],
) -> None:  # fmt: skip
    """A traced outline, thin so that the edge under it can be judged, broken where not traced.

    Beads stand along what was drawn by hand, between these stations.
    """
    if not len(trace):
        return
    order = np.argsort(view.photo.outlines.axis_px[:, 0])
    axis_x = view.photo.outlines.axis_px[order, 0]
    station = np.interp(trace[:, 0], axis_x, view.photo.outlines.axis_station_mm[order])
    breaks = np.flatnonzero(np.abs(np.diff(station)) > BREAK_MM) + 1
    pieces = np.split(view.points(trace), breaks)
    for ink, thickness in ((BLACK, 6), (colour, 3)):
        for piece in pieces:
            line(strip, piece, ink, thickness)
    points = view.points(trace)
    for low, high in drawn_mm:
        here = points[(station >= low - 1) & (station <= high + 1)]
        bead = np.inf
        for point in here[np.argsort(here[:, 0])]:
            if abs(point[0] - bead) >= BEAD_PX or not np.isfinite(bead):
                mark(strip, point, "bead")
                bead = point[0]


def _not_gap(strip: Strip, view: View, stretch_mm: tuple[float, float]) -> None:
    """Hatching over a stretch that was marked as not the gap."""
    left, right = np.clip(
        np.sort(view.columns(np.array(stretch_mm))), PANEL_LEFT_PX, PANEL_RIGHT_PX
    )
    if right - left < 1:
        return
    middle = 0.5 * (left + right)
    rows = [
        view.row(t, middle) for t in (view.photo.outlines.upper_px, view.photo.outlines.lower_px)
    ]
    top, bottom = np.clip((min(rows) - 12, max(rows) + 12), 0, strip.height)
    for ink, thickness in ((BLACK, 10), (WHITE, 5)):
        hatch(strip, left, right, top, bottom, ink, thickness)


def _ticks(strip: Strip, measurement: Measurement, view: View, units: str) -> None:
    """Stations under the gap, and the name of the card that they are counted from."""
    deciding = view.columns(measurement.deciding_place.station_mm)
    for station, label in ticks(
        view.photo.outlines.axis_station_mm, measurement.cards, view.columns, units
    ):
        x = view.columns(station)
        y = view.row(view.photo.outlines.lower_px, x) + 8
        foot = y + (26 if label else 14)
        line(strip, [(x, y), (x, foot)], BLACK, 8)
        line(strip, [(x, y), (x, foot)], WHITE, 4)
        # The deciding place's number hangs on a line that would cross this one.
        if abs(x - deciding) > text_width(label, TICK_PX) / 2 + 12:
            text(strip, (x, foot + 22), label, TICK_PX, WHITE, halo=BLACK)


def _place(strip: Strip, measurement: Measurement, view: View, units: str, *, widest: bool) -> None:
    """The widest gap from above, or the deciding place from below, with its number."""
    place = measurement.widest_place if widest else measurement.deciding_place
    x = view.columns(place.station_mm)
    if not PANEL_LEFT_PX <= x <= PANEL_RIGHT_PX:
        return
    upper, lower = (
        view.row(view.photo.outlines.upper_px, x),
        view.row(view.photo.outlines.lower_px, x),
    )
    height = strip.height
    if widest:
        label = f"widest gap {format_length(measurement.widest_gap.value_mm, units)}"
        at, text_y = (x, upper - 19), np.clip(upper - 190, 40, height - 40)
        line(strip, [(x, upper), (x, lower)], BLACK, 8)
        line(strip, [(x, upper), (x, lower)], WIDEST_COLOUR, 4)
    else:
        label = f"decides: {format_length(measurement.setting.value_mm, units)}"
        at, text_y = (x, lower + 22), np.clip(lower + 160, 40, height - 40)
    line(strip, [at, (x, text_y)], BLACK, 6)
    line(strip, [at, (x, text_y)], WHITE, 3)
    mark(strip, at, "triangle" if widest else "diamond")
    colour = WIDEST_COLOUR if widest else DECIDING_COLOUR
    boxed(strip, (x, text_y), label, SUBTITLE_PX, colour)
