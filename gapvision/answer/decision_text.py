"""What is decided, told: lines for the answer, tables for reports, and a page of details."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from gapvision.advice.course import Course, Height
from gapvision.advice.covers import CoverRow
from gapvision.advice.decision import Decision
from gapvision.advice.limits import Judged
from gapvision.advice.lowering import Lowering
from gapvision.answer.limit_text import limit_words, verdict_words
from gapvision.inputs.rules import COVER, DEPTH, LOG, NONE, OWN, RUN, WIDTH
from gapvision.joint.photo_results import place_at, station_origin
from gapvision.lengths import SIXTEENTH_MM, format_length, round_up
from gapvision.measurement import Measurement
from gapvision.phrases import along_text, distance_text, quantity_text, where_text, wrap
from gapvision.quantity import Quantity

Rows = tuple[tuple[str, ...], ...]  # of a table, the first holds the headings

COVER_COLUMNS, HEIGHT_COLUMNS = (11, 21, 11, 14), (12, 22)  # letters wide, all but the last one
ROWS = 16  # at most, of the table along the log
LOCAL_CODE = "Local code comes before all of these."
NO_TABLE = (
    "No published table gives an underscribe by diameter or moisture: it is your own number "
    "(--underscribe), none if not stated."
)


# --- lines of the answer --------------------------------------------------------------------------


def lowering_text(m: Measurement, units: str) -> str:
    """Whether lowering the log is worth it, or why it must be; empty where that is not decided."""
    x = m.lowering
    if x is None:
        return ""
    return _ready(x, units) if x.ready else _lower(x, units)


def follow_rows(m: Measurement, units: str) -> list[tuple[str, str]]:
    """Name and text of the rows below the answer's numbers."""
    d = m.decision
    if d is None:
        return []
    rows = _course_rows(d.course, m, units) if d.course else []
    rows += [("More cover", text) for text in _more_cover(d, m.cover_mm, units)]
    if d.judged and all(j.verdict == "kept" for j in d.judged):
        rows.append(("Limits", f"kept: {_rules_in_force(d)}"))
    return rows


def _course_rows(c: Course, m: Measurement, units: str) -> list[tuple[str, str]]:
    deepest = quantity_text(c.deepest, units)
    where = where_text(place_at(m.cards, c.deepest_station_mm), units)
    rows = [("Log drops", f"{_setting(c.drop_mm, units)}; groove deepest {deepest}, {where}")]
    if c.underscribe_mm:
        under = format_length(c.underscribe_mm, units)
        rows.append(
            ("Notches", f"set to {_setting(c.notch_mm, units)}: your underscribe of {under}")
        )
    return rows


def _ready(x: Lowering, units: str) -> str:
    text = f"not needed, {_wanted(x, units)}"
    if x.why == "no-gain":
        text = (
            f"{_wanted(x, units)}, but lowering gains no more than is known of the gap: scribe it as "
            "it lies"
        )
    if x.worth_it:
        text += f". Evener still: {_depths(x, units)}, and measure again"
    return f"{text}."


def _lower(x: Lowering, units: str) -> str:
    lead, depths = "first", x.notches.left_mm or x.notches.right_mm
    if x.why == "scriber":
        least = x.wanted.scriber_least_mm
        by = "" if least is None else f", by {_setting(least, units)} or more"
        lead += f"{by} for your scriber"
        if not depths:
            return f"{lead}: there is no room for it, take a larger scriber."
    text = f"{lead}: {_depths(x, units)}; then widest {quantity_text(x.after.widest, units)}."
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


def _more_cover(d: Decision, cover_mm: float, units: str) -> Iterator[str]:
    """What a step of setting buys, if the wanted cover is among those that were looked at."""
    wanted = next((r for r in d.covers.rows if r.cover_mm == cover_mm), None)
    if wanted is None:
        return
    more = next((r for r in d.covers.rows if r.cover_mm > cover_mm), None)
    text = f"{_step(units)} of setting buys {_buys(wanted, units)}"
    if more is not None:
        text += (
            f"; a cover of {format_length(more.cover_mm, units)} is set to "
            f"{_setting(more.set_to_mm, units)}"
        )
    yield text


