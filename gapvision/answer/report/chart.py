"""The drawings of a report: one joint's profile, and a wall's course by course.

Drawn once, as shapes of reportlab: they go into the PDF as they are and into the HTML as SVG.
Colours and marks are those of the picture (`drawing.py`).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from markupsafe import Markup
from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing, Line, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import Color

from gapvision.answer.as_json import measurement_of
from gapvision.answer.picture.axis import axis_number, round_step
from gapvision.answer.picture.drawing import (
    BAND,
    BLACK,
    BLUE,
    DARK_GREY,
    DECIDING_COLOUR,
    GREY,
    WHITE,
    WIDEST_COLOUR,
    Rgb,
)
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.paper import BOLD, REGULAR, printable, register_fonts, width_of
from gapvision.answer.report.words import headline, log_name, profile_text
from gapvision.answer.text import cover_text, set_to_text
from gapvision.lengths import INCH_MM, format_length
from gapvision.measurement import Measurement
from gapvision.phrases import quantity_text
from gapvision.quantity import K95, runs

WIDTH = 640.0  # of all drawings; on a phone this is some 360 px, and type of 17 still 9.6 px
LEFT, RIGHT = 58.0, 628.0
TYPE = 17.0
PANEL = 170.0  # height of a plot
ROW = 104.0  # of one log in a wall
ROW_HEAD = 46.0  # of that, for its name and the mark of its widest gap
ROWS_A_DRAWING = 7  # that fit on a page

Scale = Callable[[float], float]


def profile_drawing(report: JointReport) -> Drawing:
    """The gap with its 95 % band above, the groove's width at the setting below, by station.

    Parameters
    ----------
    report : JointReport
        Of a measured or doubtful joint.
    """
    register_fonts()
    m, units = measurement_of(report.result), report.units
    height = 2 * PANEL + 208
    d = Drawing(WIDTH, height)
    x = _stations(m.profile.station_mm)
    p, cover = m.profile, m.cover_mm
    gap_base = height - 34 - PANEL
    groove_base = gap_base - 62 - PANEL
    place, widest = m.deciding_place.station_mm, m.widest_place.station_mm

    y = _plot(d, x, p.station_mm, p.gap_mm, p.gap_u_mm, gap_base, (0.0,), units)
    _text(d, LEFT, gap_base + PANEL + 14, f"Gap between the logs ({units})", bold=True)
    _deciding_line(d, x(place), gap_base, gap_base + PANEL)
    _at(d, "diamond", x(place), y(np.interp(place, p.station_mm, p.gap_mm)), -11)
    _at(d, "triangle", x(widest), y(m.widest_gap.value_mm), 11)
    _beside(d, x(widest), y(m.widest_gap.value_mm) + 12, quantity_text(m.widest_gap, units))

    room = cover - 0.25 * np.nanmax(np.abs(p.groove_width_mm - cover))
    y = _plot(
        d, x, p.station_mm, p.groove_width_mm, p.groove_width_u_mm, groove_base, (cover, room), units
    )  # fmt: skip
    title = f"Groove width when set to {set_to_text(m, units)} ({units})"
    _text(d, LEFT, groove_base + PANEL + 14, title, bold=True)
    _deciding_line(d, x(place), groove_base, groove_base + PANEL)
    d.add(
        Line(LEFT, y(cover), RIGHT, y(cover), strokeColor=_rgb(BLACK), strokeWidth=2,
             strokeDashArray=[9, 9])
    )  # fmt: skip
    _at(d, "diamond", x(place), y(np.interp(place, p.station_mm, p.groove_width_mm)))

    _axis(d, x, p.station_mm, groove_base, units)
    _cards(d, x, m, groove_base - 44)
    _legend(d, m, units, unseen=bool(np.isnan(p.gap_mm).any()))
    return d


def wall_drawings(reports: Sequence[JointReport]) -> list[tuple[Drawing, str]]:
    """The gap of each log in a row of its own, the lowest log in the lowest row.

    Parameters
    ----------
    reports : sequence of JointReport
        From the lowest log up.

    Returns
    -------
    list of (Drawing, str)
        From the wall's top down, `ROWS_A_DRAWING` logs each, all of one scale; and in words.
        Refused joints have no row; empty where none is left.
    """
    register_fonts()
    shown = [(r, measurement_of(r.result)) for r in reports if r.result["status"] != "refused"]
    if not shown:
        return []
    units = shown[0][0].units
    stations = np.concatenate([m.profile.station_mm for _, m in shown])
    ends = np.concatenate(
        [m.profile.gap_mm + k * m.profile.gap_u_mm for _, m in shown for k in (-K95, K95)]
    )
    ends = np.maximum(ends[np.isfinite(ends)], 0.0)
    step = round_step(float(np.ptp(ends)), 3, units)
    scale = float(np.floor(ends.min() / step) * step), float(np.ceil(ends.max() / step) * step)
    x = _stations(stations)
    out = []
    for start in range(0, len(shown), ROWS_A_DRAWING):
        part = shown[start : start + ROWS_A_DRAWING]
        d = Drawing(WIDTH, ROW * len(part) + 64)
        for k, (report, m) in enumerate(part):
            _course(d, x, report, m, 60 + k * ROW, scale)
        _axis(d, x, stations, 56, units)
        words = " ".join(f"Log {log_name(r)}: {profile_text(r)}" for r, _ in part)
        out.append((d, words))
    return out[::-1]


def svg_of(drawing: Drawing, words: str) -> Markup:
    """A drawing as an ``svg`` element for HTML, with its words for those who do not see it.

    Parameters
    ----------
    drawing : Drawing
    words : str
        What it shows.
    """
    ET.register_namespace("", _SVG[1:-1])
    root = ET.fromstring(renderSVG.drawToString(drawing).split("?>", 1)[1])
    for name in ("title", "desc"):
        for found in root.findall(f"{_SVG}{name}"):
            root.remove(found)
    for found in root.findall(f"{_SVG}clipPath"):
        root.remove(found)  # nothing is drawn outside, and its id would be met in each drawing
    for group in root.iter(f"{_SVG}g"):
        group.attrib.pop("id", None)
        group.attrib.pop("style", None)
        if not group.get("transform"):
            group.attrib.pop("transform", None)
    for name in ("width", "height", "version", "preserveAspectRatio", "fill-rule"):
        root.attrib.pop(name, None)
    for text in root.iter(f"{_SVG}text"):
        text.set("style", _in_html(text.get("style", "")))
    root.set("role", "img")
    root.set("aria-label", words)
    return Markup(ET.tostring(root, encoding="unicode"))


_SVG = "{http://www.w3.org/2000/svg}"


def _in_html(style: str) -> str:
    """A text's style with the fonts that any browser has."""
    bold = f"font-family: {BOLD}" in style
    for font in (BOLD, REGULAR):
        style = style.replace(f"font-family: {font}", "font-family: Arial, sans-serif")
    return f"font-weight: bold; {style}" if bold else style


