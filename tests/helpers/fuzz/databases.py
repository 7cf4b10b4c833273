"""An archive whose database somebody has had in hand, and the tables that it gives to spreadsheets."""

from __future__ import annotations

import csv
import io
import shutil
import sqlite3
import tempfile
from functools import cache
from pathlib import Path

from helpers.archives import JOINT, keep, new_record
from helpers.commands import run
from helpers.fuzz.entrance import Entrance, odd_texts
from hypothesis import strategies as st

from gapvision.archive.outcome import Outcome
from gapvision.archive.record import add_record
from gapvision.archive.store import DATABASE, open_archive
from gapvision.archive.table import BOM, OUTCOME_HEAD, outcome_rows, write_csv
from gapvision.inputs.joint_name import parse_joint_name

_CELLS = {
    "record": (
        "building", "wall", "log", "revision", "kept_at", "kept_utc", "program", "status", "cover_mm",
        "set_to_mm", "setting_mm", "setting_U95_mm", "widest_gap_mm", "remeasured",
    ),
    "document": ("options", "result"),
    "content": ("sha256", "bytes", "suffix"),
    "record_file": ("position", "role", "name", "given", "used", "sha256"),
    "outcome": ("added_at", "date", "instead", "setting_used_mm", "narrowest_cover_mm", "remarks"),
    "outcome_value": ("kind", "station_mm", "to_mm", "value_mm", "u_mm", "setting_mm"),
    "meta": ("key", "value"),
}  # fmt: skip
_CELL = st.one_of(
    st.none(), st.integers(-(2**63), 2**63 - 1), st.floats(), st.binary(max_size=40), odd_texts,
    st.sampled_from(("{}", "[]", "null", '{"format": 1}', "../../x", "/etc/hostname", "9999-12-31")),
)  # fmt: skip
_COMMANDS = (
    ("archive", "list"), ("archive", "show", "1"), ("archive", "verify"),
    ("archive", "outcomes"), ("archive", "search", "Lake"), ("archive", "list", "--json", "-"),
    ("archive", "list", "--csv", "-"), ("report", "1", "--out", "OUT/r.html"),
    ("archive", "export", "OUT/exported"),
    ("archive", "outcome", "2", "--caliper", "31@0"), ("archive", "remove", "2", "--yes"),
    ("archive", "verify", "--repair"),
)  # fmt: skip


@cache
def _kept() -> Path:
    """An archive of two records, one with an outcome."""
    folder = Path(tempfile.mkdtemp(prefix="gapvision-fuzz-")) / "kept"
    with open_archive(folder, create=True) as archive:
        keep(archive)
        add_record(archive, new_record(of=JOINT))
    for what in (("--caliper", "38@310"), ("--trial", "49:78@0"), ("--remarks", "sat well")):
        done = run("archive", "outcome", "1", *what, "--archive", folder)
        assert done.exit_code == 0, done.output
    return folder


@st.composite
def _cells(draw):
    """Cells to overwrite, and commands to give."""
    changes = []
    for _ in range(draw(st.integers(1, 3))):
        table = draw(st.sampled_from(sorted(_CELLS)))
        changes.append((table, draw(st.sampled_from(_CELLS[table])), draw(_CELL)))
    return changes, draw(st.lists(st.sampled_from(_COMMANDS), min_size=1, max_size=3))


def _check_cells(given, folder: Path) -> None:
    changes, commands = given
    kept = folder / "kept"
    shutil.copytree(_kept(), kept)
    db = sqlite3.connect(kept / DATABASE)
    db.execute("PRAGMA ignore_check_constraints = ON")
    for table, column, value in changes:
        try:
            with db:
                first = f"SELECT min(rowid) FROM {table}" if table != "meta" else "SELECT NULL"
                where = "1" if table == "meta" else f"rowid = ({first})"
                db.execute(f"UPDATE {table} SET {column} = ? WHERE {where}", (value,))
        except (
            sqlite3.IntegrityError,
            sqlite3.OperationalError,
            UnicodeEncodeError,
            OverflowError,
        ):
            continue
    db.close()
    for command in commands:
        words = [
            str(folder) + w.removeprefix("OUT") if w.startswith("OUT/") else w for w in command
        ]
        result = run(*words, "--archive", kept)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert result.exit_code in (0, 1, 2), f"exit status {result.exit_code}"
        assert result.exit_code != 2, f"{words} is wrong usage: {result.stderr}"
        if result.exit_code:
            assert result.stderr.strip() or result.stdout.strip(), "refused without a word"


def _check_table(given, folder: Path) -> None:
    """What was told comes back from the table, and no cell of it is a formula."""
    remarks, names = given
    told = Outcome("2026-05-14", 41.0, remarks=remarks, added_at="2026-05-15T09:00:00+02:00")
    file = io.BytesIO()
    write_csv(file, OUTCOME_HEAD, outcome_rows(7, told))
    rows = list(csv.reader(io.StringIO(file.getvalue().decode().removeprefix(BOM), newline="")))
    assert tuple(rows[0]) == OUTCOME_HEAD
    for row in rows:
        assert len(row) == len(OUTCOME_HEAD)
        for cell in row:
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), f"{cell!r} is a formula"
    if remarks:
        assert rows[-1][-1].removeprefix("'") == remarks.removeprefix("'")
    try:
        assert parse_joint_name(*names).title.isprintable()
    except ValueError as error:
        assert str(error)


ENTRANCES = {
    "a database's cells": Entrance(_cells(), _check_cells, 8),
    "tables for spreadsheets": Entrance(
        st.tuples(odd_texts, st.tuples(odd_texts, odd_texts, odd_texts)), _check_table, 40
    ),
}
