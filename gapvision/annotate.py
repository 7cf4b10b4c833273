"""Measurement to picture: the photograph with what was traced, and numbers on the same stations.

The picture is a stack of strips of one width, each drawn by a function that knows nothing of the
others; what they share is the way from a station to a column, so that a place keeps its column
from the photograph down to the numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from gapvision.errors import MeasurementError
from gapvision.lengths import format_length
from gapvision.photo import load_photo
from gapvision.result import Measurement, PhotoResult, Place, runs

WIDTH_PX = 1600
PANEL_LEFT_PX, PANEL_RIGHT_PX = 120, 1576  # columns of photograph and plots; numbers stand left
PLOT_TOP_PX, PLOT_HEIGHT_PX = 112, 340  # the room above holds the title
PHOTO_ABOVE_PX, PHOTO_BELOW_PX = 250, 230  # kept above and below the traces: cards and labels
TITLE_PX, SUBTITLE_PX, TEXT_PX, TICK_PX = 92, 50, 42, 38  # text heights

# Colours that colour-blind people tell apart, as RGB: M. Okabe and K. Ito, "Color Universal
# Design: how to make figures and presentations that are friendly to colorblind people", 2008.
SKY_BLUE = (86, 180, 233)
VERMILLION = (213, 94, 0)
BLUE = (0, 114, 178)
YELLOW = (240, 228, 66)
REDDISH_PURPLE = (204, 121, 167)
BLACK = (0, 0, 0)
WHITE = (255, 255, 255)
GREY = (200, 200, 200)
BAND = (178, 212, 232)  # BLUE, thinned with white

UPPER_COLOUR, LOWER_COLOUR = SKY_BLUE, VERMILLION
WIDEST_COLOUR, DECIDING_COLOUR = YELLOW, REDDISH_PURPLE

BREAK_MM = 25.0  # an outline is not drawn across a longer stretch that was not traced
SAME_PLACE_MM = 30.0  # marks nearer than this would lie on each other
K95 = 1.96  # coverage factor of 95 % of a normal distribution, JCGM 100:2008 table G.1
SHIFT = 4  # fractional bits of the points given to OpenCV
PICTURE_SUFFIXES = (".jpg", ".jpeg", ".png")

Rgb = tuple[int, int, int]
Columns = Callable[[np.ndarray], np.ndarray]


class PictureOptions(Protocol):
    """What the picture needs of the options of a run: ``units``, ``"mm"`` or ``"in"``."""

    units: str


def draw_picture(
    measurement: Measurement, load_bgr: Callable[[str], np.ndarray], units: str = "mm"
) -> np.ndarray:
    """Return the answer as one picture, for a phone held upright or across.

    From above: what to set; the photograph that shows the deciding place best, with both traced
    outlines, stations, the widest gap and the deciding place; gap and groove width by station,
    each with the band that holds the truth 95 times in 100; the status and the cautions.

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
    photograph's own; otherwise they are evenly spaced over the whole log, the photographs' extents
    stand under them, and the photograph has only its own ticks.
    """
    shown = best_photo(measurement)
    strips = [_title_strip(measurement, units)]
    columns = _even_columns(measurement)
    if shown is not None:
        bgr = load_bgr(shown.file)
        view = _view_of(shown, bgr.shape)
        photo_columns = _photo_columns(shown, view)
        ends = photo_columns(measurement.profile.station_mm[[0, -1]])
        if ends.min() >= PANEL_LEFT_PX and ends.max() <= PANEL_RIGHT_PX:
            columns = photo_columns
        strips += [_photo_strip(measurement, shown, bgr, view, units), _photo_legend(shown)]
    strips += [
        _gap_strip(measurement, columns, units),
        _groove_strip(measurement, columns, units),
        _station_strip(measurement, columns, units),
        _extent_strip(measurement, columns, shown),
        _plot_legend(measurement, units),
        _note_strip(measurement),
    ]
    return np.vstack(strips)


def write_picture(
    path: str | Path,
    measurement: Measurement,
    options: PictureOptions,
    overwrite: bool = False,
    *,
    load_bgr: Callable[[str], np.ndarray] | None = None,
) -> None:
    """Draw the picture of a joint and write it to a file, as JPEG or PNG by its suffix.

    Parameters
    ----------
    path : str or Path
        Where to write; the folder must be there.
    measurement : Measurement
        The answer of a joint; the photograph needed is read again from its ``file``.
    options : PictureOptions
        Anything with ``units``.
    overwrite : bool
        Whether a file of this name may be replaced.
    load_bgr : callable, optional
        Another way from a path to a photograph, as in `draw_picture`.

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
    picture = draw_picture(measurement, load_bgr or _load_bgr, options.units)
    quality = [cv2.IMWRITE_JPEG_QUALITY, 90] if path.suffix.lower() != ".png" else []
    encoded = cv2.imencode(path.suffix.lower(), picture, quality)[1]
    try:
        # "x" and not "w": a file that came into being while drawing is not lost either.
        with path.open("wb" if overwrite else "xb") as file:
            file.write(encoded.tobytes())
    except FileExistsError:
        raise _file_exists(path) from None
    except OSError as error:
        text = f"The picture could not be written to {path}: {error.strerror or error}."
        raise MeasurementError("not-written", text) from error


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
    if not path.parent.is_dir():
        text = f"There is no folder {path.parent} to write the picture to: make it first."
        raise MeasurementError("no-folder", text)
    if path.exists() and not overwrite:
        raise _file_exists(path)