def _step(units: str) -> str:
    return "1 mm" if units == "mm" else "1/16 in"


def _buys(row: CoverRow, units: str) -> str:
    """Cover for one step of the points."""
    step = 1.0 if units == "mm" else SIXTEENTH_MM
    return format_length(row.per_setting * step, units)


def _setting(mm: float, units: str) -> str:
    """A setting, never shown smaller than it is."""
    if math.isnan(mm):
        return "unknown"
    return format_length(round_up(mm, units, 0.1 if units == "mm" else None), units)


def _rules_in_force(d: Decision) -> str:
    own = any(j.rule.mark == OWN for j in d.judged)
    published = d.rules != NONE and any(j.rule.mark != OWN for j in d.judged)
    return " and ".join([d.rules] * published + ["your own"] * own)


# --- tables and what they mean, for the details and for reports -----------------------------------


def cover_table(d: Decision, units: str) -> Rows:
    """Other covers and their settings, the wanted one among them."""
    head = ("cover", "needed", "set to", f"{_step(units)} buys", "deepest groove")
    return (head, *(_cover_row(r, units) for r in d.covers.rows))


def _cover_row(r: CoverRow, units: str) -> tuple[str, ...]:
    return (
        format_length(r.cover_mm, units),
        quantity_text(r.setting, units),
        _setting(r.set_to_mm, units),
        _buys(r, units),
        quantity_text(r.deepest, units),
    )


def drop_about(c: Course, units: str) -> str:
    """How far the log drops for any cover."""
    under = c.underscribe_mm
    less = f", less {format_length(under, units)} of underscribe" if under else ""
    return f"The log drops by as much as the points are set to{less}."


def height_table(c: Course, units: str) -> Rows:
    """Heights of the course once the log is down."""
    head = ("at", "course", "over the nail")
    return (head, *(_height_row(h, units) for h in c.heights))


def _height_row(h: Height, units: str) -> tuple[str, ...]:
    return (
        distance_text(h.station_mm, units),
        quantity_text(h.course, units),
        quantity_text(h.over_nail, units),
    )


def height_about(c: Course, units: str) -> str:
    """What the heights are of."""
    by = (
        "the stated diameter"
        if c.diameter_stated
        else "twice its crown's radius, no diameter stated"
    )
    return (
        f"Once down by {_setting(c.drop_mm, units)}: the upper log's top over the lower log's, and over "
        f"where the first card's nail was; by {by}."
    )


def rise_text(c: Course, units: str) -> str:
    """How much the log rises from end to end."""
    size = Quantity(abs(c.rise.value_mm), c.rise.u_mm, c.rise.U95_mm)
    return (
        f"Its top is {quantity_text(size, units)} {'higher' if c.rise.value_mm > 0 else 'lower'} "
        "at the right end than at the left. Level is known by how the cards hang: a spirit level on the "
        "log knows it better."
    )


def limit_table(
    d: Decision, units: str, length: Callable[[float, str], str] = format_length
) -> Rows:
    """Limits in force, what was found where it is worst, and whether they are kept."""
    head = ("limit", "found", "allowed", "verdict", "source")
    return (head, *(_limit_row(j, units, length) for j in d.judged))


def _limit_row(j: Judged, units: str, length: Callable[[float, str], str]) -> tuple[str, ...]:
    names = {COVER: "least cover", RUN: "run as narrow", WIDTH: "groove wide", DEPTH: "groove deep"}
    own = j.rule.mark == OWN
    return (
        names.get(j.rule.what) or f"{j.log} log",
        length(j.found_mm, units),
        f"{'at least' if j.rule.what in (COVER, LOG) else 'at most'} {limit_words(j, units, length)}",
        verdict_words(j),
        "Your own" if own else f"{j.rule.mark.capitalize()}: {j.rule.source}",
    )


# --- details --------------------------------------------------------------------------------------


