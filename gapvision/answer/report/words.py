"""What a report says, in the order in which it says it; HTML and PDF draw the same."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

import numpy as np

from gapvision.answer import by_hand_text
from gapvision.answer.as_json import measurement_of
from gapvision.answer.corrected_text import TITLE, corrected_text
from gapvision.answer.evidence_text import REMINDER, SAFETY
from gapvision.answer.report.conditions import without_folders
from gapvision.answer.report.follows import decision
from gapvision.answer.report.headline import headline
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.known import uncertainty
from gapvision.answer.report.listing import key_words, listed_section
from gapvision.answer.report.section import Section
from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import HALF_WIDTHS, cover_text, set_to_text
from gapvision.joint.photo_results import place_at
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.phrases import place_text, quantity_text, stretch_text

NOT_STATED = "not stated"

SIGNATURES = ("Measured by", "Cut by")

# Keys of the answer that the sections below tell in words of their own. Whatever else a
# measurement holds, now or later, is listed by `listed_section` as it stands.
_TOLD = frozenset(
    {
        "format", "version", "status", "widest_gap", "setting", "narrowest_groove", "profile",
        "photos", "chains", "cards", "cautions", "reason", "decision", "readings", "trials",
        "photographs_alone", "verdict", "verdict_because", "first_line", "ready_to_scribe", "to_do",
        "units", "program_version", "measured_at", "station_origin", "day",
    }
)  # fmt: skip


def job_title(report: JointReport) -> str:
    """``Log 3, north wall, Barn``, as far as it was stated."""
    return report.joint.title or "One joint"


def numbers(report: JointReport) -> Section:
    """The numbers below the headline, and when and with what they were measured."""
    rows: list[tuple[str, str]] = []
    text: tuple[str, ...] = ()
    head = headline(report)
    if head.kind != "refused":
        m, units = measurement_of(report.result), report.units
        widest = f"{quantity_text(m.widest_gap, units)}, {place_text(m.widest_place, units)}"
        rows.append(("Widest gap", widest))
        if head.has_setting:
            rows += _setting_rows(m, units)
        if HALF_WIDTHS not in head.reason:
            text = (HALF_WIDTHS[1:-1],)
        if corrected := corrected_text(m, units):
            rows.append((TITLE, corrected))
    count = len(report.result.get("cautions", ()))
    if count:
        rows.append(("Cautions", f"{count}, with the evidence"))
    rows += [("Measured", when_text(report)), ("Program", report.version or NOT_STATED)]
    return Section("Answer", tuple(rows), text)


def _setting_rows(m: Measurement, units: str) -> list[tuple[str, str]]:
    groove = (
        f"{quantity_text(m.narrowest_groove, units)} when set to {set_to_text(m, units)}, "
        f"{place_text(m.narrowest_place, units)}"
    )
    needed = f"{quantity_text(m.setting, units)}, decided {place_text(m.deciding_place, units)}"
    return [("Setting needed", needed), ("Narrowest groove", groove)]


def to_do(report: JointReport) -> Section | None:
    """What to do next, in the order in which one walks; None where nothing is left, or not told."""
    if report.result["status"] == "refused":
        return None
    m = measurement_of(report.result)
    told = (to_do_text(step, m.cards, report.units) for step in m.verdict.to_do)
    items = tuple(without_folders(text, report) for text in told)
    return Section("To do", items=items) if items else None


def sketch(report: JointReport) -> bytes | None:
    """The picture, which shows the profile too; None where the profile is to be drawn instead.

    A picture of before there were verdicts may tell a setting where there is none.
    """
    known = headline(report).has_setting or "verdict" in report.result
    return report.picture if known else None


def cautions(report: JointReport) -> Section:
    """All cautions as they were given."""
    said = (str(c["text"]) for c in report.result.get("cautions", ()))
    texts = tuple(without_folders(text, report) for text in said)
    return Section("Cautions", items=texts, text=() if texts else ("No cautions.",))


def checks(report: JointReport) -> Section | None:
    """Caliper readings and trial lines beside the photographs; None where there were none."""
    if report.result["status"] == "refused":
        return None
    m, units = measurement_of(report.result), report.units
    tables = (
        ("Caliper readings", by_hand_text.reading_table(m, units)),
        ("Trial lines", by_hand_text.trial_table(m, units)),
    )
    parts = tuple(Section(title, table=table) for title, table in tables if table)
    if not parts:
        return None
    return Section("Measured by hand", tuple(by_hand_text.alone_rows(m, units)), parts=parts)


def extras(report: JointReport) -> tuple[Section, ...]:
    """All else that the measurement holds, as it stands, and what was told afterwards."""
    sections = [
        listed_section(key_words(key), value, report.units)
        for key, value in report.result.items()
        if key not in _TOLD and value not in (None, [], {}, "")
    ]
    if report.outcomes:
        sections.append(
            listed_section("After scribing and fitting", list(report.outcomes), report.units)
        )
    return tuple(sections)


def later_sections(report: JointReport) -> tuple[Section, ...]:
    """All sections after the conditions, in their order."""
    told = (checks(report), decision(report), uncertainty(report), *extras(report))
    return tuple(section for section in told if section is not None)


def safety(reports: Iterable[JointReport]) -> Section:
    """The sentences that end every answer; how to set the points only where there is a setting."""
    any_setting = any(headline(r).has_setting for r in reports)
    return Section("Before you cut", text=(REMINDER, SAFETY) if any_setting else (SAFETY,))


def date_text(report: JointReport) -> str:
    """When it was measured, as a sentence."""
    return f"Measured {when_text(report)}."


def when_text(report: JointReport) -> str:
    """The local time of the measurement with its offset: ``2026-05-14 09:12 (UTC+02:00)``."""
    if not report.date:
        return NOT_STATED
    at = datetime.fromisoformat(report.date)
    return f"{at:%Y-%m-%d %H:%M} ({at.tzname() if at.utcoffset() else 'UTC'})"


def log_name(report: JointReport) -> str:
    """The log as it is called on the wall."""
    return report.joint.log or NOT_STATED


def profile_text(report: JointReport) -> str:
    """The drawing of the profile in words, for those who do not see it."""
    m, units = measurement_of(report.result), report.units
    first, last = (place_at(m.cards, mm) for mm in m.profile.station_mm[[0, -1]])
    gap = m.profile.gap_mm[np.isfinite(m.profile.gap_mm)]
    said = (
        f"Gap {stretch_text(first, last, units)}: {format_length(gap.min(), units)} to "
        f"{format_length(gap.max(), units)}, widest {place_text(m.widest_place, units)}."
    )
    if not headline(report).has_setting:
        return said
    return (
        f"{said} Groove width when set to {set_to_text(m, units)}: narrowest "
        f"{format_length(m.narrowest_groove.value_mm, units)}, wanted "
        f"{cover_text(m, units)}; decided {place_text(m.deciding_place, units)}."
    )
