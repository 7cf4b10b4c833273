"""What is decided beside the setting: JSON, both ways; its names are told in docs/decision.md."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from gapvision.advice.caution import Caution
from gapvision.advice.course import Course, Height
from gapvision.advice.covers import SAME_MM, CoverRow, Covers, default_covers
from gapvision.advice.decision import Decision
from gapvision.advice.limits import Judged
from gapvision.advice.lowering import HANDBOOK_MM, Lowered, Lowering, Notches, Wanted
from gapvision.inputs.rules import NONE, Rule
from gapvision.joint.gap import Profile
from gapvision.joint.photo_results import CardResult, place_at
from gapvision.measurement import Measurement
from gapvision.phrases import (
    number_json,
    number_read,
    numbers_json,
    numbers_read,
    place_json,
    quantity_json,
    quantity_read,
)
from gapvision.quantity import Quantity


def decision_json(m: Measurement) -> dict | None:
    """The ``decision`` of a measurement's JSON: lengths in mm, null for what is not known."""
    d = m.decision
    if d is None:
        return None
    c, x = d.course, d.lowering
    return {
        "lowering": x and _lowering_json(x, m.cards),
        "covers": [_cover_json(r, c) for r in d.covers.rows],
        "course": c and _course_json(c, m.cards),
        "along": {
            "station_mm": numbers_json(d.station_mm),
            "depth_mm": numbers_json(c.depth_mm if c else ()),
            "depth_u_mm": numbers_json(c.depth_u_mm if c else ()),
            "upper_diameter_mm": numbers_json(d.upper_diameter_mm),
            "lower_diameter_mm": numbers_json(d.lower_diameter_mm),
            "gap_lowered_mm": numbers_json(x.after.gap_mm if x else ()),
            "gap_lowered_u_mm": numbers_json(x.after.gap_u_mm if x else ()),
        },
        "rules": d.rules,
        "limits": [_limit_json(j) for j in d.judged],
    }


def decision_read(
    decision: dict | None, profile: Profile, cautions: Iterable[Caution]
) -> Decision | None:
    """What `decision_json` wrote, of an answer with this profile and these cautions.

    Numbers that it lacks are NaN, parts that it lacks None.

    Raises
    ------
    KeyError, TypeError, ValueError
        Where it is not of that form.

    Notes
    -----
    Three things have no key of their own. The groove's width along the log is the profile's. The
    wanted gap is taken as stated where it is not the handbooks', and covers as asked for where they
    are not those that are shown unasked. Heights that could not be told are in the cautions.
    """
    if decision is None:
        return None
    along = decision.get("along") or {}
    if len({len(values) for values in along.values() if values}) > 1:
        raise ValueError("along: its rows differ in length")
    x, c = decision.get("lowering"), decision.get("course")
    station = _array(along, "station_mm")
    known = np.isfinite(profile.groove_width_mm)
    width = np.interp(station, profile.station_mm[known], profile.groove_width_mm[known])
    return Decision(
        station_mm=station,
        groove_width_mm=width,
        upper_diameter_mm=_array(along, "upper_diameter_mm"),
        lower_diameter_mm=_array(along, "lower_diameter_mm"),
        lowering=_lowering_read(x, along) if x else None,
        covers=_covers_read(decision.get("covers") or ()),
        course=_course_read(c, along) if c else None,
        rules=str(decision.get("rules") or NONE),
        judged=tuple(map(_limit_read, decision.get("limits") or ())),
        heights_outside_mm=tuple(
            k.from_mm for k in cautions if k.code == "height-outside" and k.from_mm is not None
        ),
    )


# --- lower first or scribe ------------------------------------------------------------------------


def _lowering_json(x: Lowering, cards: tuple[CardResult, ...]) -> dict:
    return {
        "ready": bool(x.ready),
        "why": x.why,
        "wanted_widest_mm": number_json(x.wanted.widest_mm),
        "notches_stated": bool(x.notches.stated),
        "from_mm": number_json(x.notches.ends_mm[0]),
        "to_mm": number_json(x.notches.ends_mm[1]),
        "left_mm": number_json(x.notches.left_mm),
        "right_mm": number_json(x.notches.right_mm),
        "reached": bool(x.wanted.reached),
        "scriber_least_mm": number_json(x.wanted.scriber_least_mm),
        "setting_gain": quantity_json(x.gain),
        "worth_it": bool(x.worth_it),
        "widest_gap": quantity_json(x.after.widest)
        | place_json(place_at(cards, x.after.widest_station_mm)),
        "least_gap": quantity_json(x.after.least),
        "setting": quantity_json(x.after.setting)
        | {"set_to_mm": number_json(x.after.set_to_mm)}
        | place_json(place_at(cards, x.after.deciding_station_mm)),
    }


def _lowering_read(x: dict, along: dict) -> Lowering:
    return Lowering(
        why=x.get("why") or ("low-enough" if x["ready"] else "too-wide"),
        wanted=_wanted_read(x),
        notches=Notches(
            ends_mm=(_number(x, "from_mm"), _number(x, "to_mm")),
            stated=bool(x.get("notches_stated", True)),
            left_mm=float(x.get("left_mm") or 0.0),
            right_mm=float(x.get("right_mm") or 0.0),
        ),
        after=_lowered_read(x, along),
        gain=_quantity(x, "setting_gain"),
        worth_it=bool(x.get("worth_it")),
    )


