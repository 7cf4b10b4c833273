"""Removing a record: what it was, who removed it, when and why stays; its photographs go."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import astuple, replace

from gapvision.archive.originals import Removal, finish_removal
from gapvision.archive.query import load_entry
from gapvision.archive.record import now_here
from gapvision.archive.store import Archive, writing
from gapvision.errors import MeasurementError

SOON_S = 2  # that the journal waits for readers: it can also go later


def remove_record(archive: Archive, record: int, by: str, reason: str) -> Removal:
    """Remove a record with its outcomes, and the files that no other record needs.

    Parameters
    ----------
    archive : Archive
    record : int
    by, reason : str
        Who removes it and why, for the tombstone.

    Returns
    -------
    Removal
        How many files went too, and what could not go: the record itself is gone then all the same.

    Raises
    ------
    MeasurementError
        ``no-record``, and as `store.writing`; nothing is removed then.
    """
    with writing(archive) as db:
        e = load_entry(archive, record)
        files = [
            {"role": role, "name": name, "sha256": sha256}
            for role, name, sha256 in db.execute(
                "SELECT role, name, sha256 FROM record_file WHERE record = ? ORDER BY position",
                (record,),
            )
        ]
        db.execute(
            "INSERT INTO tombstone VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                record,
                *astuple(e.joint),
                e.revision,
                e.kept_at,
                now_here(),
                by,
                reason,
                json.dumps(files, ensure_ascii=False),
            ),
        )
        db.execute("DELETE FROM words WHERE rowid = ?", (record,))
        db.execute(
            "DELETE FROM record WHERE record = ?", (record,)
        )  # and by it all that is its own
        needless = "sha256 NOT IN (SELECT sha256 FROM record_file)"
        mine = [(f["sha256"],) for f in files]
        db.executemany(
            f"INSERT OR IGNORE INTO leftover SELECT sha256 FROM content WHERE sha256 = ? AND {needless}",
            mine,
        )
        db.executemany(f"DELETE FROM content WHERE sha256 = ? AND {needless}", mine)
    try:
        done = finish_removal(archive)
    except MeasurementError as error:
        done = Removal(0, (error.text,))
    journal = _emptied_journal(archive)
    return replace(done, left=(*done.left, journal)) if journal else done


def _emptied_journal(archive: Archive) -> str:
    """The journal still has what the record said, until it is written over: why it could not be."""
    db = archive.db
    wait_ms = db.execute("PRAGMA busy_timeout").fetchone()[0]
    why = "another process is reading"
    try:
        db.execute(f"PRAGMA busy_timeout = {SOON_S * 1000}")
        if not db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]:
            return ""
    except sqlite3.Error as error:
        why = str(error)
    finally:
        db.execute(f"PRAGMA busy_timeout = {wait_ms}")
    return f"What it said stands in the journal, archive.sqlite-wal, until the next who writes ({why})."
