"""What follows from the setting: other covers, heights and limits."""

from __future__ import annotations

from collections.abc import Iterable

from gapvision.advice.decision import Decision
from gapvision.answer import decision_text
from gapvision.answer.as_json import measurement_of
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.section import Section


def decision(report: JointReport) -> Section | None:
    """What follows from the setting, or what comes before one; None where nothing is told."""
    if report.result["status"] == "refused":
        return None
    m, units = measurement_of(report.result), report.units
    if m.decision is None:
        return None
    if not m.verdict.has_setting:  # all of it follows from one
        text = decision_text.lowering_text(m, units)
        return Section("Lowering", text=(f"{text[0].upper()}{text[1:]}",)) if text else None
    parts = tuple(_decision_parts(m.decision, units))
    rows = tuple(decision_text.follow_rows(m, units))
    return Section("What follows", rows=rows, parts=parts) if rows or parts else None


def _decision_parts(d: Decision, units: str) -> Iterable[Section]:
    c = d.course
    if d.covers.rows:
        about = (decision_text.drop_about(c, units),) if c else ()
        table = _headed(decision_text.cover_table(d, units))
        yield Section("Other covers", text=about, table=table)
    if c and c.heights:
        said = decision_text.height_about(c, units), decision_text.rise_text(c, units)
        table = _headed(decision_text.height_table(c, units))
        yield Section("Heights once the log is down", text=said, table=table)
    if d.judged:
        table = _headed(decision_text.limit_table(d, units))
        yield Section("Limits", text=(decision_text.LOCAL_CODE,), table=table)


def _headed(rows: decision_text.Rows) -> decision_text.Rows:
    """A table whose headings begin with a capital."""
    head, *others = rows
    return (tuple(name[:1].upper() + name[1:] for name in head), *others)
