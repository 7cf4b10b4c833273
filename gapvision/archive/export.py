"""Records as a folder or zip file that a person without the program can read."""

from __future__ import annotations

import hashlib
import io
import json
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from gapvision.archive.outcome import Outcome, outcomes_of
from gapvision.archive.packing import Write, numbered, place_for
from gapvision.archive.query import (
    DAMAGED,
    Entry,
    Query,
    Record,
    StoredFile,
    entries,
    load_entry,
    load_record,
    read_file,
    unreadable,
)
from gapvision.archive.store import Archive
from gapvision.archive.table import (
    OUTCOME_HEAD,
    RECORD_HEAD,
    outcome_rows,
    record_row,
    write_csv,
)
from gapvision.errors import MeasurementError
from gapvision.files import check_new, not_written, scratch_file
from gapvision.photo.scrub import NotScrubbable, scrubbed

FORMAT, VERSION = "gapvision-record", 1
PHOTO_HEAD = (
    "record", "file", "name as given", "side", "used", "taken (ISO 8601)", "make", "model",
    "SHA-256 of the original", "SHA-256 of this file", "left out because",
)  # fmt: skip
PROFILE_HEAD = (
    ("station_mm", "station (mm)"),
    ("gap_mm", "gap (mm)"),
    ("gap_u_mm", "gap standard uncertainty (mm)"),
    ("groove_width_mm", "groove width at the setting (mm)"),
    ("groove_width_u_mm", "groove width standard uncertainty (mm)"),
    ("setting_needed_mm", "setting needed (mm)"),
    ("setting_needed_u_mm", "setting needed standard uncertainty (mm)"),
)
README = """Log joints measured from photographs
====================================

records.csv       one line a joint: where it is, when it was measured, what to
                  set the scriber's points to, and the widest gap
photographs.csv   one line a photograph
outcomes.csv      what was found later: caliper, trial lines, covers after fitting
                  (these three open in a spreadsheet)
wall-...html      where there are several logs of a wall: the table of its logs,
                  the latest measurement of each, and their gaps drawn course by
                  course; opens in a web browser

A folder for each joint, named by its number in the archive:
  report.html     all of it to read and print; opens in a web browser
  picture.jpg     the photograph with what was traced in it, and the profile
  profile.csv     gap and groove along the log
  record.json     all of it for programs
  photographs/    the photographs

Lengths are millimetres. A station is the distance along the log to the right of
the nail of the lowest-numbered outside card, as seen from outside; left of it it
is negative. A half-width holds the truth 95 times in 100, a standard uncertainty
is about half of it. Times are ISO 8601 with their offset from UTC. "doubtful"
means: not seen whole, or to be measured again; the joint's report tells which.

{photographs}
The settings are advice to a builder: local codes and licensed practice come
first.
"""
STRIPPED = """The photographs are as they were taken but for what tells where and by whose
phone: location, serial numbers, owner and the maker's notes were left out. The
picture itself is bit for bit the same. The archive still has the originals;
their SHA-256 stands in photographs.csv.
"""
AS_TAKEN = """The photographs are the original files. They may tell where they were taken, and
the serial numbers of the phone.
"""


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export holds: how many records and photographs.

    ``left_out`` are sentences on photographs that could not be freed of what they tell, ``lost`` on
    those that are missing or damaged in the archive.
    """

    records: int
    photographs: int
    left_out: tuple[str, ...]
    lost: tuple[str, ...]


def check_export_path(target: Path) -> None:
    """Refuse a place at which something is already.

    Raises
    ------
    MeasurementError
        ``file-exists`` or ``no-folder``.
    """
    if os.path.lexists(target):
        raise _exists(target)
    check_new(target.absolute(), "the export", overwrite=False)


def _exists(target: Path) -> MeasurementError:
    text = f"{target} exists already: name a folder or zip file that is not there yet."
    return MeasurementError("file-exists", text)


def export(
    archive: Archive,
    query: Query,
    target: Path,
    with_location: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Exported:
    """Write the records wanted to a folder, or to a zip file if the name ends in ``.zip``.

    The place appears whole or not at all.

    Parameters
    ----------
    archive : Archive
    query : Query
    target : Path
        Must not be there yet.
    with_location : bool
        Whether photographs go out as they are, with location and serial numbers.
    progress : callable, optional
        Called as ``progress(records done)``.

    Raises
    ------
    MeasurementError
        ``file-exists``, ``no-folder``, ``no-record``, ``nothing-found``, ``bad-record``, or
        ``not-written`` if the disk refuses.
    """
    check_export_path(target)
    damaged = unreadable(archive)
    for number in query.records:
        if number not in damaged:
            load_entry(archive, number)  # says that there is none
    if next(entries(archive, query, 1), None) is None:
        raise MeasurementError(
            "nothing-found",
            "No record of the archive is as asked for, so that nothing was exported: see archive "
            "list, and ask for less.",
        )
    done = _Done()
    db = archive.db
    try:
        db.execute("BEGIN")  # one state of the archive for all tables, whoever writes meanwhile
        with place_for(target, "the export") as write:
            _write_all(archive, query, write, with_location, done, progress)
    except FileExistsError as error:  # it came into being since the check
        raise _exists(target) from error
    except OSError as error:
        raise not_written(target, "the export", error) from error
    finally:
        db.execute("ROLLBACK")
    return Exported(done.records, done.photographs, tuple(done.left_out), tuple(done.lost))


def record_json(record: Record, outcomes: tuple[Outcome, ...]) -> dict[str, Any]:
    """A record for programs, with all that was told of it; lengths in mm."""
    entry = record.entry.columns
    kept = ("record", "building", "wall", "log", "revision", "kept_at", "program", "remeasured")
    return {
        "format": FORMAT,
        "version": VERSION,
        **{key: entry[key] for key in kept},
        "options": record.options,
        "result": record.result,
        "files": [asdict(f) for f in record.files],
        "outcomes": [asdict(o) for o in outcomes],
    }


@dataclass(slots=True)
class _Done:
    """What `Exported` tells in the end, gathered on the way."""

    records: int = 0
    photographs: int = 0
    left_out: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Told:
    """What of a record can be damaged, read before a file of it is written."""

    record: Record
    listed: dict[str, Any]
    facts: tuple[tuple, ...]  # of each file: side, time, make and model, for the table
    profile: bytes
    report: bytes


def _write_all(
    archive: Archive,
    query: Query,
    write: Write,
    with_location: bool,
    done: _Done,
    progress: Callable[[int], None] | None,
) -> None:
    rows = _photograph_rows(archive, query, write, with_location, done, progress)
    _write_table(write, "photographs", PHOTO_HEAD, rows)
    _write_table(write, "records", RECORD_HEAD, map(record_row, entries(archive, query)))
    _write_table(write, "outcomes", OUTCOME_HEAD, _outcome_rows(archive, query))
    note = AS_TAKEN if with_location else STRIPPED
    note += "".join(f"Not here: {text}\n" for text in done.left_out + done.lost)
    write("README.txt", README.format(photographs=note).encode())


def _photograph_rows(
    archive: Archive,
    query: Query,
    write: Write,
    with_location: bool,
    done: _Done,
    progress: Callable[[int], None] | None,
) -> Iterator[tuple]:
    """Write the folder of each record, in the end the walls, and give the rows of photographs."""
    walls: dict[tuple[str, str], dict[str, Entry]] = {}
    for count, entry in enumerate(entries(archive, query), 1):
        try:
            told = _told(archive, entry)
        except DAMAGED:
            done.lost.append(f"record {entry.record} is damaged: archive verify tells more.")
            continue
        folder = numbered(f"{entry.record:06d}", str(entry.joint))
        yield from _photographs(archive, told, folder, write, with_location, done)
        listed = json.dumps(told.listed, ensure_ascii=False, indent=1)
        write(f"{folder}/record.json", listed.encode())
        write(f"{folder}/profile.csv", told.profile)
        write(f"{folder}/report.html", told.report)
        logs = walls.setdefault((entry.joint.building.lower(), entry.joint.wall.lower()), {})
        logs.setdefault(entry.joint.log.lower(), entry)  # the latest comes first
        done.records += 1
        if progress:
            progress(count)
    for number in unreadable(archive):
        if not query.records or number in query.records:
            done.lost.append(f"record {number} is damaged: archive verify tells more.")
    _write_walls(archive, [[*logs.values()] for logs in walls.values()], write)


def _outcome_rows(archive: Archive, query: Query) -> Iterator[tuple]:
    for entry in entries(archive, query):
        with suppress(*DAMAGED):  # it was named with its record
            for outcome in outcomes_of(archive, entry.record):
                yield from outcome_rows(entry.record, outcome)


def _told(archive: Archive, entry: Entry) -> _Told:
    record, outcomes = load_record(archive, entry.record), outcomes_of(archive, entry.record)
    known = {p["sha256"]: p for p in record.result["photos"]}
    facts = []
    for file in record.files:
        fact = known.get(file.sha256, {})
        camera = fact.get("camera") or {}
        facts.append((fact.get("side"), fact.get("taken"), camera.get("make"), camera.get("model")))
    return _Told(
        record,
        record_json(record, outcomes),
        tuple(facts),
        _profile_csv(record.result),
        _report(archive, record, outcomes).encode(),
    )


def _photographs(
    archive: Archive, told: _Told, folder: str, write: Write, with_location: bool, done: _Done
) -> Iterator[tuple]:
    """Write the files of a record, tell in the listing what became of each, and give their rows."""
    files = zip(told.record.files, told.listed["files"], told.facts, strict=True)
    for n, (file, item, (side, taken, make, model)) in enumerate(files, 1):
        name = "picture.jpg"
        if file.role == "photograph":
            name = f"photographs/{numbered(f'{n:02d}', file.name)}"
        content, why = _content(archive, told.record, file, with_location, done)
        digest = content and hashlib.sha256(content).hexdigest()
        if content is not None:
            write(f"{folder}/{name}", content)
        item |= {"exported": content and name, "exported_sha256": digest, "left_out": why or None}
        if file.role == "photograph":
            done.photographs += content is not None
            yield (
                told.record.entry.record, content and f"{folder}/{name}", file.name, side,
                "yes" if file.used else "no", taken, make, model, file.sha256, digest, why,
            )  # fmt: skip


def _content(
    archive: Archive, record: Record, file: StoredFile, with_location: bool, done: _Done
) -> tuple[bytes | None, str]:
    """What is exported of a file, and if nothing, why."""
    try:
        content = read_file(archive, file)
    except MeasurementError:  # whose text names folders of this computer
        why = "missing or damaged in the archive"
        done.lost.append(f"record {record.entry.record}: {file.name} is {why}.")
        return None, why
    if with_location:
        return content, ""
    try:
        return scrubbed(content), ""
    except NotScrubbable as error:
        done.left_out.append(
            f"record {record.entry.record}: {file.name} is {error}; --with-location exports it as "
            "it is."
        )
        return None, str(error)


def _report(archive: Archive, record: Record, told: tuple[Outcome, ...]) -> str:
    """The report of a joint; its photographs are drawn small and anew, so that they tell nothing."""
    from gapvision.answer.report.html import joint_html
    from gapvision.archive.report import report_of_record

    return joint_html(report_of_record(archive, record, told))


def _write_walls(archive: Archive, walls: list[list[Entry]], write: Write) -> None:
    """A report of each wall of which there are several logs."""
    from gapvision.answer.report.html import wall_html
    from gapvision.archive.report import report_of_record

    several = [logs for logs in walls if len(logs) > 1]
    for number, logs in enumerate(several, 1):
        # It shows no photographs, which would only be decoded for nothing.
        records = [replace(load_record(archive, e.record), files=()) for e in logs]
        units = records[0].units
        reports = [report_of_record(archive, record, (), units) for record in records]
        wall = f"{logs[0].joint.building}, wall {logs[0].joint.wall}".replace(".", "-")
        write(f"{numbered(f'wall-{number:03d}', wall)}.html", wall_html(reports).encode())


def _profile_csv(result: dict) -> bytes:
    columns = [result["profile"][key] for key, _ in PROFILE_HEAD]
    file = io.BytesIO()
    write_csv(file, tuple(name for _, name in PROFILE_HEAD), zip(*columns, strict=True))
    return file.getvalue()


def _write_table(write: Write, name: str, head: tuple[str, ...], rows: Iterable[tuple]) -> None:
    with scratch_file() as file:
        write_csv(file, head, rows)
        file.seek(0)
        write(f"{name}.csv", file)