def best_photo(measurement: Measurement) -> PhotoResult | None:
    """Return the photograph with the deciding place traced nearest to the middle of its stretch.

    Parameters
    ----------
    measurement : Measurement
        The answer of a joint.

    Returns
    -------
    PhotoResult or None
        A used photograph in which the deciding place is traced; if there is none, the one traced
        nearest to it; None if none has a traced stretch.
    """
    place = measurement.deciding_place.station_mm

    def rank(photo: PhotoResult) -> tuple[float, float]:
        station = photo.axis_station_mm
        unseen = max(np.abs(station - place).min() - BREAK_MM, 0.0)
        off_centre = abs(place - (station.min() + station.max()) / 2) / np.ptp(station)
        return unseen, off_centre

    traced = [p for p in measurement.photos if p.used and len(np.unique(p.axis_station_mm)) > 1]
    return min(traced, key=rank, default=None)


# --- from stations to columns ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _View:
    """The part of a photograph that is shown, in its px, and the scale at which it is shown.

    It may reach above and below the photograph, where there is room for numbers only.
    """

    left: int
    top: int
    right: int
    bottom: int
    scale: float

    def points(self, image_px: np.ndarray) -> np.ndarray:
        """Image points, shape (n, 2), as points of the strip; integer at the pixel centre."""
        inside = (image_px - (self.left, self.top) + 0.5) * self.scale - 0.5
        return inside + (PANEL_LEFT_PX, 0)


def _view_of(photo: PhotoResult, shape: tuple[int, ...]) -> _View:
    """Take the band round the traces and as much of the length as has traces or cards."""
    width = shape[1]
    traces = np.vstack([photo.upper_px, photo.lower_px, photo.axis_px])
    # At least half the photograph, so that a short trace still shows where on the log it is.
    margin = max(0.06 * width, (0.5 * width - np.ptp(traces[:, 0])) / 2)
    left = int(np.clip(traces[:, 0].min() - margin, 0, width - 1))
    right = int(np.clip(traces[:, 0].max() + margin, left + 1, width))
    scale = (PANEL_RIGHT_PX - PANEL_LEFT_PX) / (right - left)
    top = int(traces[:, 1].min() - PHOTO_ABOVE_PX / scale)
    bottom = int(traces[:, 1].max() + PHOTO_BELOW_PX / scale)
    return _View(left, top, right, bottom, scale)


def _photo_columns(photo: PhotoResult, view: _View) -> Columns:
    """Columns by station as the photograph has them, straight on beyond its traces."""
    order = np.argsort(photo.axis_station_mm)
    station = photo.axis_station_mm[order]
    column = view.points(photo.axis_px[order])[:, 0]
    whole = np.polyfit(station, column, 1)[0]

    def columns(station_mm: np.ndarray) -> np.ndarray:
        beyond = station_mm - np.clip(station_mm, station[0], station[-1])
        return np.interp(station_mm, station, column) + whole * beyond

    return columns


def _even_columns(measurement: Measurement) -> Columns:
    """Evenly spaced columns for the whole log, left to right as the photographs show it."""
    used = [p for p in measurement.photos if p.used]
    ends = [measurement.profile.station_mm, [p.from_mm for p in used], [p.to_mm for p in used]]
    stations = np.concatenate(ends)
    first, last = np.nanmin(stations), np.nanmax(stations)
    if used and all(p.side == "inside" for p in used):
        first, last = last, first
    slope = (PANEL_RIGHT_PX - PANEL_LEFT_PX - 40) / ((last - first) or 1.0)
    return lambda station_mm: PANEL_LEFT_PX + 20 + (station_mm - first) * slope


