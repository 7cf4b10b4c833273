"""What is decided, told: lines for the answer, a page of details, cautions, and a dict for programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from gapvision.advice.limit_cautions import _chance, _limit
from gapvision.inputs.rules import COVER, DEPTH, LOG, NONE, OWN, RUN, WIDTH
from gapvision.joint.photo_results import place_at
from gapvision.lengths import SIXTEENTH_MM, format_length, round_up
from gapvision.measurement import Measurement
from gapvision.phrases import distance_text, place_text, quantity_text, wrap
from gapvision.quantity import Quantity

if TYPE_CHECKING:
    from gapvision.advice.course import Course, Height
    from gapvision.advice.covers import CoverRow
    from gapvision.advice.decision import Decision
    from gapvision.advice.lowering import Lowering

ROWS = 16  # at most, of the table along the log
LOCAL_CODE = "Local code comes before all of these."
NO_TABLE = (
    "No published table gives an underscribe by diameter or moisture: it is your own number "
    "(--underscribe), none if not stated."
)


# --- lines of the answer --------------------------------------------------------------------------


def ready_lines(m: Measurement, units: str) -> list[str]:
    """Ready to scribe, or lower it first: one or two lines after the setting."""
    if m.decision is None:
        return []
    x = m.decision.lowering
    text = _ready(m, x, units) if x.ready else _lower(x, units)
    if m.status != "measured":
        text = f"As far as seen: {text}"
    return wrap(text)


def lower_words(m: Measurement, units: str) -> str:
    """The advice in a few words, for the picture; empty where the log is ready to scribe."""
    notches = notches_mm(m)
    if not any(notches):
        return ""
    left, right = (format_length(v, units) for v in notches)
    return f"LOWER IT FIRST: left notch {left}, right {right} deeper"


def notches_mm(m: Measurement) -> tuple[float, float]:
    """By how much to deepen the left and the right notch first; zeros where ready to scribe."""
    x = m.decision and m.decision.lowering
    return (0.0, 0.0) if x is None or x.ready else (x.notches.left_mm, x.notches.right_mm)


def follow_rows(m: Measurement, units: str) -> list[tuple[str, str]]:
    """Name and text of the rows below the answer's numbers."""
    if m.decision is None:
        return []
    c = m.decision.course
    deepest = quantity_text(c.deepest, units)
    where = place_text(place_at(m.cards, c.deepest_station_mm), units).removesuffix(
        ", seen from outside"
    )
    rows = [("Log drops", f"{_setting(c.drop_mm, units)}; groove deepest {deepest}, {where}")]
    if c.underscribe_mm:
        under = format_length(c.underscribe_mm, units)
        rows.append(
            ("Notches", f"set to {_setting(c.notch_mm, units)}: your underscribe of {under}")
        )
    rows.append(("More cover", _more_cover(m.decision, m.cover_mm, units)))
    if m.decision.judged and all(j.verdict == "kept" for j in m.decision.judged):
        rows.append(("Limits", f"kept: {_rules_in_force(m.decision)}"))
    return rows


def _ready(m: Measurement, x: Lowering, units: str) -> str:
    widest = quantity_text(m.widest_gap, units)
    if x.why == "no-gain":
        text = (
            f"READY TO SCRIBE as it lies: widest {widest}, {_wanted(x, units)}; lowering gains no "
            "more than is known of the gap."
        )
    else:
        text = f"READY TO SCRIBE as it lies: widest {widest}, {_wanted(x, units)}."
    if x.worth_it and x.after.set_to_mm < m.set_to_mm:
        text += (
            f" Evener still: {_depths(x, units)}, then set to {_setting(x.after.set_to_mm, units)}."
        )
    return text


def _lower(x: Lowering, units: str) -> str:
    lead, depths = "LOWER IT FIRST", x.notches.left_mm or x.notches.right_mm
    if x.why == "scriber":
        lead += f", by {_setting(x.wanted.scriber_least_mm, units)} or more for your scriber"
        if not depths:
            return f"{lead}: there is no room for it, take a larger scriber."
    text = (
        f"{lead}: {_depths(x, units)}; then widest {quantity_text(x.after.widest, units)}, set to "
        f"{_setting(x.after.set_to_mm, units)}."
    )
    if not x.wanted.reached:
        short = "your scriber needs more" if x.why == "scriber" else _wanted(x, units)
        text += f" That is as low as it goes before they touch ({short})."
    return f"{text} Make it fast and measure again."


