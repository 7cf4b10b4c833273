"""What a report says of the decision and of what was measured by hand, as far as the JSON tells it.

Read from the dict and not from a `Measurement`: an older record lacks parts, a newer one has more.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from gapvision.advice.limits import LIKELY, POSSIBLE, SURE
from gapvision.inputs.rules import COVER, DEPTH, LOG, RUN, WIDTH
from gapvision.lengths import SIXTEENTH_MM, format_length, round_up
from gapvision.phrases import distance_text, place_text, quantity_text
from gapvision.quantity import K95, Place, Quantity

Rows = tuple[tuple[str, ...], ...]
Part = Mapping[str, Any]

_LIMITS = {
    COVER: "Least cover",
    RUN: "Run as narrow",
    WIDTH: "Groove's width",
    DEPTH: "Groove's depth",
    LOG: "Log's diameter",
}
_LEAST = frozenset({COVER, LOG})  # limits from below
_CHANCES = (
    (POSSIBLE, "kept"), (LIKELY, "maybe broken"), (SURE, "likely broken"), (math.inf, "BROKEN"),
)  # fmt: skip


def ready_text(result: Part, units: str) -> str:
    """Whether to scribe or to lower the log first; empty where the measurement does not tell."""
    x = _part(result, "decision", "lowering")
    if "ready" not in x:
        return ""
    if x["ready"]:
        return "READY TO SCRIBE as it lies."
    notches = " and ".join(
        f"deepen the {side} notch by {format_length(x[key], units)}"
        for side, key in (("left", "left_mm"), ("right", "right_mm"))
        if x.get(key)
    )
    if not notches:
        return "LOWER IT FIRST: there is no room for it; take a larger scriber."
    after = [
        f"then widest gap {_quantity(x.get('widest_gap'), units)}",
        f"set to {_set_to(_part(x, 'setting').get('set_to_mm'), units)}",
    ]
    return f"LOWER IT FIRST: {notches}; {', '.join(after)}. Make it fast and measure again."


def notches_mm(result: Part) -> tuple[float, float]:
    """By how much to deepen the left and the right notch first; zeros where ready, or not told."""
    x = _part(result, "decision", "lowering")
    if x.get("ready", True):
        return 0.0, 0.0
    return x.get("left_mm") or 0.0, x.get("right_mm") or 0.0


def follow_rows(result: Part, units: str) -> Iterable[tuple[str, str]]:
    """What follows from the setting, by name."""
    c = _part(result, "decision", "course")
    if c.get("drop_mm") is not None:
        yield "Log drops by", _set_to(c["drop_mm"], units)
    if c.get("underscribe_mm"):
        yield "Underscribe, your own", format_length(c["underscribe_mm"], units)
        yield "Notches set to", _set_to(c.get("notch_setting_mm"), units)
    if "deepest" in c:
        yield "Deepest groove", f"{_quantity(c['deepest'], units)}, {_place(c['deepest'], units)}"
    if "rise" in c:
        yield "Right end over the left, log down", _quantity(c["rise"], units)


def cover_table(result: Part, units: str) -> Rows:
    """Other covers and their settings; empty where there are none."""
    rows = _part(result, "decision").get("covers") or ()
    if not rows:
        return ()
    head = ("Cover", "Setting needed", "Set points to", "Deepest groove")
    return (
        head,
        *(
            (
                format_length(r["cover_mm"], units),
                _quantity(r, units),
                _set_to(r.get("set_to_mm"), units),
                _quantity(r.get("deepest"), units),
            )
            for r in rows
        ),
    )


def height_table(result: Part, units: str) -> Rows:
    """Heights of the course once the log is down; empty where none were asked for."""
    rows = _part(result, "decision", "course").get("heights") or ()
    if not rows:
        return ()
    head = ("Station", "Top over the lower log's", "Over the first card's nail")
    return (
        head,
        *(
            (
                distance_text(r["station_mm"], units),
                _quantity(r.get("course"), units),
                _quantity(r.get("over_nail"), units),
            )
            for r in rows
        ),
    )


def limit_table(result: Part, units: str) -> Rows:
    """Limits in force, what was found where it is worst, and whether they are kept."""
    rows = _part(result, "decision").get("limits") or ()
    if not rows:
        return ()
    head = ("Limit", "Found", "Allowed", "Verdict", "Source")
    return (
        head,
        *(
            (
                _LIMITS.get(r["what"], str(r["what"])),
                _length(r.get("found_mm"), units),
                f"{'at least' if r['what'] in _LEAST else 'at most'} "
                f"{_length(r.get('limit_mm'), units)}",
                _chance(r.get("chance_broken")),
                f"{r.get('source') or 'your own'} ({r.get('mark', '')})".replace(" ()", ""),
            )
            for r in rows
        ),
    )


def reading_table(result: Part, units: str) -> Rows:
    """Caliper readings beside the photographs; empty where there are none."""
    rows = result.get("readings") or ()
    if not rows:
        return ()
    head = ("Caliper at", "Read", "By the photographs", "Verdict")
    return (
        head,
        *(
            (
                _place(r, units),
                _length(r.get("value_mm"), units),
                _expected(r.get("predicted_mm"), r.get("predicted_u_mm"), units),
                _verdict(r),
            )
            for r in rows
        ),
    )


def trial_table(result: Part, units: str) -> Rows:
    """Trial lines beside the photographs; empty where there are none."""
    rows = result.get("trials") or ()
    if not rows:
        return ()
    head = ("Trial line at", "Points set to", "Width", "Width by the photographs", "Verdict")
    return (
        head,
        *(
            (
                _place(r, units),
                _length(r.get("setting_mm"), units),
                _length(r.get("width_mm"), units),
                _length(r.get("predicted_width_mm"), units),
                _verdict(r),
            )
            for r in rows
        ),
    )


def alone_rows(result: Part, units: str) -> Iterable[tuple[str, str]]:
    """What the photographs tell without calipers and trial lines."""
    alone = _part(result, "photographs_alone")
    for name, key in (("Setting needed", "setting"), ("Widest gap", "widest_gap")):
        if key in alone:
            yield f"{name}, by the photographs alone", _quantity(alone[key], units)


def _part(result: Part, *keys: str) -> Part:
    """A part of the dict, empty where it is null or not there."""
    for key in keys:
        result = result.get(key) or {}
    return result


def _length(mm: float | None, units: str) -> str:
    return "unknown" if mm is None else format_length(mm, units)


def _set_to(mm: float | None, units: str) -> str:
    """A setting, never shown smaller than it is."""
    if mm is None:
        return "unknown"
    return format_length(round_up(mm, units, 0.1 if units == "mm" else SIXTEENTH_MM), units)


def _quantity(d: Part | None, units: str) -> str:
    if not d or d.get("value_mm") is None:
        return "unknown"
    nan = math.nan
    u, half = (nan if d.get(k) is None else d[k] for k in ("u_mm", "U95_mm"))
    return quantity_text(Quantity(d["value_mm"], u, half), units)


def _expected(mm: float | None, u_mm: float | None, units: str) -> str:
    return _quantity({"value_mm": mm, "U95_mm": None if u_mm is None else K95 * u_mm}, units)


def _place(d: Part, units: str) -> str:
    if d.get("station_mm") is None:
        return "unknown"
    return place_text(Place(d["station_mm"], d.get("near_card"), d.get("offset_mm")), units)


def _verdict(d: Part) -> str:
    e = d.get("E_n")
    score = f" (E_n {abs(e):.1f})" if e is not None and abs(e) < 99 else ""
    if d.get("looks_like"):
        return f"LEFT OUT: {d['looks_like']}{score}"
    if d.get("agrees") is None:
        return score.strip(" ()")
    return f"{'agrees' if d['agrees'] else 'DISAGREES'}{score}"


def _chance(chance: float | None) -> str:
    return "unknown" if chance is None else next(w for least, w in _CHANCES if chance < least)
