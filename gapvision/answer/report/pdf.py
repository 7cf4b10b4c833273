"""The same reports as PDF, for A4 and Letter, by the library that draws the cards."""

from __future__ import annotations

from collections.abc import Sequence

from gapvision.answer.report import conditions, wall, words
from gapvision.answer.report.chart import profile_drawing, wall_drawings
from gapvision.answer.report.headline import headline
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.page import Page

TEXT_SHARE = 0.4  # of the first page's width, beside the sketch
# Of the columns of a wall's table: log, answer, cover, decided, widest gap, outcome.
WALL_WIDTHS = (8, 24, 11, 27, 18, 24)


def joint_pdf(report: JointReport, paper: str = "a4") -> bytes:
    """One joint as a PDF, with what `html.joint_html` has: an answer to sign, then its evidence.

    Parameters
    ----------
    report : JointReport
    paper : {"a4", "letter"}

    Raises
    ------
    ValueError
        If the paper is not known.
    """
    page = Page(words.job_title(report), paper)
    page.answer(headline(report))
    apart = page.apart(TEXT_SHARE)
    for section in (words.to_do(report), words.numbers(report)):
        if section is not None:
            apart.section(section)
    below = page.apart()
    below.section(words.safety([report]))
    below.signatures(words.SIGNATURES)
    if report.result["status"] == "refused":
        page.add(apart)
        page.add(below)
    else:
        page.beside(apart, words.sketch(report) or profile_drawing(report), below)

    page.evidence()
    for section in (words.cautions(report), conditions.conditions(report)):
        page.section(section)
    page.photos(report.photos)
    for section in words.later_sections(report):
        page.section(section)
    return page.pdf()


def wall_pdf(reports: Sequence[JointReport], paper: str = "a4") -> bytes:
    """All joints of a wall as a PDF, with what `html.wall_html` has.

    Parameters
    ----------
    reports : sequence of JointReport
        In any order; at least one.
    paper : {"a4", "letter"}

    Raises
    ------
    ValueError
        If the paper is not known.
    """
    courses = wall.in_courses(reports)
    page = Page(wall.wall_title(courses), paper)
    page.heading("All logs, from the lowest up")
    page.table(wall.wall_rows(courses), WALL_WIDTHS)
    page.section(words.safety(courses))
    page.signatures(words.SIGNATURES)
    drawings = wall_drawings(courses)
    if drawings:
        page.heading("Course by course")
        page.text(wall.WALL_ABOUT)
    for drawing, _ in drawings:
        page.drawing(drawing)
    page.evidence()
    page.heading("Log by log")
    for report in courses:
        page.heading(words.job_title(report), 1)
        page.text(headline(report).sentence)
        page.content(words.to_do(report) or words.cautions(report))
        page.text(words.date_text(report))
    return page.pdf()