def details_text(m: Measurement, units: str = "mm") -> str:
    """Everything decided that the answer only names, at most 80 columns wide.

    Of a measurement as it was just made: nothing of one that was read back and lacks parts.
    """
    d = m.decision
    if d is None or d.lowering is None or d.course is None:
        return ""
    lines = [*_lowering_details(m, d.lowering, units)]
    lines += ["", "Other covers", *_cover_details(d, d.course, m.cover_mm, units)]
    lines += ["", f"Along the log, when set to {_setting(m.set_to_mm, units)}{_counted(m)}"]
    lines += _log_table(d, d.lowering, d.course, units)
    lines += ["", "What follows", *_follow_details(d.course, units)]
    lines += ["", "Limits", *_limit_details(d, units)]
    return "\n".join(lines)


def _counted(m: Measurement) -> str:
    """From where places along the log count in tables."""
    origin = station_origin(m.cards)
    return "" if origin is None else f" (counted right from card {origin.number}'s nail)"


def _lowering_details(m: Measurement, x: Lowering, units: str) -> Iterator[str]:
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
            f"Fitted down to about {distance_text(x.wanted.widest_mm, units)} where it is widest: "
            "USDA Forest Service, Misc. Publication 579, 1945. Another: --lower-to.", "  ",
        )  # fmt: skip


def _cover_details(d: Decision, c: Course, cover_mm: float, units: str) -> Iterator[str]:
    head, *rows = cover_table(d, units)
    yield f"    {_columns(head, COVER_COLUMNS)}"
    for r, cells in zip(d.covers.rows, rows, strict=True):
        mark = "*" if r.cover_mm == cover_mm else " "
        yield f"  {mark} {_columns(cells, COVER_COLUMNS)}"
    yield from wrap(f"* as asked. {drop_about(c, units)}", "  ")


def _columns(cells: Sequence[str], widths: Sequence[int]) -> str:
    """Cells side by side, the last one as wide as it is."""
    padded = [f"{cell:{width}}" for cell, width in zip(cells, (*widths, 0), strict=True)]
    return "".join(padded).rstrip()


def _log_table(d: Decision, x: Lowering, c: Course, units: str) -> Iterator[str]:
    lower = bool(x.notches.left_mm or x.notches.right_mm)
    gap = x.after.gap_mm + x.notches.shift(d.station_mm)
    yield (
        f"    {'at':12}{'gap':11}{'groove':11}{'of D':8}{'deep':11}{'of D':8}"
        f"{'gap, lowered' if lower else ''}"
    ).rstrip()
    every = max(1, -(-len(d.station_mm) // ROWS))
    for k in range(0, len(d.station_mm), every):
        size, width, deep = d.upper_diameter_mm[k], d.groove_width_mm[k], c.depth_mm[k]
        after = format_length(x.after.gap_mm[k], units) if lower else ""
        yield (
            f"    {along_text(d.station_mm[k], units):12}{format_length(gap[k], units):11}"
            f"{format_length(width, units):11}{width / size:<8.2f}{format_length(deep, units):11}"
            f"{deep / size:<8.2f}{after}"
        ).rstrip()
    source = "as stated" if c.diameter_stated else "fitted at the crown"
    yield from wrap(f"D is the upper log's diameter, {source}.", "    ")


def _follow_details(c: Course, units: str) -> Iterator[str]:
    yield from wrap(
        "The groove's depth is the wood taken away, plumb, where the logs are nearest; hollowing it "
        "adds to that.", "  ",
    )  # fmt: skip
    yield from (f"    {_columns(cells, HEIGHT_COLUMNS)}" for cells in height_table(c, units))
    yield from wrap(height_about(c, units), "  ")
    yield from wrap(rise_text(c, units), "  ")
    if c.underscribe_mm:
        yield from wrap(
            f"Cut so, the groove stands {format_length(c.underscribe_mm, units)} open until the notches "
            "have given way: the weight is on the notches first.", "  ",
        )  # fmt: skip
    yield from wrap(NO_TABLE, "  ")


def _limit_details(d: Decision, units: str) -> Iterator[str]:
    if not d.judged:
        yield from wrap(
            "None asked for: --rules names a published set, --limit states your own. " + LOCAL_CODE,
            "  ",
        )
        return
    for name, found, allowed, verdict, source in limit_table(d, units, distance_text)[1:]:
        yield from wrap(f"{found}, {allowed}: {verdict}. {source}.", f"  {name:15}")
    yield from wrap(LOCAL_CODE, "  ")
