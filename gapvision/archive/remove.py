"""Removing a record: what it was, who removed it, when and why stays; its photographs go."""

from __future__ import annotations

import json
from dataclasses import astuple

from gapvision.archive.query import load_entry
from gapvision.archive.record import now_here
from gapvision.archive.store import Archive, finish_removal, writing


def remove_record(archive: Archive, record: int, by: str, reason: str) -> int:
    """Remove a record with its outcomes, and the files that no other record needs.

    Parameters
    ----------
    archive : Archive
    record : int
    by, reason : str
        Who removes it and why, for the tombstone.

    Returns
    -------
    int
        How many files were removed.

    Raises
    ------
    MeasurementError
        ``no-record``, and as `store.writing`. Where only the files could not be removed any
        more, the record is gone, and verify --repair finishes it.
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
    removed = finish_removal(archive)
    # The journal still has what the record said, until it is written over.
    archive.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return removed
