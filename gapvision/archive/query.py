"""What is in an archive: lists, searches, and one record with all that belongs to it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass, fields
from typing import Any

from gapvision.archive.originals import open_stored, path_of
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

    @property
    def units(self) -> str:
        """The units that the joint was measured in, in which its sentences are kept."""
        return "in" if self.options.get("units") == "in" else "mm"


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


# What reading a record that somebody damaged, or made up, may raise.
DAMAGED = (
    MeasurementError, ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError,
)  # fmt: skip
_TEXTS = ("building", "wall", "log", "kept_at", "kept_utc", "program")
_LENGTHS = {
    "cover_mm": False, "set_to_mm": False, "setting_mm": False, "setting_U95_mm": True,
    "widest_gap_mm": False, "widest_gap_U95_mm": True,
}  # fmt: skip
_MOST = 2**62  # rows: SQLite's numbers have 63 bits
_LARGEST_MM = 1e9  # infinity, and so no number of JSON, is beyond it
# SQLite keeps whatever it is given, in any column: a row with something else than it should have
# cannot be told, and must not keep the others from it. Kinds are told by how SQLite orders them, numbers
# before texts before blobs, in half of the time that typeof takes; "+": as they are, not as the
# column would have them.
_SOUND = " AND ".join(
    (
        *(f"+r.{c} >= '' AND +r.{c} < x''" for c in _TEXTS),
        "r.status IN ('measured', 'doubtful')",
        "typeof(r.revision) = 'integer'",
        "(r.remeasured IS NULL OR typeof(r.remeasured) = 'integer')",
        *(
            f"(+r.{c} BETWEEN -{_LARGEST_MM} AND {_LARGEST_MM}"
            f"{f' OR r.{c} IS NULL' if nullable else ''})"
            for c, nullable in _LENGTHS.items()
        ),
    )
)


def entries(archive: Archive, query: Query, limit: int | None = None) -> Iterator[Entry]:
    """The records wanted, latest first, one at a time; `unreadable` ones are not among them."""
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
    where = " AND ".join((*conditions, _SOUND))
    sql = f"SELECT {_ENTRY} FROM {tables} WHERE {where} ORDER BY {order} DESC LIMIT ?"
    with closing(
        archive.db.execute(sql, [*values, -1 if limit is None else min(limit, _MOST)])
    ) as rows:
        for row in rows:
            yield _entry(*row)


def unreadable(archive: Archive, first: int = 0) -> list[int]:
    """Records from ``first`` on whose columns hold what they cannot, so that no list has them."""
    sql = (
        f"SELECT r.record FROM record r WHERE r.record >= ? AND ({_SOUND}) IS NOT TRUE"
        " ORDER BY r.record"
    )
    return [record for (record,) in archive.db.execute(sql, (first,))]


def verdicts_of(archive: Archive, records: Iterable[int]) -> dict[int, tuple[str, bool]]:
    """What each answer comes to, and whether the joint is ready to scribe; of older records, nothing."""
    wanted = list(records)
    sql = (
        "SELECT record, json_extract(result, '$.verdict'), json_extract(result, '$.ready_to_scribe')"
        f" FROM document WHERE record IN ({', '.join('?' * len(wanted))}) AND json_valid(result)"
    )
    rows = archive.db.execute(sql, wanted)
    return {record: (verdict, bool(ready)) for record, verdict, ready in rows if verdict}


def load_entry(archive: Archive, record: int) -> Entry:
    """A record as lists show it.

    Raises
    ------
    MeasurementError
        ``no-record``: there is none of this number, or it was removed, when, by whom and why;
        ``bad-record`` where a column holds what it cannot.
    """
    sql = f"SELECT {_ENTRY}, ({_SOUND}) IS TRUE FROM record r WHERE record = ?"
    try:
        row = archive.db.execute(sql, (record,)).fetchone()
    except OverflowError:  # more digits than SQLite's numbers have
        row = None
    if row is None:
        raise MeasurementError("no-record", _no_record(archive, record))
    *columns, sound = row
    if not sound:
        raise bad_record(record, "a column of the table record holds what it cannot")
    return _entry(*columns)


def load_record(archive: Archive, record: int) -> Record:
    """A record with all that belongs to it.

    Raises
    ------
    MeasurementError
        ``no-record`` as `load_entry`; ``bad-record`` where its JSON cannot be read.
    """
    from gapvision.answer.as_json import check_answer
    from gapvision.archive.record import options_of

    entry = load_entry(archive, record)
    # As bytes: a text that is no UTF-8 any more is a fault of this record, not of SQLite.
    options, result = archive.db.execute(
        "SELECT CAST(options AS BLOB), CAST(result AS BLOB) FROM document WHERE record = ?",
        (record,),
    ).fetchone() or (b"", b"")
    files = files_of(archive, record)
    try:
        asked, answer = (json.loads(d, parse_constant=_no_number) for d in (options, result))
        check_answer(answer, f"the result of record {record}")
    except MeasurementError as error:
        raise bad_record(record, error.text) from None
    except DAMAGED as error:
        raise bad_record(record, f"{type(error).__name__}: {error}"[:200]) from None
    try:
        options_of(asked, (), (), None)
        if asked.get("units", "mm") not in ("mm", "in"):
            raise ValueError("units")
        camera = asked.get("camera")
        if camera is not None and not all(isinstance(camera[k], str) for k in ("name", "toml")):
            raise ValueError("camera")
    except DAMAGED as error:
        raise bad_record(record, f"its options: {type(error).__name__}: {error}"[:200]) from None
    if not all(map(_is_sound, files)):
        raise bad_record(record, "a column of the table record_file holds what it cannot")
    return Record(entry, asked, answer, files)


def bad_record(record: int, why: str) -> MeasurementError:
    """What is said of a record that cannot be told."""
    return MeasurementError(
        "bad-record",
        f"Record {record} cannot be read ({why.rstrip('.')}): run archive verify, and restore the "
        "archive from a copy.",
    )


def files_of(archive: Archive, record: int) -> tuple[StoredFile, ...]:
    """The files of a record in the order in which they were given."""
    rows = archive.db.execute(
        "SELECT f.name, f.role, f.given, f.used, f.sha256, c.bytes, c.suffix FROM record_file f"
        " JOIN content c USING (sha256) WHERE f.record = ? ORDER BY f.position",
        (record,),
    )
    return tuple(
        StoredFile(name, role, given, bool(used), sha256, size, suffix)
        for name, role, given, used, sha256, size, suffix in rows
    )


def read_file(archive: Archive, file: StoredFile) -> bytes:
    """The bytes of a stored file, checked against their hash.

    Raises
    ------
    MeasurementError
        ``photo-damaged`` or ``photo-missing``.
    """
    again = (
        "restore it from a copy of the archive, or keep a measurement with the original file again."
    )
    try:
        with open_stored(archive, file.sha256) as stored:
            content = stored.read()
    except OSError as error:
        why = (
            ""
            if isinstance(error, FileNotFoundError)
            else f", or cannot be read ({error.strerror})"
        )
        raise MeasurementError(
            "photo-missing",
            f"{file.name} is not in the archive {archive.folder} any more{why}: {again}",
        ) from None
    if hashlib.sha256(content).hexdigest() != file.sha256:
        where = path_of(archive, file.sha256)
        raise MeasurementError(
            "photo-damaged",
            f"{file.name} in the archive ({where}) is no longer what was stored: {again}",
        )
    return content


def _is_sound(file: StoredFile) -> bool:
    texts = file.name, file.role, file.given, file.sha256, file.suffix
    known = file.given in (("photos", "inside") if file.role == "photograph" else ("",))
    return known and all(isinstance(t, str) for t in texts) and isinstance(file.bytes, int)


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of strict JSON")


def _entry(record: int, building: str, wall: str, log: str, *others: Any) -> Entry:
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