# --- strips, from top to bottom -------------------------------------------------------------------


def _title_strip(measurement: Measurement, units: str) -> np.ndarray:
    """What to set, first and largest."""
    setting, doubtful = measurement.setting, measurement.status == "doubtful"
    strip = _blank(246, YELLOW if doubtful else WHITE)
    set_to, cover = _chosen(measurement.set_to_mm, units), _chosen(measurement.cover_mm, units)
    title = f"SET {set_to} for cover {cover}"
    if doubtful:
        title = f"LOWER BOUND: at least {set_to} for cover {cover}"
    needed = format_length(setting.value_mm, units)
    half_width = format_length(setting.U95_mm, units)
    _text(strip, (24, 62), title, TITLE_PX, anchor="lm", bold=True)
    line = f"needed: {needed} ± {half_width} (95 %)"
    if doubtful:
        line += ", as far as seen"
    _text(strip, (26, 142), line, SUBTITLE_PX, anchor="lm")
    place = _place_text(measurement.deciding_place, units)
    _text(strip, (26, 198), f"decided {place}", SUBTITLE_PX, anchor="lm")
    return strip


def _photo_strip(
    measurement: Measurement, photo: PhotoResult, bgr: np.ndarray, view: _View, units: str
) -> np.ndarray:
    """The photograph round the joint, with its outlines, stations and the two places."""
    above, below = max(-view.top, 0), max(view.bottom - bgr.shape[0], 0)
    crop = bgr[max(view.top, 0) : view.bottom, view.left : view.right]
    if crop.dtype == np.uint16:
        crop = (crop >> 8).astype(np.uint8)
    crop = cv2.copyMakeBorder(crop, above, below, 0, 0, cv2.BORDER_CONSTANT, value=GREY)
    size = (PANEL_RIGHT_PX - PANEL_LEFT_PX, max(round(crop.shape[0] * view.scale), 1))
    method = cv2.INTER_AREA if view.scale < 1 else cv2.INTER_LINEAR
    strip = _blank(size[1])
    strip[:, PANEL_LEFT_PX:PANEL_RIGHT_PX] = cv2.resize(crop, size, interpolation=method)
    for trace, colour in ((photo.upper_px, UPPER_COLOUR), (photo.lower_px, LOWER_COLOUR)):
        _outline(strip, photo, trace, view, colour)
    _photo_ticks(strip, measurement, photo, view, units)
    _photo_mark(strip, measurement, photo, view, units, widest=True)
    _photo_mark(strip, measurement, photo, view, units, widest=False)
    return strip


def _outline(
    strip: np.ndarray, photo: PhotoResult, trace: np.ndarray, view: _View, colour: Rgb
) -> None:
    """A traced outline, thin so that the edge under it can be judged, broken where not traced."""
    if not len(trace):
        return
    station = _stations_at(photo, trace[:, 0])
    breaks = np.flatnonzero(np.abs(np.diff(station)) > BREAK_MM) + 1
    pieces = np.split(view.points(trace), breaks)
    for piece in pieces:
        _line(strip, piece, BLACK, 4)
    for piece in pieces:
        _line(strip, piece, colour, 2)


def _photo_ticks(
    strip: np.ndarray, measurement: Measurement, photo: PhotoResult, view: _View, units: str
) -> None:
    """Stations under the gap, and the name of the card that they are counted from."""
    columns = _photo_columns(photo, view)
    first, last = photo.axis_station_mm.min(), photo.axis_station_mm.max()
    deciding = columns(np.array([measurement.deciding_place.station_mm]))[0]
    for station, label in _ticks(measurement, columns, (first, last), units):
        x = columns(np.array([station]))[0]
        y = _row_at(photo.lower_px, photo.axis_px, view, x) + 8
        foot = y + (26 if label else 14)
        _line(strip, np.array([[x, y], [x, foot]]), BLACK, 7)
        _line(strip, np.array([[x, y], [x, foot]]), WHITE, 3)
        # The deciding place's number hangs on a line that would cross this one.
        if abs(x - deciding) > _font(TICK_PX).getlength(label) / 2 + 12:
            _text(strip, (x, foot + 4), label, TICK_PX, WHITE, "mt", halo=BLACK)


