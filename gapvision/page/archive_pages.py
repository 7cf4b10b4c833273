"""The archive on the page: lists, walls course by course, records with their reports, what came of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import Response

from gapvision.errors import MeasurementError
from gapvision.inputs.joint_name import one_line
from gapvision.lengths import parse_length
from gapvision.page.answer_pages import entry_of, kind_of, paper_of, report_response
from gapvision.page.archive_view import (
    PAGE_ROWS,
    archive_context,
    outcome_context,
    record_context,
    wall_context,
)
from gapvision.page.asking import jobs_of, units_of
from gapvision.page.drafts import KEPT, Draft, all_drafts, answer_of
from gapvision.page.home_view import WallRow, wall_rows
from gapvision.page.jobs import Jobs, is_of_before
from gapvision.page.joint_view import JointRow, joint_row
from gapvision.page.measuring import report_of_kept, report_of_wall
from gapvision.page.photographs import photographs
from gapvision.page.rendering import page, see
from gapvision.page.workers import in_worker

if TYPE_CHECKING:
    from gapvision.archive.outcome import Outcome
    from gapvision.archive.query import Entry, Query, Record
    from gapvision.archive.store import Archive

MOST_NUMBER = 2**62  # a record's: SQLite's numbers have 63 bits
OUTCOME = (
    "setting_used", "narrowest_cover", "open_from", "open_to", "remarks", "instead", "kind", "value",
    "setting", "place", "card", "hand",
)  # fmt: skip
T = TypeVar("T")


async def archive(request: Request) -> Response:
    """Records found by words and filters, the latest first."""
    asked = {k: v.strip()[:200] for k, v in request.query_params.items()}
    number = asked.get("page", "1")
    asked["page"] = number if number.isascii() and number.isdecimal() and len(number) < 6 else "1"
    last = PAGE_ROWS * int(asked["page"])

    def found(opened: Archive) -> tuple[list[Entry], dict, set[str]]:
        from gapvision.archive.query import entries, verdicts_of

        rows = list(entries(opened, query_of(asked), last + 1))[last - PAGE_ROWS :]
        buildings = opened.db.execute("SELECT DISTINCT building FROM record")
        names = {name for (name,) in buildings if isinstance(name, str)}
        return rows, verdicts_of(opened, [e.record for e in rows]), names

    rows, verdicts, buildings = await _read(request, found)
    shown, more = rows[:PAGE_ROWS], len(rows) > PAGE_ROWS
    context = archive_context(shown, verdicts, asked, buildings, units_of(request), more)
    return page(request, "archive.html", **context)


def query_of(asked: Mapping[str, str]) -> Query:
    """What the fields of a search ask for; a date that is none is not asked for."""
    from gapvision.archive.query import Query

    def name(key: str) -> str | None:
        return one_line(asked[key]) if asked.get(key) else None

    status = asked.get("status")
    return Query(
        building=name("building"),
        wall=name("wall"),
        log=name("log"),
        since_utc=_day(asked.get("since", ""), 0),
        until_utc=_day(asked.get("until", ""), 1),
        status=status if status in ("measured", "doubtful") else None,
        text=asked.get("q", ""),
        with_outcome=bool(asked.get("outcome")),
    )


async def walls(request: Request) -> Response:
    """Every wall that has a record."""
    return page(request, "walls.html", walls=await walls_of(request))


def row_of(jobs: Jobs, draft: Draft) -> JointRow:
    """A joint at work as a line of a list."""
    photos, told = photographs(jobs.drafts, draft.id), answer_of(jobs.drafts, draft.id)
    return joint_row(draft, photos, told, is_of_before(draft, photos))


async def walls_of(request: Request) -> list[WallRow]:
    """The walls of the archive as a list shows them."""

    def found(opened: Archive) -> list[WallRow]:
        from gapvision.archive.query import Query, entries

        return wall_rows(entries(opened, Query()))

    return await _read(request, found)


async def wall(request: Request) -> Response:
    """One wall, course by course: settings, and what is ready."""
    building, name = (request.query_params.get(k, "")[:200] for k in ("building", "wall"))
    drafts = jobs_of(request).drafts

    def found(opened: Archive) -> tuple[list[Entry], dict]:
        from gapvision.archive.query import Query, entries, verdicts_of

        kept = list(entries(opened, Query(building=building, wall=name)))
        return kept, verdicts_of(opened, [e.record for e in kept])

    kept, verdicts = await _read(request, found)
    at_work = [
        replace(row_of(jobs_of(request), d), title=f"Log {d.log}")
        for d in all_drafts(drafts)
        if (d.building, d.wall) == (building, name) and d.state != KEPT
    ]
    context = wall_context(building, name, kept, verdicts, at_work, units_of(request))
    return page(request, "wall.html", **context)


async def wall_report(request: Request) -> Response:
    """The report of a wall: the latest record of each log."""
    building, name = (request.query_params.get(k, "")[:200] for k in ("building", "wall"))
    jobs, kind = jobs_of(request), kind_of(request)
    folder, paper = jobs.drafts.parent, paper_of(units_of(request))
    content = await in_worker(jobs.fitting, report_of_wall, folder, building, name, kind, paper)
    return report_response(content, kind)


async def record(request: Request) -> Response:
    """A record: the answer as it was given, and what was told later."""
    number = number_of(request)

    def found(opened: Archive) -> tuple[Record, tuple[Outcome, ...], list[Entry]]:
        from gapvision.archive.query import Query, entries

        whole, told = _whole(opened, number)
        return whole, told, list(entries(opened, Query(**asdict(whole.entry.joint)), PAGE_ROWS))

    whole, told, others = await _read(request, found)
    return page(request, "record.html", **record_context(whole, told, others, whole.units))


async def record_report(request: Request) -> Response:
    """The report of a record."""
    jobs, kind = jobs_of(request), kind_of(request)
    folder, paper = jobs.drafts.parent, paper_of(units_of(request))
    content = await in_worker(jobs.fitting, report_of_kept, folder, number_of(request), kind, paper)
    return report_response(content, kind)


async def outcome(request: Request) -> Response:
    """What came of a joint after it was fitted."""
    number = number_of(request)
    whole, _ = await _read(request, lambda opened: _whole(opened, number))
    if request.method == "GET":
        return page(request, "outcome.html", **outcome_context(whole, {}, {}))
    form = await request.form()
    fields = {name: str(form.get(name) or "").strip()[:2000] for name in OUTCOME}
    try:
        told = outcome_of(fields, whole)
        await _write(request, lambda opened: _told(opened, number, told))
    except MeasurementError as error:
        context = outcome_context(whole, fields, {"": error.text})
        return page(request, "outcome.html", 422, **context)
    return see(f"/record/{number}")


def outcome_of(fields: Mapping[str, str], whole: Record) -> Outcome:
    """What a form tells of a joint after its fit.

    Raises
    ------
    MeasurementError
        ``bad-outcome``, ``bad-entry`` or ``not-measured-there``.
    """
    from gapvision.archive.outcome import Outcome, check_outcome, check_stations, outcome_values
    from gapvision.archive.record import options_of
    from gapvision.lengths import parse_reading, parse_trial

    used, narrowest, first, last = (
        _length(fields, name, whole.units)
        for name in ("setting_used", "narrowest_cover", "open_from", "open_to")
    )
    readings, trials = [], []
    if fields["value"]:
        entry = entry_of(fields, whole.units, whole.result)
        if fields["kind"] == "trial":
            trials.append(parse_trial(entry, whole.units))
        else:
            readings.append(parse_reading(entry, whole.units))
    if (first is None) != (last is None):
        raise MeasurementError("bad-outcome", "A place that stayed open has two ends: write both.")
    opens = [] if first is None or last is None else [(min(first, last), max(first, last))]
    remarks = one_line(fields["remarks"])
    told = (
        used is not None,
        narrowest is not None,
        readings,
        trials,
        opens,
        remarks,
        fields["instead"],
    )
    if not any(told):
        raise MeasurementError("bad-outcome", "Nothing was told: fill in at least one field.")
    values = outcome_values(readings, trials, opens, whole.result["widest_gap"]["station_mm"])
    check_stations(values, whole.result["profile"]["station_mm"], whole.units)
    outcome = Outcome(
        date.today().isoformat(), used, narrowest, remarks, values, bool(fields["instead"])
    )
    check_outcome(outcome, options_of(whole.options, (), (), None))
    return outcome


def number_of(request: Request) -> int:
    """The record of an address.

    Raises
    ------
    MeasurementError
        ``no-record`` where no database counts so far.
    """
    number = request.path_params["number"]
    if number >= MOST_NUMBER:
        raise MeasurementError("no-record", f"There is no record {number}.")
    return number


def _day(text: str, later: int) -> str | None:
    """When a day begins, or the one ``later``, in UTC; None of what is no day."""
    from gapvision.archive.record import in_utc

    try:
        begins = datetime.combine(date.fromisoformat(text) + timedelta(days=later), time())
        return in_utc(begins.astimezone().isoformat())
    except (OverflowError, ValueError):
        return None


def _length(fields: Mapping[str, str], name: str, units: str) -> float | None:
    try:
        return parse_length(fields[name], units) if fields[name] else None
    except ValueError as error:
        said = str(error)
        raise MeasurementError("bad-entry", f"{said[:1].upper()}{said[1:]}") from None


def _whole(opened: Archive, number: int) -> tuple[Record, tuple[Outcome, ...]]:
    from gapvision.archive.outcome import outcomes_of
    from gapvision.archive.query import load_record

    return load_record(opened, number), outcomes_of(opened, number)


def _told(opened: Archive, number: int, told: Outcome) -> None:
    from gapvision.archive.outcome import add_outcome

    add_outcome(opened, number, told)


async def _read(request: Request, work: Callable[[Archive], T]) -> T:
    """What a function finds in the archive; a database is used by the thread that opened it alone."""
    return await to_thread.run_sync(_in_archive, jobs_of(request).drafts.parent, False, work)


async def _write(request: Request, work: Callable[[Archive], T]) -> T:
    return await to_thread.run_sync(_in_archive, jobs_of(request).drafts.parent, True, work)


def _in_archive(folder: Path, create: bool, work: Callable[[Archive], Any]) -> Any:
    from gapvision.archive.store import open_archive

    with open_archive(folder, create=create) as opened:
        return work(opened)
