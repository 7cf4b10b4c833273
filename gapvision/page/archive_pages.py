"""The archive on the page: lists, walls course by course, records with their reports, what came of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import Response

from gapvision.errors import MeasurementError
from gapvision.inputs.joint_name import as_counted
from gapvision.inputs.preferences import load_preferences
from gapvision.lengths import parse_length
from gapvision.page.answer_pages import entry_of, report_response
from gapvision.page.drafts import KEPT, Draft, all_drafts
from gapvision.page.joint_pages import jobs_of
from gapvision.page.measuring import report_of_kept
from gapvision.page.rendering import page, see
from gapvision.page.workers import in_worker

if TYPE_CHECKING:
    from gapvision.archive.outcome import Outcome
    from gapvision.archive.query import Entry, Record
    from gapvision.archive.store import Archive

SHOWN = 50  # records of a list
FILTERS = ("q", "building", "wall", "log", "status")
PAPERS = {"mm": "a4", "in": "letter"}
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Course:
    """One log of a wall: its latest record and what is to be said of it, or what is at work on it."""

    log: str
    entry: Entry | None = None
    first_line: str = ""
    ready: bool = False
    outcome: str = ""
    draft: Draft | None = None


async def archive(request: Request) -> Response:
    """Records found by words and filters, the latest first."""
    from gapvision.archive.query import Query, entries

    asked = {name: request.query_params.get(name, "").strip()[:200] for name in FILTERS}
    query = Query(
        text=asked["q"],
        **{name: asked[name] for name in ("building", "wall", "log") if asked[name]},
        status=asked["status"] if asked["status"] in ("measured", "doubtful") else None,
    )
    found = await _read(request, lambda opened: list(entries(opened, query, SHOWN + 1)))
    more = len(found) > SHOWN
    return page(
        request, "archive.html", entries=found[:SHOWN], more=more, asked=asked, units=units()
    )


async def walls(request: Request) -> Response:
    """Every wall that has a record or a joint at work."""
    found = await walls_of(request)
    return page(request, "walls.html", walls=found)


async def walls_of(request: Request) -> list[tuple[str, str]]:
    """Buildings with their walls, by name."""
    sql = "SELECT DISTINCT building, wall FROM record"
    rows = await _read(request, lambda opened: opened.db.execute(sql).fetchall())
    found = {row for row in map(tuple, rows) if all(isinstance(name, str) for name in row)}
    found |= {(d.building, d.wall) for d in all_drafts(jobs_of(request).drafts)}
    return sorted(found, key=lambda names: [as_counted(name) for name in names])


async def wall(request: Request) -> Response:
    """One wall, course by course: settings, and what is ready."""
    building, name = (request.query_params.get(k, "")[:200] for k in ("building", "wall"))
    kept = await _read(request, lambda opened: _courses(opened, building, name))
    at_work = [
        Course(d.log, draft=d)
        for d in all_drafts(jobs_of(request).drafts)
        if (d.building, d.wall) == (building, name) and d.state != KEPT
    ]
    courses = sorted([*kept, *at_work], key=lambda c: as_counted(c.log), reverse=True)
    context = {"building": building, "wall": name, "courses": courses, "units": units()}
    return page(request, "wall.html", **context)


async def record(request: Request) -> Response:
    """A record: the answer as it was given, and what was told later."""
    from gapvision.answer.as_json import measurement_of
    from gapvision.answer.text import answer_text
    from gapvision.archive.outcome import together
    from gapvision.archive.text import outcome_lines

    whole, told = await _read(request, lambda opened: _whole(opened, number_of(request)))
    text = answer_text(measurement_of(whole.result), whole.units, more="")
    known = together(told)
    lines = [] if known is None else [line.strip() for line in outcome_lines(known, whole.units)]
    context = {"entry": whole.entry, "answer": whole.result, "text": text, "outcome": lines}
    return page(request, "record.html", record=whole, units=whole.units, **context)


async def record_report(request: Request) -> Response:
    """The report of a record."""
    jobs, kind = jobs_of(request), request.url.path[request.url.path.rindex(".") :]
    number, archive_folder = number_of(request), jobs.drafts.parent
    content = await in_worker(
        jobs.fitting, report_of_kept, archive_folder, number, kind, PAPERS[units()]
    )
    return report_response(content, kind)


async def record_picture(request: Request) -> Response:
    """The picture that was kept of a record."""
    content = await _read(request, lambda opened: _picture(opened, number_of(request)))
    return Response(content, media_type="image/jpeg")


async def outcome(request: Request) -> Response:
    """What came of a joint after it was fitted."""
    number = number_of(request)
    whole, _ = await _read(request, lambda opened: _whole(opened, number))
    if request.method == "GET":
        return page(request, "outcome.html", record=whole, entry=whole.entry, units=whole.units)
    told = outcome_of(await request.form(), whole)
    await _write(request, lambda opened: _told(opened, number, told))
    return see(f"/record/{number}")


def outcome_of(form, whole: Record) -> Outcome:
    """What a form tells: ``setting_used``, ``narrowest_cover``, ``remarks``, a reading or trial line.

    Raises
    ------
    MeasurementError
        ``bad-outcome`` or ``bad-entry``.
    """
    from gapvision.archive.outcome import Outcome, check_outcome, check_stations, outcome_values
    from gapvision.archive.record import options_of
    from gapvision.lengths import parse_reading, parse_trial

    lengths = {
        name: _length(form, name, whole.units) for name in ("setting_used", "narrowest_cover")
    }
    readings, trials = [], []
    if form.get("value"):
        entry = entry_of(form, whole.units, whole.result)
        if form.get("kind") == "trial":
            trials.append(parse_trial(entry, whole.units))
        else:
            readings.append(parse_reading(entry, whole.units))
    opens = ()
    if form.get("open_from") or form.get("open_to"):
        ends = (_length(form, name, whole.units) for name in ("open_from", "open_to"))
        opens = (tuple(sorted(mm or 0.0 for mm in ends)),)
    remarks = " ".join(str(form.get("remarks") or "").split())[:1000]
    if not (any(lengths.values()) or readings or trials or opens or remarks):
        raise MeasurementError("bad-outcome", "Nothing was told: fill in at least one field.")
    widest = whole.result["widest_gap"]["station_mm"]
    values = outcome_values(readings, trials, opens, widest)
    check_stations(values, whole.result["profile"]["station_mm"], whole.units)
    told = Outcome(
        date.today().isoformat(), lengths["setting_used"], lengths["narrowest_cover"], remarks, values,
        form.get("instead") is not None,
    )  # fmt: skip
    check_outcome(told, options_of(whole.options, (), (), None))
    return told


def units() -> str:
    """The units that this person prefers."""
    return load_preferences().units or "mm"


def number_of(request: Request) -> int:
    """The record of an address."""
    return request.path_params["number"]


def _length(form, name: str, units: str) -> float | None:
    text = str(form.get(name) or "").strip()
    if not text:
        return None
    try:
        return parse_length(text, units)
    except ValueError as error:
        said = str(error)
        raise MeasurementError("bad-entry", f"{said[:1].upper()}{said[1:]}") from None


def _courses(opened: Archive, building: str, name: str) -> list[Course]:
    """The latest record of each log of a wall."""
    from gapvision.archive.outcome import outcomes_of, together
    from gapvision.archive.query import Query, entries, load_record
    from gapvision.archive.text import outcome_lines

    latest: dict[str, Entry] = {}
    for entry in entries(opened, Query(building=building, wall=name)):
        latest.setdefault(entry.joint.log, entry)
    found = []
    for log, entry in latest.items():
        try:
            result = load_record(opened, entry.record).result
            told = together(outcomes_of(opened, entry.record))
        except MeasurementError as error:  # of one log; the others are told all the same
            found.append(Course(log, entry, error.text))
            continue
        lines = [] if told is None else [line.strip() for line in outcome_lines(told, units())]
        head, ready = result.get("first_line", ""), bool(result.get("ready_to_scribe"))
        found.append(Course(log, entry, head, ready, "; ".join(lines)))
    return found


def _whole(opened: Archive, number: int) -> tuple[Record, tuple[Outcome, ...]]:
    from gapvision.archive.outcome import outcomes_of
    from gapvision.archive.query import load_record

    return load_record(opened, number), outcomes_of(opened, number)


def _told(opened: Archive, number: int, told: Outcome) -> None:
    from gapvision.archive.outcome import add_outcome

    add_outcome(opened, number, told)


def _picture(opened: Archive, number: int) -> bytes:
    from gapvision.archive.query import files_of, read_file

    for file in files_of(opened, number):
        if file.role == "picture":
            return read_file(opened, file)
    raise MeasurementError("no-record", f"There is no picture of record {number}.")


async def _read(request: Request, work: Callable[[Archive], T]) -> T:
    """What a function finds in the archive; a database is used by the thread that opened it alone."""
    return await to_thread.run_sync(_in_archive, jobs_of(request).drafts.parent, False, work)


async def _write(request: Request, work: Callable[[Archive], T]) -> T:
    return await to_thread.run_sync(_in_archive, jobs_of(request).drafts.parent, True, work)


def _in_archive(folder: Path, create: bool, work: Callable[[Archive], Any]) -> Any:
    from gapvision.archive.store import open_archive

    with open_archive(folder, create=create) as opened:
        return work(opened)