def _photo_mark(
    strip: np.ndarray,
    measurement: Measurement,
    photo: PhotoResult,
    view: _View,
    units: str,
    *,
    widest: bool,
) -> None:
    """The widest gap from above, or the deciding place from below, with its number."""
    place = measurement.widest_place if widest else measurement.deciding_place
    x = _photo_columns(photo, view)(np.array([place.station_mm]))[0]
    if not PANEL_LEFT_PX <= x <= PANEL_RIGHT_PX:
        return
    upper = _row_at(photo.upper_px, photo.axis_px, view, x)
    lower = _row_at(photo.lower_px, photo.axis_px, view, x)
    height = strip.shape[0]
    if widest:
        label = f"widest gap {format_length(measurement.widest_gap.value_mm, units)}"
        mark, text_y = (x, upper - 19), np.clip(upper - 190, 40, height - 40)
        _line(strip, np.array([[x, upper], [x, lower]]), BLACK, 7)
        _line(strip, np.array([[x, upper], [x, lower]]), WIDEST_COLOUR, 3)
    else:
        label = f"decides: {format_length(measurement.setting.value_mm, units)}"
        mark, text_y = (x, lower + 22), np.clip(lower + 160, 40, height - 40)
    colour = WIDEST_COLOUR if widest else DECIDING_COLOUR
    _line(strip, np.array([mark, (x, text_y)]), BLACK, 5)
    _line(strip, np.array([mark, (x, text_y)]), WHITE, 2)
    _mark(strip, mark, "triangle" if widest else "diamond")
    _boxed(strip, (x, text_y), label, SUBTITLE_PX, colour)


def _photo_legend(photo: PhotoResult) -> np.ndarray:
    """What the lines and marks in the photograph are, and which photograph it is."""
    name = Path(photo.file).name
    swapped = ", from inside: left and right are swapped" if photo.side == "inside" else ""
    return _legend(
        [
            (UPPER_COLOUR, "upper log's underside"),
            (LOWER_COLOUR, "lower log's top"),
            ("triangle", "widest gap"),
            ("diamond", "decides the setting"),
            (None, f"photograph {name}{swapped}"),
        ]
    )


def _gap_strip(measurement: Measurement, columns: Columns, units: str) -> np.ndarray:
    """The gap by station with its band and its widest place."""
    profile = measurement.profile
    title = f"Gap between the logs ({units})"
    strip, row = _plot(
        title, profile.station_mm, profile.gap_mm, profile.gap_u_mm, columns, units, (0.0,)
    )
    gap = measurement.widest_gap
    x = columns(np.array([measurement.widest_place.station_mm]))[0]
    _deciding_line(strip, measurement, columns)
    deciding = _value_at(measurement, profile.gap_mm, measurement.deciding_place)
    deciding_x = columns(np.array([measurement.deciding_place.station_mm]))[0]
    if np.isfinite(deciding):
        _mark(strip, (deciding_x, row(deciding) + 22), "diamond")
    _mark(strip, (x, row(gap.value_mm) - 19), "triangle")
    label = f"{format_length(gap.value_mm, units)} ± {format_length(gap.U95_mm, units)}"
    _beside(strip, (x, row(gap.value_mm) - 24), label, WIDEST_COLOUR)
    return strip


def _groove_strip(measurement: Measurement, columns: Columns, units: str) -> np.ndarray:
    """The groove width at the recommended setting, with its band, and the wanted cover."""
    profile, cover = measurement.profile, measurement.cover_mm
    title = f"Groove width when set to {_chosen(measurement.set_to_mm, units)} ({units})"
    strip, row = _plot(
        title,
        profile.station_mm,
        profile.groove_width_mm,
        profile.groove_width_u_mm,
        columns,
        units,
        (cover, cover - 0.3 * np.nanmax(profile.groove_width_mm - cover)),  # room for a number
    )
    _deciding_line(strip, measurement, columns)
    _dashed(strip, (PANEL_LEFT_PX, row(cover)), (PANEL_RIGHT_PX, row(cover)), BLACK, 4, 26)
    narrowest = measurement.narrowest_groove.value_mm
    x = columns(np.array([measurement.narrowest_place.station_mm]))[0]
    deciding = _value_at(measurement, profile.groove_width_mm, measurement.deciding_place)
    deciding_x = columns(np.array([measurement.deciding_place.station_mm]))[0]
    apart = measurement.narrowest_place.station_mm - measurement.deciding_place.station_mm
    if abs(apart) > SAME_PLACE_MM:
        _mark(strip, (x, row(narrowest)), "square")
    if np.isfinite(deciding):
        _mark(strip, (deciding_x, row(deciding)), "diamond")
    _beside(strip, (x, strip.shape[0] - 52), f"narrowest {format_length(narrowest, units)}", WHITE)
    return strip


