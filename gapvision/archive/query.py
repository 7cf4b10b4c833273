"""What is in an archive: lists, searches, and one record with all that belongs to it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from gapvision.archive.store import Archive
from gapvision.errors import MeasurementError
from gapvision.inputs.joint_name import JointName


@dataclass(frozen=True, slots=True)
class Entry:
    """A record as lists show it; columns of the table ``record``, lengths in mm."""

    record: int
    joint: JointName
    revision: int
    kept_at: str
    kept_utc: str
    program: str
    status: str
    cover_mm: float
    set_to_mm: float
    setting_mm: float
    setting_U95_mm: float | None
    widest_gap_mm: float
    widest_gap_U95_mm: float | None
    remeasured: int | None

    @property
    def columns(self) -> dict[str, object]:
        """Its columns by their names, in their order."""
        values = asdict(self)
        return {"record": values.pop("record"), **values.pop("joint"), **values}


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A file of a record; ``role`` is ``"photograph"`` or ``"picture"``, ``given`` the option it came by."""

    name: str
    role: str
    given: str
    used: bool
    sha256: str
    bytes: int
    suffix: str


@dataclass(frozen=True, slots=True)
class Record:
    """A record whole: its entry, what was asked, the answer's JSON, and its files in order."""

    entry: Entry
    options: dict
    result: dict
    files: tuple[StoredFile, ...]

    @property
    def photographs(self) -> tuple[StoredFile, ...]:
        """The files but for the picture."""
        return tuple(f for f in self.files if f.role == "photograph")


@dataclass(frozen=True, slots=True)
class Query:
    """Which records are wanted; None and empty stand for all.

    ``since_utc`` and ``until_utc`` are UTC times as in the table ``record``, the second exclusive; ranges
    are (lowest or None, highest or None) in mm; ``text`` are beginnings of words, all of which must
    occur; ``with_outcome`` asks for joints of which something was told later.
    """

    building: str | None = None
    wall: str | None = None
    log: str | None = None
    since_utc: str | None = None
    until_utc: str | None = None
    status: str | None = None
    gap_mm: tuple[float | None, float | None] = (None, None)
    setting_mm: tuple[float | None, float | None] = (None, None)
    text: str = ""
    records: tuple[int, ...] = ()
    with_outcome: bool = False


_ENTRY = ", ".join(f"r.{f.name}" for f in fields(Entry)).replace(
    "r.joint", "r.building, r.wall, r.log"
)
_CONDITIONS = {
    "building": "r.building = ?",
    "wall": "r.wall = ?",
    "log": "r.log = ?",
    "since_utc": "r.kept_utc >= ?",
    "until_utc": "r.kept_utc < ?",
    "status": "r.status = ?",
}
_RANGES = {"gap_mm": "r.widest_gap_mm", "setting_mm": "r.set_to_mm"}


def entries(archive: Archive, query: Query, limit: int | None = None) -> Iterator[Entry]:
    """The records wanted, latest first, one at a time."""
    tables, order = "record r", "r.record"
    conditions: list[str] = []
    values: list[object] = []
    for key, condition in _CONDITIONS.items():
        if (value := getattr(query, key)) is not None:
            conditions.append(condition)
            values.append(value)
    for key, column in _RANGES.items():
        for bound, sign in zip(getattr(query, key), (">=", "<="), strict=True):
            if bound is not None:
                conditions.append(f"{column} {sign} ?")
                values.append(bound)
    if query.records:
        conditions.append(f"r.record IN ({', '.join('?' * len(query.records))})")
        values += query.records
    if query.with_outcome:
        conditions.append("r.record IN (SELECT record FROM outcome)")
    if words := _words(query.text):
        # Of a common word alone the latest are at hand; with more to ask, that is asked first, since
        # fetching the record of each place of the word would be slow. "+": not by that index.
        if conditions:
            conditions.append("+r.record IN (SELECT rowid FROM words WHERE words MATCH ?)")
        else:
            tables = "words CROSS JOIN record r ON r.record = words.rowid"
            conditions, order = ["words MATCH ?"], "words.rowid"
        values.append(words)
    where = f"WHERE {' AND '.join(conditions)}" if conditions else ""
    sql = f"SELECT {_ENTRY} FROM {tables} {where} ORDER BY {order} DESC LIMIT ?"
    with closing(archive.db.execute(sql, [*values, -1 if limit is None else limit])) as rows:
        for row in rows:
            yield _entry(*row)


