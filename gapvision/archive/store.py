"""An archive's folder: the database, the original files by their hash, and writing without half records.

    archive.sqlite      tables as in docs/archive.md
    photos/ab/abcd...   the bytes as they were given, named by their SHA-256

Whoever writes holds SQLite's one write lock from the first byte of a photograph to the commit, so that
two processes never work on the same file, and what a killed one left behind is known to be nobody's.
Files reach the disk before the transaction that names them is committed, and are removed only after
the transaction that forgets them.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import secrets
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from gapvision.archive.schema import STEPS, bring_up, is_ours, version_of
from gapvision.errors import MeasurementError

FOLDER_VARIABLE = "GAPVISION_ARCHIVE"  # another place for it, as tests and shared computers need
DATABASE, PHOTOS = "archive.sqlite", "photos"
NEW = "new-"  # of a file that is being written; names of finished ones are hexadecimal
WAIT_S = 60.0  # for another process that writes: a dozen photographs on a slow USB stick
CHUNK = 1 << 20

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_KNOWN = "SELECT 1 FROM content WHERE sha256 = ?"
_BUSY = ("SQLITE_BUSY", "SQLITE_LOCKED")
_DAMAGED = ("SQLITE_CORRUPT", "SQLITE_NOTADB")
_UNREACHABLE = ("SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_PERM", "SQLITE_READONLY")
_OF_THE_DISK = ("SQLITE_FULL", *_BUSY, *_DAMAGED, *_UNREACHABLE)


@dataclass(frozen=True, eq=False, slots=True)
class Archive:
    """An open archive; ``identity`` is the database file's device and number when it was opened."""

    folder: Path
    db: sqlite3.Connection
    identity: tuple[int, int]

    @property
    def photos(self) -> Path:
        """The folder of the original files."""
        return self.folder / PHOTOS

    def path_of(self, sha256: str) -> Path:
        """Where the file of this hash lies."""
        return self.photos / sha256[:2] / sha256


def archive_folder(told: Path | None = None) -> Path:
    """The folder of the archive: as told, as the environment has it, or where this system keeps data."""
    if told is not None:
        return told
    if os.environ.get(FOLDER_VARIABLE):
        return Path(os.environ[FOLDER_VARIABLE])
    from platformdirs import user_data_path

    return user_data_path("gapvision", appauthor=False) / "archive"


@contextmanager
def open_archive(told: Path | None = None, create: bool = False) -> Iterator[Archive]:
    """Open an archive, and bring its tables to the present version.

    Parameters
    ----------
    told : Path, optional
        The folder, instead of `archive_folder`.
    create : bool
        Whether to make one where there is none. Of a folder that was told only the last name is made:
        a stick that is not plugged in must not become a new archive.

    Raises
    ------
    MeasurementError
        ``no-archive``, ``archive-newer``, ``archive-damaged``, ``archive-busy``, ``archive-full`` or
        ``archive-unreachable``.
    """
    folder = archive_folder(told)
    path = folder / DATABASE
    with in_words(folder):
        if create:
            _make_folder(folder, parents=told is None)
        elif not path.is_file():
            text = f"There is no archive in {folder}: keep a joint with measure --keep, or name"
            raise MeasurementError("no-archive", f"{text} another folder by --archive.")
        db = _connect(path)
    with closing(db):
        with in_words(folder):
            _check_version(db, folder)
            _set_wal(db)
            if version_of(db) < len(STEPS):
                _bring_up(db, folder)
            stat = path.stat()
        with in_words(folder, (sqlite3.Error,)):
            yield Archive(folder, db, (stat.st_dev, stat.st_ino))


@contextmanager
def writing(archive: Archive) -> Iterator[sqlite3.Connection]:
    """One transaction of the only writer; what it names is on the disk when it ends, or nothing is.

    Raises
    ------
    MeasurementError
        As `open_archive`; nothing of the transaction is kept then.
    """
    db = archive.db
    with in_words(archive.folder):
        db.execute("BEGIN IMMEDIATE")
        try:
            yield db
            _check_still_there(archive)
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                with suppress(sqlite3.Error):
                    db.execute("ROLLBACK")
            raise


def put(archive: Archive, source: Path | bytes, sha256: str | None = None) -> tuple[str, int]:
    """Store a file under its hash, inside `writing`; one that is there already is left alone.

    Parameters
    ----------
    archive : Archive
    source : Path or bytes
    sha256 : str, optional
        What it must be: the hash of what was measured.

    Returns
    -------
    str, int
        Its SHA-256 and its number of bytes.

    Raises
    ------
    MeasurementError
        ``photo-changed`` where the file is no longer what it was.
    """
    with open_source(source) as file:
        if sha256 is not None and digest(archive.path_of(sha256))[0] == sha256:
            if not archive.db.execute(_KNOWN, (sha256,)).fetchone():
                _sync_name(archive, sha256)  # its writer may have been killed before that
            return sha256, archive.path_of(sha256).stat().st_size
        archive.photos.mkdir(exist_ok=True)
        new = archive.photos / f"{NEW}{secrets.token_hex(8)}"
        try:
            with new.open("xb") as copy:
                found, size = _copied(file, copy)
                copy.flush()
                os.fsync(copy.fileno())
            if sha256 is not None and found != sha256:
                raise MeasurementError(
                    "photo-changed",
                    f"{Path(source).name} is no longer the file that was measured: leave the "
                    "photographs alone until the answer is there, and measure again.",
                )
            archive.path_of(found).parent.mkdir(exist_ok=True)
            new.replace(archive.path_of(found))
            _sync_name(archive, found)
        except BaseException:
            with suppress(OSError):
                new.unlink()
            raise
    return found, size