def _station_strip(measurement: Measurement, columns: Columns, units: str) -> np.ndarray:
    """The stations' numbers, and the cards at their nails."""
    strip = _blank(134)
    station = measurement.profile.station_mm
    _line(strip, np.array([[PANEL_LEFT_PX, 0], [PANEL_RIGHT_PX, 0]]), BLACK, 3)
    for tick, label in _ticks(measurement, columns, (station[0], station[-1]), units):
        x = columns(np.array([tick]))[0]
        _line(strip, np.array([[x, 0], [x, 20 if label else 10]]), BLACK, 3)
        _text(strip, (x, 24), label, TICK_PX, anchor="mt")
    _text(strip, (PANEL_LEFT_PX - 14, 24), units, TICK_PX, anchor="rt")
    _text(strip, (PANEL_LEFT_PX - 14, 100), "cards", TICK_PX, anchor="rm")
    free = -np.inf
    for x, card in sorted(
        (columns(np.array([c.station_mm]))[0], c.number) for c in measurement.cards
    ):
        if PANEL_LEFT_PX <= x <= PANEL_RIGHT_PX:
            _line(strip, np.array([[x, 66], [x, 80]]), BLACK, 3)
            if x - 32 > free:
                _boxed(strip, (x, 100), str(card), TICK_PX, GREY)
                free = x + 32
    return strip


def _extent_strip(
    measurement: Measurement, columns: Columns, shown: PhotoResult | None
) -> np.ndarray:
    """A bar for each used photograph where several share the log; the one shown is dark."""
    used = [p for p in measurement.photos if p.used and np.isfinite([p.from_mm, p.to_mm]).all()]
    if len(used) < 2:
        return _blank(0)
    bars = sorted(
        (*np.sort(columns(np.array([p.from_mm, p.to_mm]))), i) for i, p in enumerate(used)
    )
    ends: list[float] = []
    strips = []
    for left, right, index in bars:
        lane = next((i for i, end in enumerate(ends) if end < left), len(ends))
        if lane == len(ends):
            ends.append(right)
            strips.append(_blank(36))
        ends[lane] = right
        left, right = np.clip((left, right), PANEL_LEFT_PX, PANEL_RIGHT_PX)
        colour = BLUE if used[index] is shown else GREY
        cv2.rectangle(strips[lane], (round(left) + 2, 3), (round(right) - 2, 31), colour[::-1], -1)
        if used[index] is shown:
            _text(strips[lane], ((left + right) / 2, 17), "shown", 30, WHITE, "mm")
    _text(strips[0], (PANEL_LEFT_PX - 14, 17), "photos", 34, anchor="rm")
    return np.vstack(strips)


def _plot_legend(measurement: Measurement, units: str) -> np.ndarray:
    """What band, dashes and hatching mean."""
    items: list[tuple[object, str]] = [
        (BAND, "holds the truth 95 times in 100"),
        ("dashes", f"cover wanted, {_chosen(measurement.cover_mm, units)}"),
    ]
    apart = measurement.narrowest_place.station_mm - measurement.deciding_place.station_mm
    if abs(apart) > SAME_PLACE_MM:
        items.append(("square", "narrowest groove"))
    if np.isnan(measurement.profile.gap_mm).any():
        items.append(("hatching", "not seen"))
    return _legend(items)


def _note_strip(measurement: Measurement) -> np.ndarray:
    """The status, how many cautions there are, and the first of them."""
    count = len(measurement.cautions)
    words = {0: "no cautions", 1: "1 caution"}.get(count, f"{count} cautions, the first")
    note = f"Status: {measurement.status}; {words}"
    note += f": {measurement.cautions[0].text}" if count else "."
    lines = _wrapped(note, TEXT_PX, WIDTH_PX - 48, 4)
    strip = _blank(len(lines) * 54 + 32, YELLOW if measurement.status == "doubtful" else GREY)
    for i, line in enumerate(lines):
        _text(strip, (24, 16 + 27 + i * 54), line, TEXT_PX, anchor="lm")
    return strip


# --- a plot ---------------------------------------------------------------------------------------