# --- parts ----------------------------------------------------------------------------------------


def _stations(station_mm: np.ndarray) -> Scale:
    """From a station to its place from left to right."""
    first, last = float(np.min(station_mm)), float(np.max(station_mm))
    slope = (RIGHT - LEFT - 20) / ((last - first) or 1.0)
    return lambda mm: LEFT + 10 + (mm - first) * slope


def _plot(
    d: Drawing,
    x: Scale,
    station_mm: np.ndarray,
    value_mm: np.ndarray,
    u_mm: np.ndarray,
    base: float,
    include_mm: Iterable[float],
    units: str,
) -> Scale:
    """A curve with its band over ruled lines, and the way from a value to its height."""
    low, high = value_mm - K95 * u_mm, value_mm + K95 * u_mm
    seen = np.concatenate([low, high, np.fromiter(include_mm, float)])
    seen = np.maximum(seen[np.isfinite(seen)], 0.0)  # neither a gap nor a groove is negative
    step = round_step(float(np.ptp(seen)), 5, units)
    floor, ceiling = np.floor(seen.min() / step) * step, np.ceil(seen.max() / step) * step
    ceiling = max(ceiling, floor + step)

    def y(value: float) -> float:
        return base + (value - floor) / (ceiling - floor) * PANEL

    for value in np.arange(floor, ceiling + step / 2, step):
        d.add(Line(LEFT, y(value), RIGHT, y(value), strokeColor=_rgb(GREY), strokeWidth=1))
        _text(d, LEFT - 8, y(value) - 6, axis_number(value, units), anchor="end")
    _curve(d, x, y, station_mm, value_mm, u_mm, base, base + PANEL)
    return y