def _wanted_read(x: dict) -> Wanted:
    widest, scriber = _number(x, "wanted_widest_mm"), x.get("scriber_least_mm")
    return Wanted(
        widest_mm=widest,
        stated=abs(widest - HANDBOOK_MM) > SAME_MM,
        reached=bool(x.get("reached", True)),
        scriber_least_mm=None if scriber is None else float(scriber),
    )


def _lowered_read(x: dict, along: dict) -> Lowered:
    widest, setting = (x.get(key) or {} for key in ("widest_gap", "setting"))
    return Lowered(
        widest=_quantity(x, "widest_gap"),
        widest_station_mm=_number(widest, "station_mm"),
        least=_quantity(x, "least_gap"),
        setting=_quantity(x, "setting"),
        set_to_mm=_number(setting, "set_to_mm"),
        deciding_station_mm=_number(setting, "station_mm"),
        gap_mm=_array(along, "gap_lowered_mm"),
        gap_u_mm=_array(along, "gap_lowered_u_mm"),
    )


# --- other covers ---------------------------------------------------------------------------------


def _cover_json(r: CoverRow, course: Course | None) -> dict:
    underscribe = course.underscribe_mm if course else 0.0
    return (
        {"cover_mm": number_json(r.cover_mm)}
        | quantity_json(r.setting)
        | {
            "set_to_mm": number_json(r.set_to_mm),
            "station_mm": number_json(r.station_mm),
            "cover_per_setting": number_json(r.per_setting),
            "deepest": quantity_json(r.deepest),
            "drop_mm": number_json(r.set_to_mm - underscribe),
        }
    )


def _covers_read(covers: Iterable[dict]) -> Covers:
    rows = tuple(_cover_read(r) for r in covers)
    return Covers(rows, bool(rows) and not any(_unasked(rows, units) for units in ("mm", "in")))


def _cover_read(r: dict) -> CoverRow:
    return CoverRow(
        float(r["cover_mm"]), quantity_read(_NOTHING | r), _number(r, "set_to_mm"),
        _number(r, "station_mm"), _number(r, "cover_per_setting"), _quantity(r, "deepest"),
    )  # fmt: skip


def _unasked(rows: tuple[CoverRow, ...], units: str) -> bool:
    """Whether the covers are those about one of them that are shown unasked."""
    covers = [r.cover_mm for r in rows]
    return any(
        len(usual) == len(covers) and np.allclose(usual, covers, rtol=0, atol=SAME_MM)
        for usual in (default_covers(c, units) for c in covers)
    )


# --- what follows ---------------------------------------------------------------------------------


def _course_json(c: Course, cards: tuple[CardResult, ...]) -> dict:
    return {
        "notch_setting_mm": number_json(c.notch_mm),
        "underscribe_mm": number_json(c.underscribe_mm),
        "drop_mm": number_json(c.drop_mm),
        "deepest": quantity_json(c.deepest) | place_json(place_at(cards, c.deepest_station_mm)),
        "heights": [
            {
                "station_mm": number_json(h.station_mm),
                "course": quantity_json(h.course),
                "over_nail": quantity_json(h.over_nail),
            }
            for h in c.heights
        ],
        "rise": quantity_json(c.rise),
        "diameter_stated": bool(c.diameter_stated),
    }


def _course_read(c: dict, along: dict) -> Course:
    return Course(
        notch_mm=_number(c, "notch_setting_mm"),
        underscribe_mm=float(c.get("underscribe_mm") or 0.0),
        depth_mm=_array(along, "depth_mm"),
        depth_u_mm=_array(along, "depth_u_mm"),
        deepest=_quantity(c, "deepest"),
        deepest_station_mm=_number(c.get("deepest") or {}, "station_mm"),
        heights=tuple(
            Height(float(h["station_mm"]), _quantity(h, "course"), _quantity(h, "over_nail"))
            for h in c.get("heights") or ()
        ),
        rise=_quantity(c, "rise"),
        diameter_stated=bool(c.get("diameter_stated")),
    )


# --- limits ---------------------------------------------------------------------------------------


def _limit_json(j: Judged) -> dict:
    return {
        "what": j.rule.what,
        "value": number_json(j.rule.value),
        "share": bool(j.rule.share),
        "source": j.rule.source,
        "mark": j.rule.mark,
        "found_mm": number_json(j.found_mm),
        "limit_mm": number_json(j.limit_mm),
        "log": j.log,
        "station_mm": number_json(j.station_mm),
        "chance_broken": number_json(j.chance),
        "from_mm": number_json(j.from_mm),
        "to_mm": number_json(j.to_mm),
    }


def _limit_read(d: dict) -> Judged:
    value = _number(d, "value")
    share = bool(d.get("share")) and np.isfinite(value)
    rule = Rule(str(d["what"]), value, share, str(d.get("source", "")), str(d.get("mark", "")))
    return Judged(
        rule, _number(d, "found_mm"), _number(d, "limit_mm"), _number(d, "station_mm"),
        str(d.get("log", "upper")), _number(d, "chance_broken"), d.get("from_mm"), d.get("to_mm"),
    )  # fmt: skip


# --- values that may be lacking -------------------------------------------------------------------

_NOTHING = {"value_mm": np.nan, "u_mm": np.nan}


def _number(d: dict, key: str) -> float:
    return number_read(d.get(key))


def _array(d: dict, key: str) -> np.ndarray:
    return np.array(numbers_read(d.get(key) or ()))


def _quantity(d: dict, key: str) -> Quantity:
    return quantity_read(_NOTHING | (d.get(key) or {}))