def _plot(
    title: str,
    station_mm: np.ndarray,
    value_mm: np.ndarray,
    u_mm: np.ndarray,
    columns: Columns,
    units: str,
    include_mm: Iterable[float],
) -> tuple[np.ndarray, Callable[[float], float]]:
    """A strip with a curve and its band, and the way from a value to its row."""
    top, bottom = PLOT_TOP_PX, PLOT_TOP_PX + PLOT_HEIGHT_PX
    strip = _blank(bottom + 14)
    low, high = value_mm - K95 * u_mm, value_mm + K95 * u_mm
    seen = np.concatenate([low, high, np.fromiter(include_mm, float)])
    seen = np.maximum(seen[np.isfinite(seen)], 0.0)  # neither a gap nor a groove is negative
    step = _step(np.ptp(seen), 5, units)
    floor, ceiling = np.floor(seen.min() / step) * step, np.ceil(seen.max() / step) * step
    ceiling = max(ceiling, floor + step)

    def row(value: float) -> float:
        return bottom - (value - floor) / (ceiling - floor) * PLOT_HEIGHT_PX

    for value in np.arange(floor, ceiling + step / 2, step):
        _line(strip, np.array([[PANEL_LEFT_PX, row(value)], [PANEL_RIGHT_PX, row(value)]]), GREY, 2)
        _text(strip, (PANEL_LEFT_PX - 14, row(value)), _number(value, units), TICK_PX, anchor="rm")
    _text(strip, (PANEL_LEFT_PX, 36), title, SUBTITLE_PX, anchor="lm", bold=True)
    x = columns(station_mm)
    finite = np.isfinite(low + high)
    for run in runs(finite):
        edge = np.r_[np.c_[x[run], row(low[run])], np.c_[x[run], row(high[run])][::-1]]
        edge[:, 1] = np.clip(edge[:, 1], top, bottom)
        cv2.fillPoly(strip, [_fixed(edge)], BAND[::-1], cv2.LINE_AA, SHIFT)
    for run in runs(finite):
        _line(strip, np.c_[x[run], row(value_mm[run])], BLUE, 5)
    for run in runs(~finite):
        # From the last station seen to the next one, so that no empty sliver is left between.
        reach = x[[max(run.start - 1, 0), min(run.stop, len(x) - 1)]]
        _hatch(strip, reach.min(), reach.max(), top, bottom)
    return strip, row


def _hatch(strip: np.ndarray, left: float, right: float, top: int, bottom: int) -> None:
    """A hatched field for a stretch that no photograph shows, and its name if there is room."""
    start, stop = np.clip((round(left), round(right)), PANEL_LEFT_PX, PANEL_RIGHT_PX)
    field = strip[top:bottom, start : stop + 1]
    height, width = field.shape[:2]
    for x in range(-height, width, 22):
        cv2.line(field, (x, height), (x + height, 0), (120, 120, 120), 3, cv2.LINE_AA)
    if width > 190:
        _boxed(strip, ((start + stop) / 2, (top + bottom) / 2), "not seen", TICK_PX, WHITE)


def _deciding_line(strip: np.ndarray, measurement: Measurement, columns: Columns) -> None:
    """A dotted line through the deciding place, to follow it from plot to plot."""
    x = columns(np.array([measurement.deciding_place.station_mm]))[0]
    _dashed(strip, (x, PLOT_TOP_PX), (x, strip.shape[0]), REDDISH_PURPLE, 4, 10)


def _beside(strip: np.ndarray, point: tuple[float, float], text: str, colour: Rgb) -> None:
    """A boxed number right of a point, or left of it where the panel ends."""
    half = _font(TEXT_PX).getlength(text) / 2 + 16
    x = point[0] + half + 30
    if x + half > PANEL_RIGHT_PX:
        x = point[0] - half - 30
    _boxed(strip, (x, point[1]), text, TEXT_PX, colour)


def _value_at(measurement: Measurement, value_mm: np.ndarray, place: Place) -> float:
    """The profile's value at a place, NaN where it is not seen."""
    return float(np.interp(place.station_mm, measurement.profile.station_mm, value_mm))


# --- stations and numbers -------------------------------------------------------------------------


def _stations_at(photo: PhotoResult, x_px: np.ndarray) -> np.ndarray:
    """Stations of the places at these columns of the photograph."""
    order = np.argsort(photo.axis_px[:, 0])
    return np.interp(x_px, photo.axis_px[order, 0], photo.axis_station_mm[order])


def _row_at(trace: np.ndarray, axis: np.ndarray, view: _View, column: float) -> float:
    """The row of an outline at a column of the strip; of the gap's middle if it was not traced."""
    points = view.points(trace if len(trace) else axis)
    order = np.argsort(points[:, 0])
    return float(np.interp(column, points[order, 0], points[order, 1]))


