"""A whole wall: its title, its logs from the lowest up, and its table."""

from __future__ import annotations

import re
from collections.abc import Iterable

from gapvision.answer.as_json import measurement_of
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.words import headline, log_name
from gapvision.phrases import quantity_text

WALL_ABOUT = (
    "The gap of each log, the lowest log in the lowest row, all to one scale. The axis of each log "
    "counts from its own lowest-numbered card's nail: rows are not shifted to where the cards "
    "hung on the wall. Triangle: widest gap; diamond: decides the setting; hatched: not seen."
)


def wall_title(reports: Iterable[JointReport]) -> str:
    """``North wall, Barn``, or what the reports have in common of it."""
    walls = sorted({r.joint.wall_title for r in reports if r.joint.wall})
    buildings = sorted({r.joint.building for r in reports if r.joint.building})
    title = ", ".join([" and ".join(walls)] * bool(walls) + buildings) or "A wall"
    return title[0].upper() + title[1:]


def wall_rows(reports: Iterable[JointReport]) -> tuple[tuple[str, ...], ...]:
    """The table of a wall: headings, then a row a log in the order given."""
    rows = [("Log", "Answer", "Widest gap", "Status", "Cautions")]
    for r in reports:
        head, gap = headline(r), ""
        status = r.result["status"]
        status = status if status == "measured" else status.upper()
        if head.tone != "refused":
            m = measurement_of(r.result)
            gap = quantity_text(m.widest_gap, r.units)
        count = str(len(r.result.get("cautions", ())))
        rows.append((log_name(r), head.large, gap, status, count))
    return tuple(rows)


def in_courses(reports: Iterable[JointReport]) -> list[JointReport]:
    """Reports from the lowest log up, numbers in them by their value; of one log the oldest first."""

    def key(report: JointReport):
        parts = re.split(r"(\d+)", report.joint.log.casefold())
        return [(0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p], report.date

    return sorted(reports, key=key)