def _wanted(x: Lowering, units: str) -> str:
    wanted = distance_text(x.wanted.widest_mm, units)
    return f"handbooks fit down to {wanted}" if not x.wanted.stated else f"wanted {wanted}"


def _depths(x: Lowering, units: str) -> str:
    """Which notch to deepen by how much."""
    left, right = (format_length(v, units) for v in (x.notches.left_mm, x.notches.right_mm))
    if x.notches.left_mm == x.notches.right_mm:
        text = f"deepen both notches by {left}"
    elif not x.notches.left_mm or not x.notches.right_mm:
        side, by = ("right", right) if x.notches.right_mm else ("left", left)
        text = f"deepen the {side} notch by {by}"
    else:
        text = f"deepen the left notch by {left}, the right one by {right}"
    return text if x.notches.stated else f"{text} (notches taken at the measured ends)"


def _more_cover(d: Decision, cover_mm: float, units: str) -> str:
    wanted = next(r for r in d.covers.rows if r.cover_mm == cover_mm)
    more = next((r for r in d.covers.rows if r.cover_mm > cover_mm), None)
    text = f"{_step(units)} of setting buys {_buys(wanted, units)}"
    if more is not None:
        text += (
            f"; a cover of {format_length(more.cover_mm, units)} is set to "
            f"{_setting(more.set_to_mm, units)}"
        )
    return text


def _step(units: str) -> str:
    return "1 mm" if units == "mm" else "1/16 in"


def _buys(row: CoverRow, units: str) -> str:
    """Cover for one step of the points."""
    step = 1.0 if units == "mm" else SIXTEENTH_MM
    return format_length(row.per_setting * step, units)


def _setting(mm: float, units: str) -> str:
    """A setting, never shown smaller than it is."""
    return format_length(round_up(mm, units, 0.1 if units == "mm" else None), units)


def _rules_in_force(d: Decision) -> str:
    own = any(j.rule.mark == OWN for j in d.judged)
    published = d.rules != NONE and any(j.rule.mark != OWN for j in d.judged)
    return " and ".join([d.rules] * published + ["your own"] * own)


# --- details --------------------------------------------------------------------------------------


def details_text(m: Measurement, units: str = "mm") -> str:
    """Everything decided that the answer only names, at most 80 columns wide."""
    d = m.decision
    if d is None:
        return ""
    lines = ["DETAILS", "", *_lowering_details(m, units)]
    lines += ["", "Other covers", *_cover_table(d, m.cover_mm, units)]
    lines += ["", "Along the log, when set to " + _setting(m.set_to_mm, units)]
    lines += _log_table(d, units)
    lines += ["", "What follows", *_follow_details(d.course, units)]
    lines += ["", "Limits", *_limit_details(d, units)]
    return "\n".join(lines)


def _lowering_details(m: Measurement, units: str) -> Iterator[str]:
    x = m.decision.lowering
    yield "Lower or scribe"
    if not (x.notches.left_mm or x.notches.right_mm):
        yield from wrap("Deepening a notch makes the gap hardly evener.", "  ")
    else:
        rows = [
            (
                "widest gap",
                quantity_text(m.widest_gap, units),
                quantity_text(x.after.widest, units),
            ),
            (
                "setting needed",
                quantity_text(m.setting, units),
                quantity_text(x.after.setting, units),
            ),
            ("set to", _setting(m.set_to_mm, units), _setting(x.after.set_to_mm, units)),
            ("least gap", "", quantity_text(x.after.least, units)),
        ]
        yield from wrap(f"Evenest: {_depths(x, units)}.", "  ")
        yield f"  {'':16}{'as it lies':20}after"
        yield from (f"  {name:16}{now:20}{then}" for name, now, then in rows)
        yield from wrap(
            f"It takes {quantity_text(x.gain, units)} off the setting. How exactly the notches are "
            "cut is not in it: measure again.", "  ",
        )  # fmt: skip
    if not x.wanted.stated:
        yield from wrap(
            f"Fitted down to about {distance_text(x.wanted.widest_mm, units)} (2 in) where it is widest: "
            "USDA Forest Service, Misc. Publication 579, 1945. Another: --lower-to.", "  ",
        )  # fmt: skip


