"""What a report says, in the order in which it says it; HTML and PDF draw the same."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

import numpy as np

from gapvision.advice.decision import Decision
from gapvision.answer import by_hand_text, decision_text
from gapvision.answer.as_json import measurement_of
from gapvision.answer.lack_text import lack_text
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.listing import _listed, _words
from gapvision.answer.report.section import Headline, Section
from gapvision.answer.text import REMINDER, SAFETY, cover_text, set_to_text, why_doubtful
from gapvision.inputs.options import COVER_MM
from gapvision.joint.photo_results import CardResult, PhotoResult, photo_name
from gapvision.lengths import INCH_MM, format_length
from gapvision.measurement import Measurement
from gapvision.phrases import distance_text, place_text, quantity_text
from gapvision.quantity import K95, runs

NOT_STATED = "not stated"

SIGNATURES = ("Measured by", "Cut by")

WALL_ABOUT = (
    "The gap of each log, the lowest log in the lowest row, all to one scale. The stations of each "
    "log count from its own lowest-numbered card's nail: rows are not shifted to where the cards "
    "hung on the wall. Triangle: widest gap; diamond: decides the setting; hatched: not seen."
)

# Keys of the answer that the sections below tell in words of their own. Whatever else a
# measurement holds, now or later, is listed by `_listed` as it stands.
_TOLD = frozenset(
    {
        "format", "version", "status", "widest_gap", "setting", "narrowest_groove", "profile",
        "photos", "chains", "cards", "cautions", "reason", "decision", "readings", "trials",
        "photographs_alone",
    }
)  # fmt: skip

# What a caution means for the half-width; of several that mean the same it is said once.
_ONE_HEIGHT = (
    "Photographed from about one height: how far the upper crown lies in or out stays unknown, and "
    "the half-width holds that."
)
_DISAGREE = "Photographs, outlines or entries disagree, which widens it: see the cautions."
_UNSEEN = "Parts were not seen or the gap was shut there: see the cautions."
_WIDENING = {
    "one-height": _ONE_HEIGHT,
    "heights-too-alike": _ONE_HEIGHT,
    "one-photo": "Parts are shown by one photograph only.",
    "near-crown": "The lines of sight touch the logs only near their crowns.",
    "no-diameter": "No diameter stated: the logs' roundness is known by the photographs alone.",
    "could-decide": "The setting could be decided at other places too: see the cautions.",
    "log-moved": _DISAGREE,
    "misfit": _DISAGREE,
    "reading-disagrees": _DISAGREE,
    "trial-disagrees": _DISAGREE,
    "not-seen": _UNSEEN,
    "bridged": _UNSEEN,
    "gap-shut": _UNSEEN,
}

_CONTAINS = (
    "how sharply the logs' outlines and the card's corners are found in the photographs;",
    "where each photograph was taken from, and the focal length and distortion of its lens;",
    "that a card may hang a little out of plumb, and a little off the log;",
    "the logs' roundness near their crowns, and how far the upper crown lies in or out from the "
    "lower one: photographs from several heights tell that, one height does not;",
    "roughness between the measured stations, outlines that could not be told clearly, and "
    "photographs that disagree.",
)
_CONTAINS_NOT = (
    "a hollow along a crown that no line of sight touches;",
    "a print of the wrong size, where the check bar was not measured;",
    "a log or card that moved after the photographs;",
    "the scriber: whether its points stay set and are held plumb.",
)
_LENSES = {
    "exif": "focal length as the photograph states it",
    "assumed": "focal length assumed, the photograph states none",
}


def job_title(report: JointReport) -> str:
    """``Log 3, north wall, Barn``, as far as it was stated."""
    return report.joint.title or "One joint"


def wall_title(reports: Iterable[JointReport]) -> str:
    """``North wall, Barn``, or what the reports have in common of it."""
    walls = sorted({r.joint.wall_title for r in reports if r.joint.wall})
    buildings = sorted({r.joint.building for r in reports if r.joint.building})
    title = ", ".join([" and ".join(walls)] * bool(walls) + buildings) or "A wall"
    return title[0].upper() + title[1:]


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
    texts = tuple(_without_folders(text, report) for text in said)
    return Section("Cautions", items=texts, text=() if texts else ("No cautions.",))


def conditions(report: JointReport) -> Section:
    """Photographs with their heights and distances, cards and lens."""
    if report.result["status"] == "refused":
        return Section("Conditions", items=report.missing)
    m, units = measurement_of(report.result), report.units
    used = [p for p in m.photos if p.used]
    parts = [Section("Photographs used", rows=tuple(_photo_row(p, units) for p in used))]
    left_out = tuple(
        f"{p.name}: {_without_folders(lack_text(p, units), report)}" for p in m.photos if not p.used
    )
    if left_out:
        parts.append(Section("Photographs left out of the measurement", items=left_out))
    cards = tuple(_card_row(c, units) for c in m.cards)
    heads = ("Card", "Side", "Station", "Out of plumb")
    parts.append(Section("Cards", table=(heads, *cards)))
    lenses = sorted({p.exposure.lens for p in used if p.exposure.lens})
    if lenses:
        parts.append(Section("Lens", items=tuple(map(_lens_text, lenses))))
    if report.missing:
        parts.append(Section("Photographs not in this report", items=report.missing))
    return Section("Conditions", parts=tuple(parts))


def uncertainty(report: JointReport) -> Section | None:
    """What the half-widths hold and what they rest on; none where nothing was measured."""
    if report.result["status"] == "refused":
        return None
    m, units = measurement_of(report.result), report.units
    setting, gap = (quantity_text(q, units) for q in (m.setting, m.widest_gap))
    text = (
        f"Setting needed {setting}; widest gap {gap}. The ± is the half-width U95: it holds the "
        "truth 95 times in 100 as far as the program's model of logs and camera holds.",
        f"The setting to use, {set_to_text(m, units)}, is the setting needed plus 1.65 of its "
        f"standard uncertainties ({_fine(m.setting.u_mm, units)} each), rounded up, so that the "
        "cover is kept in about 95 of 100 joints."
        + (" Here it is a lower bound: see the cautions." if m.status != "measured" else ""),
    )
    widening = dict.fromkeys(_WIDENING[c.code] for c in m.cautions if c.code in _WIDENING)
    parts = [
        Section("What it rests on here", rows=tuple(_rests_on(m, units)), items=tuple(widening)),
        Section("What the half-width contains", items=_CONTAINS),
        Section("What it does not contain", items=_CONTAINS_NOT),
    ]
    return Section("How well it is known", text=text, parts=tuple(parts))


def decision(report: JointReport) -> Section | None:
    """What follows from the setting, other covers, heights and limits; None where not told."""
    if report.result["status"] == "refused":
        return None
    m, units = measurement_of(report.result), report.units
    if m.decision is None:
        return None
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
        about = decision_text.height_about(c, units), decision_text.rise_text(c, units)
        table = _headed(decision_text.height_table(c, units))
        yield Section("Heights once the log is down", text=about, table=table)
    if d.judged:
        about = (decision_text.LOCAL_CODE,)
        yield Section("Limits", text=about, table=_headed(decision_text.limit_table(d, units)))


def _headed(rows: decision_text.Rows) -> decision_text.Rows:
    """A table whose headings begin with a capital."""
    head, *others = rows
    return (tuple(name[:1].upper() + name[1:] for name in head), *others)


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
        _listed(_words(key), value, report.units)
        for key, value in report.result.items()
        if key not in _TOLD and value not in (None, [], {}, "")
    ]
    if report.outcomes:
        sections.append(_listed("After scribing and fitting", list(report.outcomes), report.units))
    return tuple(sections)


def later_sections(report: JointReport) -> tuple[Section, ...]:
    """All sections after the conditions, in their order."""
    told = (decision(report), uncertainty(report), checks(report), *extras(report))
    return tuple(section for section in told if section is not None)


def safety() -> Section:
    """The sentences that end every answer."""
    return Section("Before you cut", text=(REMINDER, SAFETY))


def wall_rows(reports: Iterable[JointReport]) -> tuple[tuple[str, ...], ...]:
    """The table of a wall: headings, then a row a log in the order given."""
    rows = [("Log", "Set points to", "Widest gap", "Status", "Cautions")]
    for r in reports:
        head, gap = headline(r), ""
        if head.tone != "refused":
            gap = quantity_text(measurement_of(r.result).widest_gap, r.units)
        status = head.tone if head.tone == "measured" else head.tone.upper()
        if "LOWER IT FIRST" in head.advice:
            status += ", LOWER IT FIRST"
        count = str(len(r.result.get("cautions", ())))
        rows.append((log_name(r), head.set_to, gap, status, count))
    return tuple(rows)


def date_text(report: JointReport) -> str:
    """When it was measured, as a sentence."""
    return f"Date: {_date(report)}."


def _date(report: JointReport) -> str:
    return report.date.replace("T", " ") or NOT_STATED  # RFC 3339, 5.6, allows the space


def log_name(report: JointReport) -> str:
    """The log as it is called on the wall."""
    return report.joint.log or NOT_STATED


def in_courses(reports: Iterable[JointReport]) -> list[JointReport]:
    """Reports from the lowest log up, numbers in them by their value; of one log the oldest first."""

    def key(report: JointReport):
        parts = re.split(r"(\d+)", report.joint.log.casefold())
        return [(0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p], report.date

    return sorted(reports, key=key)


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


def photo_words(report: JointReport, name: str) -> str:
    """A photograph's name and where it was taken from, for those who do not see it."""
    if report.result["status"] == "refused":
        return name
    found = [p for p in measurement_of(report.result).photos if p.name == name]
    if not found:
        return name
    where = _photo_row(found[0], report.units)[1] if found[0].used else "left out"
    return f"{name}: {where}"


