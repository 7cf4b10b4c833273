"""An archive's folder: its database, opened to read or to write, and the one writer's transaction.

    archive.sqlite      tables as in docs/archive.md
    photos/ab/abcd...   the bytes as they were given, named by their SHA-256: `originals`
    set-aside/          what no record has
    spare               room that `remove` gives up on a full disk

Whoever writes holds SQLite's one write lock from the first byte of a photograph to the commit, so that
two processes never work on the same file, and what a killed one left behind is known to be nobody's.
Files reach the disk before the transaction that names them is committed, and are removed only after
the transaction that forgets them.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from gapvision.archive.database import PHOTOS, bytes_of, check_ordinary, opened
from gapvision.archive.refusals import DATABASE, UNCHANGED, in_words, refusal
from gapvision.errors import MeasurementError
from gapvision.files import part_file, settle, sync_folder

FOLDER_VARIABLE = "GAPVISION_ARCHIVE"  # another place for it, as tests and shared computers need
SPARE = "spare"
SPARE_BYTES = 4 << 20  # a removal's journal: the JSON of the longest log is some 1 MB


@dataclass(frozen=True, eq=False, slots=True)
class Archive:
    """An open archive; ``identity`` is the database file's device and number when it was opened.

    ``only_read`` is why nothing can be written, as the code of a refusal; empty where it can.
    """

    folder: Path
    db: sqlite3.Connection
    identity: tuple[int, int]
    only_read: str = ""

    @property
    def photos(self) -> Path:
        """The folder of the original files."""
        return self.folder / PHOTOS


def archive_folder(told: Path | None = None) -> Path:
    """The folder of the archive: as told, as the environment has it, or where this system keeps data."""
    if told is not None:
        return told
    if os.environ.get(FOLDER_VARIABLE):
        return Path(os.environ[FOLDER_VARIABLE])
    from platformdirs import user_data_path

    return user_data_path("gapvision", appauthor=False) / "archive"


@contextmanager
def open_archive(
    told: Path | None = None, create: bool = False, clearing: bool = False
) -> Iterator[Archive]:
    """Open an archive, and bring its tables to the present version.

    What may only be read is opened for that: without a lock where nothing is in its journal, else as a
    copy in memory.

    Parameters
    ----------
    told : Path, optional
        The folder, instead of `archive_folder`.
    create : bool
        Whether to make one where there is none, and to refuse one that cannot be written to. Of a
        folder that was told only the last name is made: a stick that is not plugged in must not become
        a new archive.
    clearing : bool
        Whether room is to be made on a full disk: what is kept spare for that is given up.

    Raises
    ------
    MeasurementError
        ``no-archive``, ``archive-newer``, ``archive-damaged``, ``archive-busy``, ``archive-full``,
        ``archive-read-only`` or ``archive-unreachable``.
    """
    folder = archive_folder(told)
    path = folder / DATABASE
    with in_words(folder):
        if create:
            _make_folder(folder, parents=told is None)
        elif not path.is_file():
            text = f"There is no archive in {folder}: keep a joint with measure --keep, or name"
            raise MeasurementError("no-archive", f"{text} another folder by --archive.")
        check_ordinary(path)
        if clearing:
            with suppress(OSError):
                (folder / SPARE).unlink()
        db, only_read = opened(path, create)
    with closing(db):
        with in_words(folder):
            if create:
                _keep_spare(folder)
            found = path.stat()
        with in_words(folder, (sqlite3.Error,)):
            yield Archive(folder, db, (found.st_dev, found.st_ino), only_read)
        if clearing and not only_read:
            with suppress(OSError):  # there is no room yet: the next who keeps a joint is told so
                _keep_spare(folder)


@contextmanager
def writing(archive: Archive, undone: str = UNCHANGED) -> Iterator[sqlite3.Connection]:
    """One transaction of the only writer; what it names is on the disk when it ends, or nothing is.

    Parameters
    ----------
    archive : Archive
    undone : str
        What a refusal says of what was to be done.

    Raises
    ------
    MeasurementError
        As `open_archive`; nothing of the transaction is kept then.
    """
    db = archive.db
    if archive.only_read:
        raise refusal(archive.folder, archive.only_read, "", undone)
    with in_words(archive.folder, undone=undone):
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


def _keep_spare(folder: Path) -> None:
    """Room that can be given up: without any, SQLite cannot even delete."""
    if bytes_of(folder / SPARE) >= SPARE_BYTES:
        return
    with suppress(IsADirectoryError), part_file(folder) as file:
        file.write(os.urandom(SPARE_BYTES))  # which no disk stores in less
        settle(file, folder / SPARE, overwrite=True)


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