def _ticks(
    measurement: Measurement, columns: Columns, ends_mm: tuple[float, float], units: str
) -> Iterable[tuple[float, str]]:
    """Stations every 100 mm (4 in), with a number where there is room, else an empty one."""
    tick = 100.0 if units == "mm" else 4 * 25.4
    every_mm = np.array((2, 5, 10, 20, 50) if units == "mm" else (3, 6, 12, 24)) * tick
    first, last = np.sort(ends_mm)
    x = columns(np.array([first, last]))
    px_per_mm = abs(x[1] - x[0]) / max(last - first, 1.0)
    every = next((e for e in every_mm if e * px_per_mm > 145), every_mm[-1])
    for i in range(int(np.ceil(first / tick)), int(np.floor(last / tick)) + 1):
        numbered = i % round(every / tick) == 0
        yield i * tick, (_number(i * tick, units) if i else _zero(measurement)) if numbered else ""


def _zero(measurement: Measurement) -> str:
    """The name of station zero: the card whose nail is there."""
    at_zero = [c.number for c in measurement.cards if abs(c.station_mm) < 1.0]
    return f"0 (card {at_zero[0]})" if at_zero else "0"


def _step(span_mm: float, most: int, units: str) -> float:
    """The smallest round step that cuts a span into at most so many parts, mm."""
    unit = 1.0 if units == "mm" else 25.4
    steps = (1, 2, 5, 10, 20, 50, 100, 200) if units == "mm" else (0.125, 0.25, 0.5, 1, 2, 5)
    return unit * next((step for step in steps if step * unit * most >= span_mm), steps[-1])


def _number(value_mm: float, units: str) -> str:
    """A number of an axis, whose unit stands elsewhere."""
    return f"{round(value_mm / (1.0 if units == 'mm' else 25.4), 3) + 0.0:g}"


def _chosen(value_mm: float, units: str) -> str:
    """A length that someone chose or sets on a tool: no decimals but those it has."""
    return f"{value_mm:.4g} mm" if units == "mm" else format_length(value_mm, units)


def _place_text(place: Place, units: str) -> str:
    """Where a place is, as a person finds it on the log."""
    if place.near_card is None or place.offset_mm is None:
        return f"at station {format_length(place.station_mm, units)}"
    if abs(place.offset_mm) < 0.5:
        return f"at the nail of card {place.near_card}"
    hand = "right" if place.offset_mm > 0 else "left"
    offset = abs(place.offset_mm)
    offset = _chosen(round(offset), units) if units == "mm" else format_length(offset, units)
    return f"{offset} {hand} of card {place.near_card}, seen from outside"


# --- lines, marks and text ------------------------------------------------------------------------


def _blank(height: int, colour: Rgb = WHITE) -> np.ndarray:
    """An empty strip, BGR."""
    return np.full((height, WIDTH_PX, 3), colour[::-1], np.uint8)


def _fixed(points: np.ndarray) -> np.ndarray:
    """Points as OpenCV takes them with fractional bits."""
    return np.round(np.asarray(points) * 2**SHIFT).astype(np.int32)


def _line(strip: np.ndarray, points: np.ndarray, colour: Rgb, thickness: int) -> None:
    """A line through points, shape (n, 2), px; a single point is a dot."""
    cv2.polylines(strip, [_fixed(points)], False, colour[::-1], thickness, cv2.LINE_AA, SHIFT)


def _dashed(
    strip: np.ndarray,
    start: tuple[float, float],
    end: tuple[float, float],
    colour: Rgb,
    thickness: int,
    dash: float,
) -> None:
    """A straight line of dashes as long as the spaces between them, px."""
    a, b = np.array(start), np.array(end)
    count = max(int(np.hypot(*(b - a)) / dash), 1)
    for i in range(0, count, 2):
        _line(strip, a + (b - a) * np.array([[i], [i + 1]]) / count, colour, thickness)


def _mark(strip: np.ndarray, centre: tuple[float, float], shape: str) -> None:
    """A filled mark with a dark rim: shapes differ, so that colour need not tell them apart."""
    shapes = {
        "triangle": ([(-20, -17), (20, -17), (0, 17)], WIDEST_COLOUR),  # points down at its place
        "diamond": ([(-20, 0), (0, -20), (20, 0), (0, 20)], DECIDING_COLOUR),
        "square": ([(-15, -15), (15, -15), (15, 15), (-15, 15)], WHITE),
    }
    corners, colour = shapes[shape]
    points = _fixed(np.array(corners) + centre)
    cv2.fillPoly(strip, [points], colour[::-1], cv2.LINE_AA, SHIFT)
    cv2.polylines(strip, [points], True, BLACK, 4, cv2.LINE_AA, SHIFT)