def _curve(
    d: Drawing, x: Scale, y: Scale, station_mm, value_mm, u_mm, base: float, top: float
) -> None:
    """Band, curve, and hatching where nothing was seen."""
    xs = x(station_mm)
    low = np.clip(y(np.maximum(value_mm - K95 * u_mm, 0.0)), base, top)
    high = np.clip(y(value_mm + K95 * u_mm), base, top)
    finite = np.isfinite(low + high)
    for run in runs(finite):
        edge = np.r_[np.c_[xs[run], low[run]], np.c_[xs[run], high[run]][::-1]]
        d.add(Polygon(_flat(edge), fillColor=_rgb(BAND), strokeColor=None))
    for run in runs(finite):
        points = np.c_[xs[run], y(value_mm[run])]
        if len(points) > 1:
            d.add(PolyLine(_flat(points), strokeColor=_rgb(BLUE), strokeWidth=2))
    for run in runs(~finite):
        # From the last station seen to the next one, so that no empty sliver is left between.
        left, right = xs[max(run.start - 1, 0)], xs[min(run.stop, len(xs) - 1)]
        _hatch(d, left, right, base, top)
        if right - left > 80:
            _boxed(d, (left + right) / 2, (base + top) / 2, "not seen", WHITE)


def _hatch(d: Drawing, left: float, right: float, base: float, top: float) -> None:
    """Slanting lines in an upright rectangle."""
    height = top - base
    for start in np.arange(left - height, right, 10):
        a, b = max(start, left), min(start + height, right)
        if b > a:
            d.add(
                Line(a, base + a - start, b, base + b - start, strokeColor=_rgb(DARK_GREY),
                     strokeWidth=1.2)
            )  # fmt: skip


def _axis(d: Drawing, x: Scale, station_mm: np.ndarray, base: float, units: str) -> None:
    """The stations' line with its numbers."""
    d.add(Line(LEFT, base, RIGHT, base, strokeColor=_rgb(BLACK), strokeWidth=1.5))
    first, last = float(np.min(station_mm)), float(np.max(station_mm))
    steps = (100.0, 200.0, 500.0, 1000.0, 2000.0) if units == "mm" else (
        6 * INCH_MM, 12 * INCH_MM, 24 * INCH_MM, 48 * INCH_MM, 96 * INCH_MM)  # fmt: skip
    step = next((s for s in steps if s * (x(1.0) - x(0.0)) > 62), steps[-1])
    for i in range(int(np.ceil(first / step)), int(np.floor(last / step)) + 1):
        at = x(i * step)
        d.add(Line(at, base, at, base - 6, strokeColor=_rgb(BLACK), strokeWidth=1.5))
        _text(d, at, base - 22, axis_number(i * step, units), anchor="middle")
    _text(d, LEFT - 8, base - 22, units, anchor="end")


def _cards(d: Drawing, x: Scale, m: Measurement, y: float) -> None:
    """The cards at their nails."""
    _text(d, LEFT - 8, y - 6, "card", anchor="end")
    free = -np.inf
    for at, number in sorted((x(c.station_mm), c.number) for c in m.cards):
        if LEFT <= at <= RIGHT and at - 15 > free:
            _boxed(d, at, y, str(number), GREY)
            free = at + 15


def _legend(d: Drawing, m: Measurement, units: str, unseen: bool) -> None:
    """What marks, band, dashes and hatching mean."""
    items = [
        ("band", "holds the truth 95 times in 100"),
        ("triangle", "widest gap"),
        ("diamond", "decides the setting"),
        ("dashes", f"cover wanted, {cover_text(m, units)}"),
    ] + [("hatching", "not seen")] * unseen
    x, y = 4.0, 38.0
    for sample, name in items:
        width = 40 + width_of(name, REGULAR, TYPE)
        if x + width > WIDTH - 4:
            x, y = 4.0, y - 28
        _sample(d, sample, x, y)
        _text(d, x + 40, y - 6, name)
        x += width + 18


