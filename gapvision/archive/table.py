"""Records and outcomes as tables for spreadsheets: RFC 4180 in UTF-8, units in the header."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import astuple
from io import TextIOWrapper
from typing import BinaryIO

from gapvision.archive.outcome import Outcome, columns_of
from gapvision.archive.query import Entry
from gapvision.phrases import DECIMALS

BOM = "\ufeff"  # by it spreadsheets know that a CSV file is UTF-8
RECORD_HEAD = (
    "record", "building", "wall", "log", "revision", "kept (ISO 8601)", "program", "status",
    "cover (mm)", "set to (mm)", "setting needed (mm)", "setting needed half-width 95 % (mm)",
    "widest gap (mm)", "widest gap half-width 95 % (mm)", "re-measured from record",
)  # fmt: skip
OUTCOME_HEAD = (
    "record", "date (ISO 8601)", "added (ISO 8601)", "instead of earlier ones", "what",
    "station (mm)", "to station (mm)", "value (mm)", "standard uncertainty (mm)", "set to (mm)",
    "remarks",
)  # fmt: skip
# A cell that begins so is a formula to a spreadsheet: OWASP, "CSV Injection" (from memory).
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def record_row(e: Entry) -> tuple:
    """A record under `RECORD_HEAD`."""
    return (
        e.record, *astuple(e.joint), e.revision, e.kept_at, e.program, e.status, e.cover_mm,
        e.set_to_mm, e.setting_mm, e.setting_U95_mm, e.widest_gap_mm, e.widest_gap_U95_mm,
        e.remeasured,
    )  # fmt: skip


def outcome_rows(record: int, outcome: Outcome) -> Iterable[tuple]:
    """What was told at one time under `OUTCOME_HEAD`, a row a value."""
    lead = record, outcome.date, outcome.added_at, "yes" if outcome.instead else "no"
    for what, value in (
        ("setting used", outcome.setting_used_mm),
        ("narrowest cover", outcome.narrowest_cover_mm),
    ):
        if value is not None:
            yield (*lead, what, None, None, value, None, None, "")
    for v in outcome.values:
        yield (*lead, v.kind, *columns_of(v)[:5], "")
    if outcome.remarks:
        yield (*lead, "remarks", None, None, None, None, None, outcome.remarks)


def write_csv(file: BinaryIO, head: tuple[str, ...], rows: Iterable[tuple]) -> int:
    """Write a table, one row at a time, and return how many rows it has without the header."""
    text = TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
    writer = csv.writer(text)  # its own defaults are those of RFC 4180, lines ended by CR LF
    text.write(BOM)
    writer.writerow(head)
    count = 0
    for row in rows:
        writer.writerow([_cell(value) for value in row])
        count += 1
    text.detach()
    return count


def _cell(value: object) -> object:
    """Numbers to `DECIMALS`; text that a spreadsheet would take for a formula is marked as text."""
    if isinstance(value, float):
        return round(value, DECIMALS)
    if isinstance(value, str) and value.startswith(_FORMULA):
        return f"'{value}"
    return value
