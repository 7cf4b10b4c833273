"""Whether an archive is whole: every file against its hash, every record against its columns."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from gapvision.archive.query import Query, entries, load_record
from gapvision.archive.record import in_utc, options_of
from gapvision.archive.store import NEW, Archive, digest, finish_removal, sweep, writing
from gapvision.errors import MeasurementError

_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Verified:
    """How much was checked, each fault as a sentence, and files that belong to no record.

    ``strays`` are what killed processes left: nothing is lost by them, and `repair` removes them.
    """

    records: int
    files: int
    faults: tuple[str, ...]
    strays: tuple[str, ...]


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
    for done, fault in enumerate(_file_faults(archive), 1):
        faults += [fault] if fault else []
        if progress:
            progress(done, files)
    records = 0
    for entry in entries(archive, Query()):
        faults += _record_faults(archive, entry.record)
        records += 1
    faults += _outcome_faults(archive)
    return Verified(records, files, tuple(faults), tuple(_strays(archive)))


def repair(archive: Archive) -> int:
    """Remove what killed processes left and finish removals; how many files it was.

    Nothing that a record needs is touched; damage to a record or its files is not cured by it.
    """
    finished = finish_removal(archive)
    with writing(archive):
        swept = sweep(archive)
        for name in list(_strays(archive)):
            (archive.photos / name[:2] / name).unlink(missing_ok=True)
            swept += 1
    return finished + swept


def _database_faults(archive: Archive) -> Iterator[str]:
    """SQLite's own checks, and that of the index of words."""
    for (text,) in archive.db.execute("PRAGMA integrity_check"):
        if text != "ok":
            yield f"archive.sqlite: {text}."
    for table, row, parent, _ in archive.db.execute("PRAGMA foreign_key_check"):
        yield f"archive.sqlite: row {row} of {table} names something that {parent} does not have."
    try:
        archive.db.execute("INSERT INTO words (words) VALUES ('integrity-check')")
    except sqlite3.DatabaseError as error:
        yield f"archive.sqlite: the index of words is damaged ({error})."
    without = (
        "SELECT record FROM record WHERE record NOT IN (SELECT record FROM document)"
        " OR record NOT IN (SELECT rowid FROM words)"
    )
    for (record,) in archive.db.execute(without):
        yield f"Record {record}: its document or its words are missing."


def _file_faults(archive: Archive) -> Iterator[str]:
    """One text for each stored file, empty where it is as it was stored."""
    rows = archive.db.execute(
        "SELECT c.sha256, c.bytes, (SELECT 'record ' || f.record || ', ' || f.name FROM record_file f"
        " WHERE f.sha256 = c.sha256 ORDER BY f.record LIMIT 1) FROM content c ORDER BY c.sha256"
    )
    for sha256, size, used_by in rows:
        where = f"{used_by or 'no record'}: photos/{sha256[:2]}/{sha256}"
        try:
            found, found_size = digest(archive.path_of(sha256))
        except OSError as error:
            yield f"{where} cannot be read ({error.strerror})."
            continue
        if not found:
            yield f"{where} is missing."
        elif found != sha256:
            now = (
                f"it has {found_size} bytes instead of {size}" if found_size != size else "damaged"
            )
            yield f"{where} is not what was stored: {now}."
        elif found_size != size:
            yield f"{where}: the table content says {size} bytes, and it has {found_size}."
        else:
            yield ""


def _record_faults(archive: Archive, record: int) -> Iterator[str]:
    """Whether a record can be read, and its columns say what its documents say."""
    from gapvision.answer.as_json import check_answer

    try:
        whole = load_record(archive, record)
        check_answer(whole.result, f"the result of record {record}")
    except MeasurementError as error:
        yield f"Record {record}: {error.text}"
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
    try:
        options_of(whole.options, (), (), None)
    except (KeyError, TypeError, ValueError) as error:
        yield f"Record {record}: its options cannot be read ({error!r})."


def _outcome_faults(archive: Archive) -> Iterator[str]:
    for record, day, added in archive.db.execute("SELECT record, date, added_at FROM outcome"):
        try:
            date.fromisoformat(day)
        except ValueError:
            yield f"Record {record}: an outcome's date {day} is none."
        if not _is_time(added):
            yield f"Record {record}: an outcome's time {added} is none."


def _strays(archive: Archive) -> Iterator[str]:
    """Names in the folder of files that no record and no removal knows."""
    known = "SELECT 1 FROM content WHERE sha256 = ?"
    for folder in sorted(archive.photos.glob("*")):
        if folder.name.startswith(NEW):
            yield folder.name
            continue
        for path in sorted(folder.glob("*")) if folder.is_dir() else ():
            if (
                _HASH.fullmatch(path.name)
                and not archive.db.execute(known, (path.name,)).fetchone()
            ):
                yield path.name


def _is_time(text: str) -> bool:
    """Whether it is an RFC 3339 time with its offset."""
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False