def _legend(items: list[tuple[object, str]]) -> np.ndarray:
    """Samples and their names, as many to a row as fit."""
    rows: list[np.ndarray] = []
    x = np.inf
    for sample, name in items:
        width = _font(TEXT_PX).getlength(name) + (90 if sample is not None else 0)
        if x + width > WIDTH_PX - 20:
            rows.append(_blank(60))
            x = 24.0
        _sample(rows[-1], x, sample)
        _text(rows[-1], (x + width, 30), name, TEXT_PX, anchor="rm")
        x += width + 36
    return np.vstack([_blank(8), *rows, _blank(12)])


def _sample(strip: np.ndarray, x: float, sample: object) -> None:
    """The sample of a legend's entry: a line, a field, dashes, hatching or a mark."""
    ends = np.array([[x, 30.0], [x + 72, 30.0]])
    if sample == BAND:
        cv2.rectangle(strip, (round(x), 14), (round(x) + 72, 46), BAND[::-1], -1)
        _line(strip, ends, BLUE, 5)
    elif sample == "dashes":
        _dashed(strip, (x, 30), (x + 76, 30), BLACK, 4, 15)
    elif sample == "hatching":
        for i in range(4):
            _line(strip, np.array([[x + 18 * i, 46], [x + 18 * i + 18, 14]]), (120, 120, 120), 3)
    elif isinstance(sample, str):
        _mark(strip, (x + 46, 30), sample)
    elif sample is not None:
        _line(strip, ends, BLACK, 11)
        _line(strip, ends, sample, 6)


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    """The font that comes with Pillow."""
    return ImageFont.load_default(size=size)


# Signs that the font lacks but texts may hold.
_SIGNS = str.maketrans({"–": "-", "—": "-", "×": "x", "″": '"', "′": "'", "½": " 1/2", "’": "'"})


def _text(
    strip: np.ndarray,
    point: tuple[float, float],
    text: str,
    size: int,
    colour: Rgb = BLACK,
    anchor: str = "mm",
    *,
    halo: Rgb | None = None,
    bold: bool = False,
) -> None:
    """Text at a point, moved into the strip and made smaller where it would not fit."""
    if not text:
        return
    text, stroke = text.translate(_SIGNS), 4 if halo else int(bold)
    while _font(size).getlength(text) > WIDTH_PX - 40 and size > 20:
        size -= 2
    room = Image.new("RGB", (1, 1))
    box = ImageDraw.Draw(room).textbbox(point, text, _font(size), anchor, stroke_width=stroke)
    shift = max(8 - box[0], 0) - max(box[2] - (WIDTH_PX - 8), 0)
    left, right = max(int(box[0] + shift) - 2, 0), min(int(box[2] + shift) + 4, WIDTH_PX)
    top, bottom = max(int(box[1]) - 2, 0), max(int(box[3]) + 4, 0)
    part = strip[top:bottom, left:right]
    if not part.size:
        return
    patch = Image.fromarray(np.ascontiguousarray(part[:, :, ::-1]))
    ImageDraw.Draw(patch).text(
        (point[0] + shift - left, point[1] - top),
        text,
        colour,
        _font(size),
        anchor,
        stroke_width=stroke,
        stroke_fill=halo or colour,
    )
    part[:] = np.asarray(patch)[:, :, ::-1]


def _boxed(
    strip: np.ndarray, centre: tuple[float, float], text: str, size: int, colour: Rgb
) -> None:
    """Text in a box of a colour, wholly within the panel."""
    half = _font(size).getlength(text) / 2 + 14
    x = float(np.clip(centre[0], PANEL_LEFT_PX + half, PANEL_RIGHT_PX - half))
    start = round(x - half), round(centre[1] - size * 0.62)
    end = round(x + half), round(centre[1] + size * 0.62)
    cv2.rectangle(strip, start, end, colour[::-1], -1)
    cv2.rectangle(strip, start, end, BLACK, 3)
    _text(strip, (x, centre[1]), text, size)


def _wrapped(text: str, size: int, width: float, most: int) -> list[str]:
    """Text cut into lines at spaces, and cut short with dots after so many lines."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if _font(size).getlength(longer) <= width or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " ..."]
    return lines


def _file_exists(path: Path) -> MeasurementError:
    """The answer to a name that is taken."""
    text = f"The file {path} exists already: choose another name, or allow it to be overwritten."
    return MeasurementError("file-exists", text)


def _load_bgr(file: str) -> np.ndarray:
    """The pixels of a photograph."""
    return load_photo(file).bgr
