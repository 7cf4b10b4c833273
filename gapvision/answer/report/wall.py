"""A whole wall: its title, its logs from the lowest up, and its table."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from gapvision.answer.as_json import measurement_of
from gapvision.answer.report.headline import headline
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.words import log_name
from gapvision.answer.verdict_text import cover_text
from gapvision.lengths import format_length
from gapvision.phrases import quantity_text, where_text

WALL_ABOUT = (
    "The gap of each log, the lowest log in the lowest row, all to one scale. The axis of each log "
    "counts from its own lowest-numbered card's nail: rows are not shifted to where the cards "
    "hung on the wall. Triangle: widest gap; diamond: decides the setting; hatched: not seen."
)
WALL_COLUMNS = ("Log", "Answer", "Cover", "Decided", "Widest gap", "Outcome")
NOT_TOLD = "not told"


def wall_title(reports: Iterable[JointReport]) -> str:
    """``North wall, Barn``, or what the reports have in common of it."""
    walls = sorted({r.joint.wall_title for r in reports if r.joint.wall})
    buildings = sorted({r.joint.building for r in reports if r.joint.building})
    title = ", ".join([" and ".join(walls)] * bool(walls) + buildings) or "A wall"
    return title[0].upper() + title[1:]


def wall_rows(reports: Iterable[JointReport]) -> tuple[tuple[str, ...], ...]:
    """The table of a wall: headings, then a row a log in the order given."""
    return (WALL_COLUMNS, *map(_row, reports))


def _row(report: JointReport) -> tuple[str, ...]:
    """One log: what to set or to do, for which cover, where it is decided, and what came of it."""
    head, units = headline(report), report.units
    large, cover, decided, gap = head.large, "", "", ""
    if head.kind != "refused":
        m = measurement_of(report.result)
        cover, gap = cover_text(m, units), quantity_text(m.widest_gap, units)
        place = m.deciding_place if head.has_setting else m.widest_place
        where = where_text(place, units)
        decided = where if head.has_setting else f"widest {where}"
        if head.kind == "set" and not head.ready and m.verdict.to_do:  # as the day's lines have it
            large = f"{large}, not ready"
    return log_name(report), large, cover, decided, gap, outcome_words(report)


def outcome_words(report: JointReport) -> str:
    """What came of a joint, short: what was told last of each."""
    if not report.outcomes:
        return NOT_TOLD
    told: dict[str, Any] = {}
    for outcome in report.outcomes:
        told |= outcome
    said = []
    for key, words in (("setting_used_mm", "set"), ("narrowest_cover_mm", "narrowest")):
        if key in told:
            said.append(f"{words} {format_length(float(told[key]), report.units)}")
    if told.get("open_places"):
        count = len(told["open_places"])
        said.append(f"open at {count} place{'s' * (count > 1)}")
    if told.get("remarks"):
        said.append(str(told["remarks"]))
    return "; ".join(said) or "told"


def in_courses(reports: Iterable[JointReport]) -> list[JointReport]:
    """Reports from the lowest log up, numbers in them by their value; of one log the oldest first."""

    def key(report: JointReport) -> tuple[list[tuple[int, int, str]], str]:
        parts = re.split(r"(\d+)", report.joint.log.casefold())
        return [(0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p], report.date

    return sorted(reports, key=key)
