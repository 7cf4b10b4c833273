"""Whether an archive is whole: every file against its hash, every record against its columns."""

from __future__ import annotations

import sqlite3
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date, datetime

from gapvision.archive.database import in_memory
from gapvision.archive.originals import (
    digest,
    finish_removal,
    halves,
    is_hash,
    names_aside,
    set_aside,
    sweep,
    unclaimed,
)
from gapvision.archive.outcome import outcomes_of
from gapvision.archive.query import load_record
from gapvision.archive.record import in_utc
from gapvision.archive.store import Archive, writing
from gapvision.errors import MeasurementError

READERS = 4  # files read and hashed at once: about as fast as a disk gives them
AHEAD = 4 * READERS  # files begun before the first of them is told


@dataclass(frozen=True, slots=True)
class Verified:
    """How much was checked, each fault as a sentence, and files that belong to no record.

    ``halves`` are what killed processes left half written: `repair` removes them. ``unclaimed`` are whole
    files that no record has, of a process that was killed or of a record that was lost: `repair` sets
    them aside. ``aside`` is what lies there already.
    """

    records: int
    files: int
    faults: tuple[str, ...]
    halves: tuple[str, ...]
    unclaimed: tuple[str, ...]
    aside: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Repaired:
    """How many files were removed, which were set aside, and a sentence on each that could not be."""

    removed: int
    aside: tuple[str, ...]
    left: tuple[str, ...]


def verify(archive: Archive, progress: Callable[[int, int], None] | None = None) -> Verified:
    """Check an archive whole, reading every byte of it once.

    Parameters
    ----------
    archive : Archive
    progress : callable, optional
        Called as ``progress(done, total)`` after each file.
    """
    faults = [*_database_faults(archive)]
    files = archive.db.execute("SELECT count(*) FROM content").fetchone()[0]
    suspects = []
    for done, (sha256, fault) in enumerate(_file_faults(archive), 1):
        suspects += [sha256] if fault else []
        if progress:
            progress(done, files)
    records = 0
    for record in _numbers(archive):
        faults += _record_faults(archive, record)
        records += 1
    faults += _outcome_faults(archive)
    with _nobody_writing(archive):  # what another process kept or removed meanwhile is no fault
        faults += [
            fault for sha256 in suspects for _, fault in _file_faults(archive, sha256) if fault
        ]
        left = tuple(halves(archive)), tuple(path.name for path in unclaimed(archive))
    return Verified(records, files, tuple(faults), *left, tuple(names_aside(archive)))


def repair(archive: Archive) -> Repaired:
    """Remove what killed processes left half written, finish removals, set aside what no record has.

    Nothing that a record needs is touched; damage to a record or its files is not cured by it.

    Raises
    ------
    MeasurementError
        As `store.writing`.
    """
    finished = finish_removal(archive)
    aside, left = [], list(finished.left)
    with writing(archive):
        swept = sweep(archive)
        for path in list(unclaimed(archive)):
            try:
                aside.append(set_aside(archive, path))
            except OSError as error:
                left.append(f"{path.name} could not be set aside ({error.strerror}).")
    return Repaired(finished.files + swept, tuple(aside), tuple(left))


@contextmanager
def _nobody_writing(archive: Archive) -> Iterator[None]:
    if archive.only_read:
        yield
    else:
        with writing(archive):
            yield


def _numbers(archive: Archive) -> list[int]:
    rows = archive.db.execute("SELECT record FROM record ORDER BY record DESC")
    return [record for (record,) in rows]


def _database_faults(archive: Archive) -> Iterator[str]:
    """SQLite's own checks, and that of the index of words."""
    for (text,) in archive.db.execute("PRAGMA integrity_check"):
        if text != "ok":
            yield f"archive.sqlite: {text}."
    for table, row, parent, _ in archive.db.execute("PRAGMA foreign_key_check"):
        yield f"archive.sqlite: row {row} of {table} names something that {parent} does not have."
    try:
        _check_words(archive)
    except sqlite3.DatabaseError as error:
        if not getattr(error, "sqlite_errorname", "").startswith("SQLITE_CORRUPT"):
            raise  # it is full, or busy: no fault of the archive
        yield f"archive.sqlite: the index of words is damaged ({error})."
    without = (
        "SELECT record FROM record WHERE record NOT IN (SELECT record FROM document)"
        " OR record NOT IN (SELECT rowid FROM words)"
    )
    for (record,) in archive.db.execute(without):
        yield f"Record {record}: its document or its words are missing."


