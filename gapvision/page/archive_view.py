"""The archive as its screens show it: records found, a wall course by course, one record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from gapvision.answer.as_json import measurement_of
from gapvision.archive.outcome import Outcome, together
from gapvision.archive.query import Entry, Record
from gapvision.archive.text import outcome_rows, set_to_text, when
from gapvision.inputs.joint_name import JointName, as_counted, as_folder
from gapvision.page.answer_view import READING_FIELDS, answer_view
from gapvision.page.home_view import wall_url
from gapvision.page.joint_view import JointRow
from gapvision.page.profile_view import profile_view

Verdicts = Mapping[int, tuple[str, bool]]
PAGE_ROWS = 40  # of a list; a phone scrolls no further

_WORDS = {
    "set": ("SET", "good"),
    "at-least": ("AT LEAST", "warn"),
    "lower-first": ("LOWER FIRST", "bad"),
    "measure-again": ("MEASURE AGAIN", "bad"),
}
_WITH_SETTING = ("set", "at-least")


def record_row(entry: Entry, verdicts: Verdicts, units: str, title: str) -> JointRow:
    """A record as a line; its setting only where its answer has one."""
    kind, ready = verdicts.get(entry.record, ("", False))
    word, sign = _WORDS.get(kind, ("", "wait"))
    said = [word.capitalize()] if word and kind not in _WITH_SETTING else []
    said += ["ready to scribe"] if ready else []
    text = ", ".join([*said, f"record {entry.record}", entry.kept_at[:10]])
    url = f"/record/{entry.record}"
    if kind not in _WITH_SETTING:
        return JointRow(url, title, text, sign)
    return JointRow(url, title, text, sign, word, set_to_text(entry.set_to_mm, units))


def archive_context(
    entries: Sequence[Entry],
    verdicts: Verdicts,
    query: Mapping[str, str],
    buildings: Iterable[str],
    units: str,
    more: bool,
) -> dict[str, Any]:
    """What the screen of a search shows.

    Parameters
    ----------
    entries : sequence of Entry
        At most `PAGE_ROWS`.
    verdicts : mapping
        As `query.verdicts_of` gives them.
    query : mapping
        What was asked: ``q``, ``building``, ``status``, ``since``, ``until``, ``outcome``, ``page``.
    buildings : iterable of str
        All there are.
    units : {"mm", "in"}
    more : bool
        Whether there are more than these.
    """
    asked = {k: str(query.get(k) or "") for k in _ASKED}
    page = int(query.get("page") or 1)
    count = len(entries)
    found = f"{count} record{'s' * (count != 1)}{' and more' if more else ''}"
    following = urlencode({k: v for k, v in asked.items() if v} | {"page": page + 1})
    return {
        "query": asked | {"filtered": any(asked[k] for k in _ASKED[1:])},
        "buildings": sorted(buildings, key=as_counted),
        "rows": [record_row(e, verdicts, units, e.joint.title) for e in entries],
        "found": found if count else "No record is as asked for",
        "more": f"/archive?{following}" if more else "",
    }


_ASKED = ("q", "building", "status", "since", "until", "outcome")


def wall_context(
    building: str,
    wall: str,
    entries: Iterable[Entry],
    verdicts: Verdicts,
    at_work: Iterable[JointRow],
    units: str,
) -> dict[str, Any]:
    """What the screen of a wall shows: the latest of each log, the top log first.

    Parameters
    ----------
    building, wall : str
    entries : iterable of Entry
        Those of the wall, the latest first.
    verdicts : mapping
        As `query.verdicts_of` gives them.
    at_work : iterable of JointRow
        Its drafts that are not kept yet, called ``Log 3``.
    units : {"mm", "in"}
    """
    latest: dict[str, Entry] = {}
    for entry in entries:
        latest.setdefault(entry.joint.log, entry)
    kept = [record_row(e, verdicts, units, f"Log {log}") for log, e in latest.items()]
    rows = sorted([*at_work, *kept], key=lambda row: as_counted(row.title), reverse=True)
    names = {"building": building, "wall": wall}
    numbers = [int(log) for log in latest if log.isdecimal()]
    following = {"log": str(max(numbers) + 1)} if numbers else {}
    return {
        "title": f"{JointName(building, wall).wall_title}, {building}",
        "rows": rows,
        "report": f"/wall/report.html?{urlencode(names)}" if kept else "",
        "report_pdf": f"/wall/report.pdf?{urlencode(names)}" if kept else "",
        "new": f"/new?{urlencode(names | following)}",
    }


def record_context(
    record: Record, outcomes: Iterable[Outcome], others: Iterable[Entry], units: str
) -> dict[str, Any]:
    """What the screen of a record shows."""
    e = record.entry
    told = together(outcomes)
    m = measurement_of(record.result)
    return {
        "record": record_head(e) | {"facts": _facts(record, others)},
        "answer": answer_view(record.result, units),
        "profile": profile_view(m, units),
        "outcome": outcome_rows(told, units) if told else [],
    }


def record_head(e: Entry) -> dict[str, Any]:
    """What every screen of a record says of it."""
    joint = e.joint
    return {
        "number": e.record,
        "title": joint.title,
        "wall_url": wall_url(joint.building, joint.wall),
        "file": as_folder(f"{joint.building} {joint.wall} {joint.log} record {e.record}"),
    }


def _facts(record: Record, others: Iterable[Entry]) -> list[tuple[str, str]]:
    e = record.entry
    rows = [
        ("Record", f"{e.record}, revision {e.revision}"),
        ("Kept", when(e.kept_at)),
        ("Program", f"gapvision {e.program}"),
        ("Photographs", ", ".join(f.name for f in record.photographs)),
    ]
    if e.remeasured is not None:
        rows.append(("Measured again from", f"record {e.remeasured}"))
    if numbers := [str(o.record) for o in others if o.record != e.record]:
        rows.append(("Other records of this joint", ", ".join(numbers)))
    return rows


def outcome_context(
    record: Record, fields: Mapping[str, str], faults: Mapping[str, str]
) -> dict[str, Any]:
    """What the form of a record's outcome shows."""
    units, cards = record.units, record.result["cards"]
    return {
        "record": record_head(record.entry),
        "fields": {"remarks": "", "instead": ""} | READING_FIELDS | dict(fields),
        "cards": [c["number"] for c in cards if c["side"] == "outside"],
        "faults": dict(faults),
        "mode": "decimal" if units == "mm" else "text",
    }