def _without_folders(text: str, report: JointReport) -> str:
    """A sentence that names photographs without the folders of somebody's computer."""
    for photo in report.result.get("photos", ()):
        text = text.replace(photo["file"], photo_name(photo["file"]))
    return text


# --- rows -----------------------------------------------------------------------------------------


def _photo_row(p: PhotoResult, units: str) -> tuple[str, str]:
    said = [f"from {p.side}"]
    if math.isfinite(p.height_mm) and math.isfinite(p.distance_mm):
        height = distance_text(abs(p.height_mm), units)
        over = "above" if p.height_mm >= 0 else "below"
        said.append(f"lens {height} {over} the gap's middle")
        said.append(f"{distance_text(p.distance_mm, units)} away")
    if math.isfinite(p.from_mm) and math.isfinite(p.to_mm):
        said.append(
            f"shows stations {distance_text(p.from_mm, units)} to {distance_text(p.to_mm, units)}"
        )
    if p.exposure.taken:
        said.append(f"taken {p.exposure.taken.replace('T', ' ')}")
    if p.cards:
        said.append(f"card{'s' * (len(p.cards) > 1)} {', '.join(map(str, p.cards))}")
    return p.name, ", ".join(said)


def _card_row(c: CardResult, units: str) -> tuple[str, ...]:
    lean = f"{abs(c.lean_deg):.1f}°" if math.isfinite(c.lean_deg) else "unknown"
    if math.isfinite(c.lean_deg) and abs(c.lean_deg) >= 0.05:
        lean += ", foot out" if c.lean_deg > 0 else ", foot in"
    return str(c.number), c.side, distance_text(c.station_mm, units), lean


