"""The drawings of a report: one joint's profile, and a wall's course by course.

They are strips of the picture without its photograph, and go into the PDF as vectors and into the
HTML as SVG.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup
from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing

from gapvision.answer.as_json import measurement_of
from gapvision.answer.paper import BOLD, REGULAR
from gapvision.answer.picture.axis import Columns, even_columns, round_levels, station_strip
from gapvision.answer.picture.drawing import Strip, drawing_of, stack
from gapvision.answer.picture.profile_strips import (
    chart_legend,
    gap_ends,
    gap_plot,
    gap_strip,
    groove_strip,
)
from gapvision.answer.report.headline import headline
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.words import log_name, profile_text
from gapvision.lengths import format_length
from gapvision.measurement import Measurement

TALL_PX = 425  # of a plot; in the picture, which a phone shows whole, it is lower
LOW_PX = 145  # of the plot of one log in a wall
ROWS_A_DRAWING = 7  # that fit on a page


def profile_drawing(report: JointReport) -> Drawing:
    """The gap with its 95 % band, and below it the groove's width where there is a setting.

    Parameters
    ----------
    report : JointReport
        Of a measured or doubtful joint.
    """
    m, units = measurement_of(report.result), report.units
    stations = m.profile.station_mm
    columns = even_columns(stations.min(), stations.max())
    strips = [gap_strip(m, columns, units, TALL_PX)]
    if headline(report).has_setting:
        strips.append(groove_strip(m, columns, units, TALL_PX))
    strips.append(station_strip(stations, m.cards, columns, units))
    strips.append(chart_legend(m, units, marks=True))
    return drawing_of(stack(strips))


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
    shown = [(r, measurement_of(r.result)) for r in reports if r.result["status"] != "refused"]
    if not shown:
        return []
    units = shown[0][0].units
    stations = np.concatenate([m.profile.station_mm for _, m in shown])
    columns = even_columns(stations.min(), stations.max())
    levels = round_levels(np.concatenate([gap_ends(m) for _, m in shown]), 3, units)[[0, -1]]
    out = []
    for start in range(0, len(shown), ROWS_A_DRAWING):
        part = shown[start : start + ROWS_A_DRAWING]
        rows = [_course(report, m, columns, levels) for report, m in reversed(part)]
        d = drawing_of(stack([*rows, station_strip(stations, (), columns, units)]))
        out.append((d, " ".join(f"Log {log_name(r)}: {profile_text(r)}" for r, _ in part)))
    return out[::-1]


def _course(report: JointReport, m: Measurement, columns: Columns, levels_mm: np.ndarray) -> Strip:
    """One log of a wall: its gap, its name and its setting."""
    head = headline(report)
    gap = format_length(m.widest_gap.value_mm, report.units)
    words = f"Log {log_name(report)}:  {head.large.partition(':')[0]}, widest {gap}"
    return gap_plot(m, words, columns, report.units, levels_mm, LOW_PX)[0]


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