def load_entry(archive: Archive, record: int) -> Entry:
    """A record as lists show it.

    Raises
    ------
    MeasurementError
        ``no-record``: there is none of this number, or it was removed, when, by whom and why.
    """
    sql = f"SELECT {_ENTRY} FROM record r WHERE record = ?"
    try:
        row = archive.db.execute(sql, (record,)).fetchone()
    except OverflowError:  # more digits than SQLite's numbers have
        row = None
    if row is None:
        raise MeasurementError("no-record", _no_record(archive, record))
    return _entry(*row)


def load_record(archive: Archive, record: int) -> Record:
    """A record with all that belongs to it.

    Raises
    ------
    MeasurementError
        ``no-record`` as `load_entry`; ``bad-record`` where its JSON cannot be read.
    """
    entry = load_entry(archive, record)
    # As bytes: a text that is no UTF-8 any more is a fault of this record, not of SQLite.
    options, result = archive.db.execute(
        "SELECT CAST(options AS BLOB), CAST(result AS BLOB) FROM document WHERE record = ?",
        (record,),
    ).fetchone() or (b"", b"")
    try:
        documents = json.loads(options), json.loads(result)
    except ValueError as error:
        raise MeasurementError(
            "bad-record",
            f"Record {record} cannot be read ({error}): run archive verify, and restore the "
            "archive from a copy.",
        ) from None
    return Record(entry, *documents, files_of(archive, record))


def files_of(archive: Archive, record: int) -> tuple[StoredFile, ...]:
    """The files of a record in the order in which they were given."""
    rows = archive.db.execute(
        "SELECT f.name, f.role, f.given, f.used, f.sha256, c.bytes, c.suffix FROM record_file f"
        " JOIN content c USING (sha256) WHERE f.record = ? ORDER BY f.position",
        (record,),
    )
    return tuple(StoredFile(*row[:3], bool(row[3]), *row[4:]) for row in rows)


def read_file(archive: Archive, file: StoredFile) -> bytes:
    """The bytes of a stored file, checked against their hash.

    Raises
    ------
    MeasurementError
        ``photo-damaged`` or ``photo-missing``.
    """
    path = archive.path_of(file.sha256)
    try:
        content = path.read_bytes()
    except OSError:
        raise missing_file(file, path) from None
    if hashlib.sha256(content).hexdigest() != file.sha256:
        raise MeasurementError(
            "photo-damaged",
            f"{file.name} in the archive ({path}) is no longer what was stored: restore it from a "
            "copy of the archive, or keep a measurement with the original file again.",
        )
    return content


def missing_file(file: StoredFile, path: Path) -> MeasurementError:
    """What is said of a stored file that is not there."""
    return MeasurementError(
        "photo-missing",
        f"{file.name} is not in the archive any more ({path}): restore it from a copy of the "
        "archive, or keep a measurement with the original file again.",
    )


def _entry(record: int, building: str, wall: str, log: str, *others) -> Entry:
    return Entry(record, JointName(building, wall, log), *others)


def _words(text: str) -> str:
    """A search of FTS5 for beginnings of words, each quoted so that no sign in it commands."""
    words = [w.replace('"', '""') for w in text.split() if any(c.isalnum() for c in w)]
    return " ".join(f'"{word}"*' for word in words)


def _no_record(archive: Archive, record: int) -> str:
    try:
        removed = archive.db.execute(
            "SELECT building, wall, log, removed_at, removed_by, reason FROM tombstone"
            " WHERE record = ?",
            (record,),
        ).fetchone()
    except OverflowError:  # more digits than SQLite's numbers have
        removed = None
    if removed is None:
        return f"There is no record {record} in {archive.folder}: archive list tells the numbers."
    *joint, at, by, why = removed
    removed = f"Record {record} ({JointName(*joint)}) was removed on {at[:10]} by {by}"
    return f"{removed}: {why or 'no reason told'}."
