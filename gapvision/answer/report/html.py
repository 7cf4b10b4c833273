"""What is told of one joint, and of a whole wall: one HTML file that needs nothing else."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from gapvision.answer.report import conditions, wall, words
from gapvision.answer.report.chart import profile_drawing, svg_of, wall_drawings
from gapvision.answer.report.headline import headline
from gapvision.answer.report.joint import JointReport
from gapvision.phrases import joined

__all__ = ["JointReport", "joint_html", "wall_html"]


def joint_html(report: JointReport) -> str:
    """One joint as one HTML file: no script, nothing loaded from elsewhere.

    Parameters
    ----------
    report : JointReport

    Returns
    -------
    str
        HTML5; pictures are data URIs, the profile is SVG.
    """
    measured = report.result["status"] != "refused"
    picture = words.sketch(report)
    drawn = measured and not picture
    return _page(
        "joint.html",
        title=words.job_title(report),
        head=headline(report),
        to_do=words.to_do(report),
        numbers=words.numbers(report),
        picture=_data_uri(picture) if picture else "",
        profile=svg_of(profile_drawing(report), words.profile_text(report)) if drawn else "",
        seen=words.profile_text(report) if measured else "",
        cautions=words.cautions(report),
        photos=[
            (_data_uri(jpeg), name, conditions.photo_words(report, name))
            for name, jpeg in report.photos
        ],
        conditions=conditions.conditions(report),
        sections=words.later_sections(report),
        safety=words.safety([report]),
        signatures=words.SIGNATURES,
    )


def wall_html(reports: Sequence[JointReport]) -> str:
    """All joints of a wall as one HTML file, from the lowest log up.

    Parameters
    ----------
    reports : sequence of JointReport
        In any order; at least one.

    Returns
    -------
    str
        HTML5, self-contained like that of `joint_html`.
    """
    courses = wall.in_courses(reports)
    return _page(
        "wall.html",
        title=wall.wall_title(courses),
        names=wall.WALL_COLUMNS,
        rows=[
            (headline(r).kind, row)
            for r, row in zip(courses, wall.wall_rows(courses)[1:], strict=True)
        ],
        drawings=[svg_of(d, text) for d, text in wall_drawings(courses)],
        about=wall.WALL_ABOUT,
        logs=[
            (
                words.job_title(r),
                words.date_text(r),
                headline(r),
                words.to_do(r) or words.cautions(r),
            )
            for r in courses
        ],
        safety=words.safety(courses),
        signatures=words.SIGNATURES,
    )


def _page(template: str, **content: Any) -> str:
    pages = Environment(
        loader=PackageLoader("gapvision.answer.report", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: joined(value) if type(value) is str else value,
    )
    return pages.get_template(template).render(**content)


def _data_uri(jpeg: bytes) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode('ascii')}"
