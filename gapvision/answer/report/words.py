"""What a report says, in the order in which it says it; HTML and PDF draw the same."""

from __future__ import annotations

import numpy as np

from gapvision.answer import by_hand_text, decision_text
from gapvision.answer.as_json import measurement_of
from gapvision.answer.report.conditions import without_folders
from gapvision.answer.report.follows import decision
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.known import uncertainty
from gapvision.answer.report.listing import key_words, listed_section
from gapvision.answer.report.section import Headline, Section
from gapvision.answer.text import REMINDER, SAFETY, cover_text, set_to_text, why_doubtful
from gapvision.inputs.options import COVER_MM
from gapvision.lengths import format_length
from gapvision.phrases import distance_text, place_text, quantity_text

NOT_STATED = "not stated"

SIGNATURES = ("Measured by", "Cut by")

# Keys of the answer that the sections below tell in words of their own. Whatever else a
# measurement holds, now or later, is listed by `listed_section` as it stands.
_TOLD = frozenset(
    {
        "format", "version", "status", "widest_gap", "setting", "narrowest_groove", "profile",
        "photos", "chains", "cards", "cautions", "reason", "decision", "readings", "trials",
        "photographs_alone", "day",
    }
)  # fmt: skip


def job_title(report: JointReport) -> str:
    """``Log 3, north wall, Barn``, as far as it was stated."""
    return report.joint.title or "One joint"


def headline(report: JointReport) -> Headline:
    """What to set the points to, for which cover, and how far to trust it."""
    if report.result["status"] == "refused":
        reason = report.result["reason"]["text"]
        return Headline("refused", f"REFUSED: {reason}", "No setting", "")
    m = measurement_of(report.result)
    common = " (common practice)" if m.cover_mm == COVER_MM else ""
    cover = f"for a cover of {cover_text(m, report.units)}{common}"
    set_to = set_to_text(m, report.units)
    advice = decision_text.ready_text(m, report.units)
    if m.status == "measured":
        status = "MEASURED: good within its half-width."
        return Headline("measured", status, set_to, cover, advice)
    status = f"DOUBTFUL: only a lower bound: {why_doubtful(m, report.units)}."
    return Headline("doubtful", status, f"at least {set_to}", cover, advice)


def numbers(report: JointReport) -> Section:
    """The numbers below the headline, and when and with what they were measured."""
    rows = []
    if report.result["status"] != "refused":
        m, units = measurement_of(report.result), report.units
        rows = [
            ("Widest gap", f"{quantity_text(m.widest_gap, units)}, {place_text(m.widest_place, units)}"),
            (
                "Setting needed",
                f"{quantity_text(m.setting, units)}, decided {place_text(m.deciding_place, units)}",
            ),
            (
                "Narrowest groove",
                f"{quantity_text(m.narrowest_groove, units)} when set to {set_to_text(m, units)}, "
                f"{place_text(m.narrowest_place, units)}",
            ),
        ]  # fmt: skip
    rows += [("Date", _date(report)), ("Program", report.version or NOT_STATED)]
    text = ("The half-widths (±) hold the truth 95 times in 100.",) if len(rows) > 2 else ()
    return Section("Answer", tuple(rows), text)


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
    told = (decision(report), uncertainty(report), checks(report), *extras(report))
    return tuple(section for section in told if section is not None)


def safety() -> Section:
    """The sentences that end every answer."""
    return Section("Before you cut", text=(REMINDER, SAFETY))


def date_text(report: JointReport) -> str:
    """When it was measured, as a sentence."""
    return f"Date: {_date(report)}."


def _date(report: JointReport) -> str:
    return report.date.replace("T", " ") or NOT_STATED  # RFC 3339, 5.6, allows the space


def log_name(report: JointReport) -> str:
    """The log as it is called on the wall."""
    return report.joint.log or NOT_STATED


def about(report: JointReport) -> str:
    """Where station 0 is: the nail of the lowest-numbered outside card."""
    cards = report.result.get("cards", ())
    numbers = [c["number"] for c in cards if abs(c["station_mm"]) < 1.0]
    nail = f"card {min(numbers)}'s nail" if numbers else "the lowest-numbered outside card's nail"
    return f"Stations count from {nail} to the right, seen from outside."


def profile_text(report: JointReport) -> str:
    """The drawing of the profile in words, for those who do not see it."""
    m, units = measurement_of(report.result), report.units
    ends = [distance_text(mm, units) for mm in m.profile.station_mm[[0, -1]]]
    gap = m.profile.gap_mm[np.isfinite(m.profile.gap_mm)]
    return (
        f"Gap from station {ends[0]} to {ends[1]}: {format_length(gap.min(), units)} to "
        f"{format_length(gap.max(), units)}, widest {place_text(m.widest_place, units)}. Groove "
        f"width when set to {set_to_text(m, units)}: narrowest "
        f"{format_length(m.narrowest_groove.value_mm, units)}, wanted "
        f"{cover_text(m, units)}; decided {place_text(m.deciding_place, units)}."
    )
