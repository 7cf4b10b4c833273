"""The answer of a report, first and large: the verdict, as on the screen."""

from __future__ import annotations

from gapvision.answer.as_json import measurement_of
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.section import Headline
from gapvision.answer.verdict_text import READY, crayon_line, first_line, reason_text


def headline(report: JointReport) -> Headline:
    """What to set the points to, or what comes before that; where and why; the line to crayon."""
    if report.result["status"] == "refused":
        return Headline("refused", "NO SETTING", f"REFUSED: {report.result['reason']['text']}")
    m, units = measurement_of(report.result), report.units
    return Headline(
        m.verdict.kind,
        first_line(m, units),
        reason_text(m, units),
        f"{READY}." if m.verdict.ready else "",
        crayon_line(m, units),
    )