def sweep(archive: Archive) -> int:
    """Remove what killed processes left half written, inside `writing`; how many files it was."""
    swept = 0
    for new in archive.photos.glob(f"{NEW}*"):
        new.unlink(missing_ok=True)
        swept += 1
    return swept


def finish_removal(archive: Archive) -> int:
    """Remove the files that removed records left, unless another record needs them by now.

    Returns
    -------
    int
        How many files were waiting for it.
    """
    if archive.db.execute("SELECT 1 FROM leftover").fetchone() is None:
        return 0
    with writing(archive) as db:
        waiting = [row[0] for row in db.execute("SELECT sha256 FROM leftover")]
        for sha256 in waiting:
            if db.execute(_KNOWN, (sha256,)).fetchone() is None:
                archive.path_of(sha256).unlink(missing_ok=True)
        db.execute("DELETE FROM leftover")
    return len(waiting)


def digest(path: Path) -> tuple[str, int]:
    """SHA-256 and number of bytes of a file, read piece by piece; empty and 0 where there is none."""
    if not path.is_file():
        return "", 0
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest(), os.fstat(file.fileno()).st_size


def open_source(source: Path | bytes) -> BinaryIO:
    """What is to be stored, to read from.

    Raises
    ------
    MeasurementError
        ``no-access`` where it cannot be read.
    """
    if isinstance(source, bytes):
        return io.BytesIO(source)
    try:
        return source.open("rb")
    except OSError as error:
        raise _source_gone(source, error) from error


def _sync_name(archive: Archive, sha256: str) -> None:
    """Have the name of a stored file on the disk, and those of the folders that lead to it."""
    for folder in (archive.path_of(sha256).parent, archive.photos, archive.folder):
        sync_folder(folder)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk; Windows does so by itself and knows no such call."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def in_words(
    folder: Path, kinds: tuple[type[Exception], ...] = (sqlite3.Error, OSError)
) -> Iterator[None]:
    """Turn what SQLite and the disk refuse into one sentence; mistakes of this program stay bugs."""
    try:
        yield
    except kinds as error:
        if isinstance(error, OSError):
            code = "SQLITE_FULL" if error.errno in _FULL else "SQLITE_IOERR"
            raise _refusal(folder, code, error.strerror or str(error)) from error
        code = getattr(error, "sqlite_errorname", "")
        if not code.startswith(_OF_THE_DISK):
            raise
        raise _refusal(folder, code, str(error)) from error


def _refusal(folder: Path, code: str, why: str) -> MeasurementError:
    if code == "SQLITE_FULL":
        return MeasurementError(
            "archive-full",
            f"The disk of the archive {folder} is full, and nothing was kept: make room, then try "
            "again.",
        )
    if code.startswith(_BUSY):
        return MeasurementError(
            "archive-busy",
            f"Another process has been writing to the archive {folder} for {WAIT_S:.0f} seconds: "
            "wait for it, then try again.",
        )
    if code.startswith(_DAMAGED):
        return MeasurementError(
            "archive-damaged",
            f"{folder / DATABASE} is damaged or no archive ({why}): restore it from a copy; the "
            "photographs beside it are untouched.",
        )
    return MeasurementError(
        "archive-unreachable",
        f"The archive {folder} cannot be read or written ({why}), and nothing was kept: check that "
        "its disk is plugged in and may be written to, then try again.",
    )


def _connect(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    try:
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA fullfsync = ON")  # macOS: through the disk's own cache too
        db.execute("PRAGMA foreign_keys = ON")
        db.execute("PRAGMA secure_delete = ON")  # what is removed is gone from the file
    except BaseException:
        db.close()
        raise
    return db


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


def _check_version(db: sqlite3.Connection, folder: Path) -> None:
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
    if version > len(STEPS):
        raise MeasurementError(
            "archive-newer",
            f"The archive {folder} was written by a newer program (tables of version {version}, this "
            f"one knows {len(STEPS)}): use that program, or a newer one.",
        )


def _bring_up(db: sqlite3.Connection, folder: Path) -> None:
    db.execute("BEGIN IMMEDIATE")
    try:
        if version_of(db) == 0 and next((folder / PHOTOS).glob("??/*"), None) is not None:
            # Under the lock, for another process may just have made it. As a new archive the
            # photographs would belong to no record, and verify --repair would remove them.
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


def _make_folder(folder: Path, parents: bool) -> None:
    if folder.is_dir():
        return
    if not parents and not folder.absolute().parent.is_dir():
        raise MeasurementError(
            "no-folder",
            f"There is no folder {folder.absolute().parent} to make the archive in: plug its disk "
            "in, or make it first.",
        )
    folder.mkdir(parents=parents, exist_ok=True)
    sync_folder(folder.absolute().parent)


def _check_still_there(archive: Archive) -> None:
    """SQLite would go on writing to a file whose folder was removed meanwhile."""
    stat = (archive.folder / DATABASE).stat()
    if (stat.st_dev, stat.st_ino) != archive.identity:
        raise MeasurementError(
            "archive-unreachable",
            f"The archive {archive.folder} was replaced by another while it was open, and nothing "
            "was kept: try again.",
        )


def _copied(source: BinaryIO, copy: BinaryIO) -> tuple[str, int]:
    hashed, size = hashlib.sha256(), 0
    while piece := _read(source):
        hashed.update(piece)
        copy.write(piece)
        size += len(piece)
    return hashed.hexdigest(), size


def _read(source: BinaryIO) -> bytes:
    try:
        return source.read(CHUNK)
    except OSError as error:
        raise _source_gone(source.name, error) from error


def _source_gone(source: object, error: OSError) -> MeasurementError:
    return MeasurementError(
        "no-access",
        f"{source} could not be read any more ({error.strerror}), so that the joint was not kept: "
        "bring the photograph back and measure again.",
    )