def _sample(d: Drawing, sample: str, x: float, y: float) -> None:
    if sample == "band":
        d.add(Rect(x, y - 8, 34, 16, fillColor=_rgb(BAND), strokeColor=None))
        d.add(Line(x, y, x + 34, y, strokeColor=_rgb(BLUE), strokeWidth=2.5))
    elif sample == "dashes":
        d.add(Line(x, y, x + 34, y, strokeColor=_rgb(BLACK), strokeWidth=2, strokeDashArray=[7, 6]))
    elif sample == "hatching":
        _hatch(d, x, x + 34, y - 8, y + 8)
    else:
        _at(d, sample, x + 20, y)


def _course(
    d: Drawing,
    x: Scale,
    report: JointReport,
    m: Measurement,
    base: float,
    scale_mm: tuple[float, float],
) -> None:
    """One log of a wall: its gap, its name and its setting."""
    plot, p = ROW - ROW_HEAD, m.profile
    floor, ceiling = scale_mm

    def y(value: float) -> float:
        return base + (value - floor) / ((ceiling - floor) or 1.0) * plot

    for value in scale_mm:
        d.add(Line(LEFT, y(value), RIGHT, y(value), strokeColor=_rgb(GREY), strokeWidth=1))
        _text(d, LEFT - 8, y(value) - 6, axis_number(value, report.units), anchor="end")
    _curve(d, x, y, p.station_mm, p.gap_mm, p.gap_u_mm, base, base + plot)
    place, widest = m.deciding_place.station_mm, m.widest_place.station_mm
    _deciding_line(d, x(place), base, base + plot)
    _at(d, "diamond", x(place), y(np.interp(place, p.station_mm, p.gap_mm)), -11)
    _at(d, "triangle", x(widest), y(m.widest_gap.value_mm), 11)
    head = headline(report)
    doubt = "DOUBTFUL: " if head.tone == "doubtful" else ""
    gap = format_length(m.widest_gap.value_mm, report.units)
    words = f"Log {log_name(report)}:  {doubt}set {head.set_to}, widest {gap}"
    _text(d, LEFT - 50, base + plot + 24, words, bold=True)


def _deciding_line(d: Drawing, x: float, base: float, top: float) -> None:
    d.add(
        Line(x, base, x, top, strokeColor=_rgb(DECIDING_COLOUR), strokeWidth=2, strokeDashArray=[3, 4])
    )  # fmt: skip


def _at(d: Drawing, shape: str, x: float, y: float, above: float = 0.0) -> None:
    """A filled mark with a dark rim, as `drawing.mark` has it; none where the place is not seen."""
    if not np.isfinite(y):
        return
    corners, colour = {
        "triangle": ([(-9, 8), (9, 8), (0, -8)], WIDEST_COLOUR),
        "diamond": ([(-9, 0), (0, -9), (9, 0), (0, 9)], DECIDING_COLOUR),
    }[shape]
    points = np.array(corners, float) + (x, y + above)
    d.add(Polygon(_flat(points), fillColor=_rgb(colour), strokeColor=_rgb(BLACK), strokeWidth=1.5))


def _beside(d: Drawing, x: float, y: float, words: str) -> None:
    """A boxed number right of a mark, or left of it where the plot ends."""
    half = width_of(words, REGULAR, TYPE) / 2 + 6
    at = x + half + 16
    if at + half > RIGHT:
        at = x - half - 16
    _boxed(d, at, y, words, WIDEST_COLOUR)


def _boxed(d: Drawing, x: float, y: float, words: str, colour: Rgb) -> None:
    half = width_of(words, REGULAR, TYPE) / 2 + 5
    d.add(
        Rect(x - half, y - 11, 2 * half, 22, fillColor=_rgb(colour), strokeColor=_rgb(BLACK),
             strokeWidth=1)
    )  # fmt: skip
    _text(d, x, y - 6, words, anchor="middle")


def _text(
    d: Drawing, x: float, y: float, words: str, anchor: str = "start", bold: bool = False
) -> None:
    font = BOLD if bold else REGULAR
    words = printable(words)
    d.add(String(x, y, words, fontName=font, fontSize=TYPE, textAnchor=anchor))


def _rgb(colour: Rgb) -> Color:
    return Color(*(c / 255 for c in colour))


def _flat(points: np.ndarray) -> list[float]:
    return np.round(points, 1).ravel().tolist()
