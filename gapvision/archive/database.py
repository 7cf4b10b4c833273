"""An archive's database: opened to write, or where that cannot be, to read; its version and its tables."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import tempfile
import time
from contextlib import closing, suppress
from pathlib import Path

from gapvision.archive.refusals import (
    DATABASE,
    UNREACHABLE,
    WAIT_S,
    cause_of,
    code_of,
    damaged,
    refusal,
)
from gapvision.archive.schema import STEPS, bring_up, has_tables, is_ours, version_of, what_differs
from gapvision.errors import MeasurementError
from gapvision.files import open_regular, part_file, settle, sync_folder, work_folder

PHOTOS = "photos"
_BESIDE = ("-wal", "-journal")  # what has changes that the database has not yet


def opened(path: Path, create: bool) -> tuple[sqlite3.Connection, str]:
    """The database with tables of the present version, and why it can only be read."""
    try:
        return _open_to_write(path), ""
    except (OSError, sqlite3.Error) as error:
        code = code_of(error)
        if create or not code.startswith(("SQLITE_FULL", *UNREACHABLE)):
            raise
        code = cause_of(path.parent) or "SQLITE_READONLY"
        db = None
        with suppress(OSError, sqlite3.Error):
            db = _open_to_read(path)
        if db is None:
            raise
    return db, code


def _open_to_write(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    try:
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA fullfsync = ON")  # macOS: through the disk's own cache too
        db.execute("PRAGMA secure_delete = ON")  # what is removed is gone from the file
        _set_up(db)
        new = _check_version(db, path.parent)
        _set_wal(db)
        if new:
            _bring_up(db, path.parent)
        _check_tables(db, path.parent)
    except BaseException:
        db.close()
        raise
    return db


def _open_to_read(path: Path) -> sqlite3.Connection:
    """The database where nothing may be written, not even a lock."""
    if any(bytes_of(path.with_name(path.name + end)) for end in _BESIDE):
        db = _copy_in_memory(path)
    else:
        uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
        db = sqlite3.connect(uri, uri=True, isolation_level=None)
    try:
        _set_up(db)
        if _check_version(db, path.parent):
            raise refusal(path.parent, "SQLITE_READONLY", "", "its tables are of an older version")
        _check_tables(db, path.parent)
    except BaseException:
        db.close()
        raise
    return db


def _copy_in_memory(path: Path) -> sqlite3.Connection:
    """The database with what its journal has, which SQLite only reads where it may write."""
    with work_folder(Path(tempfile.gettempdir())) as folder:
        for name in (path.name, *(path.name + end for end in _BESIDE)):
            if bytes_of(path.with_name(name)):
                with open_regular(path.with_name(name)) as old, part_file(folder) as new:
                    shutil.copyfileobj(old, new)
                    settle(new, folder / name, overwrite=False)
        with closing(sqlite3.connect(folder / path.name)) as copy:
            return in_memory(copy)


def in_memory(db: sqlite3.Connection) -> sqlite3.Connection:
    """A copy of a database that can be written to, whatever it is a copy of."""
    memory = sqlite3.connect(":memory:", isolation_level=None)
    try:
        db.backup(memory)
    except BaseException:
        memory.close()
        raise
    return memory


def _set_up(db: sqlite3.Connection) -> None:
    """What holds for reading and writing; a database may come from anybody."""
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA trusted_schema = OFF")
    # A text that is no UTF-8 any more must not hide the others.
    db.text_factory = lambda raw: raw.decode("utf-8", "replace")


def check_ordinary(path: Path) -> None:
    """SQLite would follow links, and wait at a pipe for ever."""
    for place in (path, *(path.with_name(path.name + end) for end in (*_BESIDE, "-shm"))):
        if os.path.lexists(place) and not stat.S_ISREG(os.lstat(place).st_mode):
            raise MeasurementError(
                "archive-damaged",
                f"{place} is no file but a link, a folder or a device: put the file itself there.",
            )


def bytes_of(path: Path) -> int:
    """Its size; 0 where there is none."""
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def _set_wal(db: sqlite3.Connection) -> None:
    """Switch to WAL; SQLite does not wait by itself for others that open a new archive too.

    Where the journal cannot be WAL, as on some network disks, the other kind is as safe.
    """
    if db.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        return
    until = time.monotonic() + WAIT_S
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _check_version(db: sqlite3.Connection, folder: Path) -> bool:
    """Whether its tables are still to be made or brought up."""
    db.execute("BEGIN")  # one state of it: another process may be making the archive
    try:
        ours, version = is_ours(db), version_of(db)
    finally:
        db.execute("ROLLBACK")
    if not ours:
        raise MeasurementError(
            "archive-damaged",
            f"{folder / DATABASE} holds something else than an archive: name another folder.",
        )
    if version < 0:
        raise damaged(folder, f"has tables of version {version}, which there never was")
    if version > len(STEPS):
        raise MeasurementError(
            "archive-newer",
            f"The archive {folder} was written by a newer program (tables of version {version}, this "
            f"one knows {len(STEPS)}): use that program, or a newer one.",
        )
    return version < len(STEPS)


def _check_tables(db: sqlite3.Connection, folder: Path) -> None:
    """In a database from elsewhere a table may lack, or do something when it is written to."""
    if wrong := what_differs(db):
        raise damaged(folder, f"is no whole archive ({wrong})")


def _bring_up(db: sqlite3.Connection, folder: Path) -> None:
    db.execute("BEGIN IMMEDIATE")
    try:
        if version_of(db) == 0 and has_tables(db):
            raise damaged(folder, "has tables of no version")
        if version_of(db) == 0 and next((folder / PHOTOS).glob("??/*"), None) is not None:
            # Under the lock, for another process may just have made it. As a new archive the
            # photographs would belong to no record, and verify --repair would set them aside.
            raise MeasurementError(
                "archive-damaged",
                f"{folder} has photographs, but its {DATABASE} is missing or empty: restore that "
                "file from a copy, or name another folder.",
            )
        bring_up(db)  # from the version that it has by now: another process may just have done it
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
    sync_folder(folder)