def _cover_table(d: Decision, cover_mm: float, units: str) -> Iterator[str]:
    yield f"    {'cover':11}{'needed':21}{'set to':11}{_step(units) + ' buys':14}deepest groove"
    for r in d.covers.rows:
        mark = "*" if r.cover_mm == cover_mm else " "
        yield (
            f"  {mark} {format_length(r.cover_mm, units):11}{quantity_text(r.setting, units):21}"
            f"{_setting(r.set_to_mm, units):11}{_buys(r, units):14}{quantity_text(r.deepest, units)}"
        ).rstrip()
    under = d.course.underscribe_mm
    less = f", less {format_length(under, units)} of underscribe" if under else ""
    yield from wrap(f"* as asked. The log drops by as much as the points are set to{less}.", "  ")


def _log_table(d: Decision, units: str) -> Iterator[str]:
    x = d.lowering
    lower = bool(x.notches.left_mm or x.notches.right_mm)
    gap = x.after.gap_mm + x.notches.shift(d.station_mm)
    yield (
        f"    {'station':12}{'gap':11}{'groove':11}{'of D':8}{'deep':11}{'of D':8}"
        f"{'gap, lowered' if lower else ''}"
    ).rstrip()
    every = max(1, -(-len(d.station_mm) // ROWS))
    for k in range(0, len(d.station_mm), every):
        size, width, deep = d.upper_diameter_mm[k], d.groove_width_mm[k], d.course.depth_mm[k]
        after = format_length(x.after.gap_mm[k], units) if lower else ""
        yield (
            f"    {distance_text(d.station_mm[k], units):12}{format_length(gap[k], units):11}"
            f"{format_length(width, units):11}{width / size:<8.2f}{format_length(deep, units):11}"
            f"{deep / size:<8.2f}{after}"
        ).rstrip()
    source = "as stated" if d.course.diameter_stated else "fitted at the crown"
    yield from wrap(f"D is the upper log's diameter, {source}.", "    ")


def _follow_details(c: Course, units: str) -> Iterator[str]:
    yield from wrap(
        "The groove's depth is the wood taken away, plumb, where the logs are nearest; hollowing it "
        "adds to that.", "  ",
    )  # fmt: skip
    yield f"    {'station':12}{'course':22}over the nail"
    for h in c.heights:
        yield _height_row(h, units)
    by = (
        "the stated diameter"
        if c.diameter_stated
        else "twice its crown's radius, no diameter stated"
    )
    yield from wrap(
        f"Once down by {_setting(c.drop_mm, units)}: the upper log's top over the lower log's, and over "
        f"where the first card's nail was; by {by}.", "  ",
    )  # fmt: skip
    yield from wrap(
        f"Its top is {quantity_text(_size(c.rise), units)} {'higher' if c.rise.value_mm > 0 else 'lower'} "
        "at the right end than at the left. Level is known by how the cards hang: a spirit level on the "
        "log knows it better.", "  ",
    )  # fmt: skip
    if c.underscribe_mm:
        yield from wrap(
            f"Cut so, the groove stands {format_length(c.underscribe_mm, units)} open until the notches "
            "have given way: the weight is on the notches first.", "  ",
        )  # fmt: skip
    yield from wrap(NO_TABLE, "  ")


def _height_row(h: Height, units: str) -> str:
    return (
        f"    {distance_text(h.station_mm, units):12}{quantity_text(h.course, units):22}"
        f"{quantity_text(h.over_nail, units)}"
    )


def _size(q: Quantity) -> Quantity:
    return Quantity(abs(q.value_mm), q.u_mm, q.U95_mm)


def _limit_details(d: Decision, units: str) -> Iterator[str]:
    if not d.judged:
        yield from wrap(
            "None asked for: --rules names a published set, --limit states your own. " + LOCAL_CODE,
            "  ",
        )
        return
    names = {COVER: "least cover", RUN: "run as narrow", WIDTH: "groove wide", DEPTH: "groove deep"}
    for j in d.judged:
        name = names.get(j.rule.what) or f"{j.log} log"
        sign = "at least" if j.rule.what in (COVER, LOG) else "at most"
        verdict = _chance(j) if j.verdict != "kept" else "kept"
        yield from wrap(
            f"{distance_text(j.found_mm, units)}, {sign} {_limit(j, units)}: {verdict}. "
            + (
                "Your own."
                if j.rule.mark == OWN
                else f"{j.rule.mark.capitalize()}: {j.rule.source}."
            ),
            f"  {name:15}",
        )
    yield from wrap(LOCAL_CODE, "  ")
