"""What SQLite and the disk refuse, each told as what it is."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.files import FORBIDDEN, FULL

DATABASE = "archive.sqlite"
WAIT_S = 60.0  # for another process that writes: a dozen photographs on a slow USB stick
UNCHANGED = "nothing was changed"
UNREACHABLE = ("SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_PERM", "SQLITE_READONLY")
_BUSY = ("SQLITE_BUSY", "SQLITE_LOCKED")
_DAMAGED = ("SQLITE_CORRUPT", "SQLITE_NOTADB")
_OF_THE_DISK = ("SQLITE_FULL", *_BUSY, *_DAMAGED, *UNREACHABLE)
_LEAST_ROOM = 1 << 16  # bytes that SQLite needs to begin at all


@contextmanager
def in_words(
    folder: Path,
    kinds: tuple[type[Exception], ...] = (sqlite3.Error, OSError),
    undone: str = UNCHANGED,
) -> Iterator[None]:
    """Turn what SQLite and the disk refuse into one sentence; mistakes of this program stay bugs."""
    try:
        yield
    except kinds as error:
        code = code_of(error)
        if not code.startswith(_OF_THE_DISK):
            raise
        if code.startswith(("SQLITE_CANTOPEN", "SQLITE_IOERR")):
            code = cause_of(folder) or code
        why = getattr(error, "strerror", None) or str(error)
        raise refusal(folder, code, why, undone) from error


def code_of(error: Exception) -> str:
    """SQLite's name of what went wrong; the like of it for what the disk itself refuses."""
    if isinstance(error, OSError):
        if error.errno in FULL:
            return "SQLITE_FULL"
        return "SQLITE_READONLY" if error.errno in FORBIDDEN else "SQLITE_IOERR"
    return getattr(error, "sqlite_errorname", "")


def cause_of(folder: Path) -> str:
    """Why SQLite could not begin, which it does not tell itself; empty where it is not known."""
    try:
        if shutil.disk_usage(folder).free < _LEAST_ROOM:
            return "SQLITE_FULL"
    except OSError:
        return ""
    return "" if os.access(folder, os.W_OK) else "SQLITE_READONLY"


def refusal(folder: Path, code: str, why: str, undone: str) -> MeasurementError:
    if code == "SQLITE_FULL":
        return MeasurementError(
            "archive-full",
            f"The disk of the archive {folder} is full, and {undone}: make room, then try again.",
        )
    if code.startswith(_BUSY):
        return MeasurementError(
            "archive-busy",
            f"Another process has been writing to the archive {folder} for {WAIT_S:.0f} seconds, and "
            f"{undone}: wait for it, then try again.",
        )
    if code.startswith("SQLITE_READONLY"):
        return MeasurementError(
            "archive-read-only",
            f"The archive {folder} may only be read, not written to, and {undone}: allow writing, or "
            "copy the folder to another disk.",
        )
    if code.startswith(_DAMAGED):
        return damaged(folder, f"is damaged or no archive ({why})")
    return MeasurementError(
        "archive-unreachable",
        f"The archive {folder} cannot be read or written ({why}), and {undone}: check that its disk "
        "is plugged in, then try again.",
    )


def damaged(folder: Path, how: str) -> MeasurementError:
    return MeasurementError(
        "archive-damaged",
        f"{folder / DATABASE} {how}: restore it from a copy; the photographs beside it are "
        "untouched.",
    )