def _lens_text(source: str) -> str:
    prior, _, why_not = source.partition(": ")
    said = _LENSES.get(prior, prior)
    return f"{said}; {why_not}" if why_not else said


def _rests_on(m: Measurement, units: str) -> Iterable[tuple[str, str]]:
    used = [p for p in m.photos if p.used]
    sides = " and ".join(s for s in ("outside", "inside") if any(p.side == s for p in used))
    yield "Photographs", f"{len(used)} used of {len(m.photos)}, from {sides}"
    heights = [p.height_mm for p in used if math.isfinite(p.height_mm)]
    if heights:
        ends = [f"{distance_text(abs(h), units)} {'above' if h >= 0 else 'below'}"
                for h in (min(heights), max(heights))]  # fmt: skip
        said = ends[0] if ends[0] == ends[1] else f"from {ends[0]} to {ends[1]}"
        yield "Height of the lens", f"{said} the gap's middle"
    p = m.profile
    u = p.gap_u_mm[np.isfinite(p.gap_u_mm)]
    if u.size:
        low, high = (_fine(K95 * x, units) for x in (u.min(), u.max()))
        yield "Half-width of the gap along the log", f"{low} to {high}" if low != high else low
    step = float(np.median(np.diff(p.station_mm))) if len(p.station_mm) > 1 else 0.0
    unseen = sum((r.stop - r.start) * step for r in runs(~np.isfinite(p.gap_mm)))
    length = float(p.station_mm[-1] - p.station_mm[0])
    not_seen = f", of which {distance_text(unseen, units)} not seen" if unseen else ""
    yield "Length of the joint", f"{distance_text(length, units)}{not_seen}"


def _fine(mm: float, units: str) -> str:
    """A small uncertainty, which sixteenths would round away."""
    return f"{mm:.1f} mm" if units == "mm" else f"{mm / INCH_MM:.3f} in"