def _check_words(archive: Archive) -> None:
    """SQLite asks for leave to write for it, though it only reads: where it has none, on a copy."""
    check = "INSERT INTO words (words) VALUES ('integrity-check')"
    try:
        archive.db.execute(check)
    except sqlite3.OperationalError as error:
        if not error.sqlite_errorname.startswith(("SQLITE_READONLY", "SQLITE_FULL")):
            raise
        with closing(in_memory(archive.db)) as copy:
            copy.execute(check)


def _file_faults(archive: Archive, only: object = None) -> Iterator[tuple[object, str]]:
    """Each stored file with what is wrong with it, empty where it is as it was stored."""
    rows = archive.db.execute(
        "SELECT c.sha256, c.bytes, (SELECT 'record ' || f.record || ', ' || f.name FROM record_file f"
        " WHERE f.sha256 = c.sha256 ORDER BY f.record LIMIT 1) FROM content c"
        " WHERE ?1 IS NULL OR c.sha256 = ?1 ORDER BY c.sha256",
        (only,),
    ).fetchall()
    begun: deque[tuple[object, Future[str]]] = deque()
    with ThreadPoolExecutor(READERS) as readers:
        for sha256, size, used_by in rows:
            fault = readers.submit(_file_fault, archive, sha256, size, used_by or "no record")
            begun.append((sha256, fault))
            if len(begun) > AHEAD:
                yield begun[0][0], begun.popleft()[1].result()
        for sha256, fault in begun:
            yield sha256, fault.result()


def _file_fault(archive: Archive, sha256: object, size: object, used_by: str) -> str:
    where = f"{used_by}: photos/{sha256[:2]}/{sha256}" if is_hash(sha256) else used_by
    try:
        found, found_size = digest(archive, sha256)
    except OSError as error:
        return f"{where} cannot be read ({error.strerror})."
    if not found:
        return f"{where} is missing."
    if found != sha256:
        now = f"it has {found_size} bytes instead of {size}" if found_size != size else "damaged"
        return f"{where} is not what was stored: {now}."
    if found_size != size:
        return f"{where}: the table content says {size} bytes, and it has {found_size}."
    return ""


def _record_faults(archive: Archive, record: int) -> Iterator[str]:
    """Whether a record can be read, and its columns say what its documents say."""
    try:
        whole = load_record(archive, record)
    except MeasurementError as error:
        yield error.text
        return
    e, result = whole.entry, whole.result
    told = (
        result["status"], result["setting"]["cover_mm"], result["setting"]["set_to_mm"],
        result["setting"]["value_mm"], result["setting"]["U95_mm"],
        result["widest_gap"]["value_mm"], result["widest_gap"]["U95_mm"],
    )  # fmt: skip
    columns = (
        e.status, e.cover_mm, e.set_to_mm, e.setting_mm, e.setting_U95_mm, e.widest_gap_mm,
        e.widest_gap_U95_mm,
    )  # fmt: skip
    if told != columns:
        yield f"Record {record}: its columns differ from its result."
    if not _is_time(e.kept_at) or in_utc(e.kept_at) != e.kept_utc:
        yield f"Record {record}: its time {e.kept_at} is none, or not {e.kept_utc}."
    stored = {f.sha256 for f in whole.photographs if f.used}
    if stored != {p["sha256"] for p in result["photos"] if p["used"]}:
        yield f"Record {record}: its photographs are not those of its result."


def _outcome_faults(archive: Archive) -> Iterator[str]:
    for (record,) in archive.db.execute("SELECT DISTINCT record FROM outcome").fetchall():
        try:
            outcomes_of(archive, record)
        except MeasurementError as error:
            yield error.text
    for record, day, added in archive.db.execute("SELECT record, date, added_at FROM outcome"):
        try:
            date.fromisoformat(day)
        except (TypeError, ValueError):
            yield f"Record {record}: an outcome's date {day} is none."
        if not _is_time(added):
            yield f"Record {record}: an outcome's time {added} is none."


def _is_time(text: str) -> bool:
    """Whether it is an RFC 3339 time with its offset."""
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except (TypeError, ValueError):
        return False
