"""`gapvision archive list` and `search`: the records wanted, on the screen or in files."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, BinaryIO

import typer

from gapvision.cli.archive.records import (
    BuildingOption,
    GapOption,
    LogOption,
    SettingOption,
    SinceOption,
    StatusOption,
    UntilOption,
    WallOption,
    opened_archive,
    query_of,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    exit_status,
    say,
    units_of,
)

if TYPE_CHECKING:
    from gapvision.archive.query import Query

LIST_FORMAT = "gapvision-archive-list"
SHOWN = 20  # records of a list that fit a screen

CsvOption = Annotated[
    str | None,
    typer.Option("--csv", metavar="FILE", help="Write it for a spreadsheet; - is standard output."),
]
LimitOption = Annotated[
    int | None,
    typer.Option(
        min=1, metavar="N", help=f"At most so many.  [default: {SHOWN} on screen, all in files]"
    ),
]


def list_(
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    gap: GapOption = None,
    setting: SettingOption = None,
    limit: LimitOption = None,
    json_file: JsonOption = None,
    csv_file: CsvOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """List the joints that are kept, the latest first.

    \b
    Examples:
      gapvision archive list --building "Lake house" --wall north
      gapvision archive list --since 2026-05-01 --csv may.csv
    """
    units = units_of(units, {"--gap": gap, "--setting": setting})
    query = query_of(building, wall, log, since, until, status, gap, setting, units)
    _list(query, limit, json_file, csv_file, units, archive, overwrite)


def search(
    words: Annotated[
        list[str], typer.Argument(metavar="WORD...", help="Beginnings of words; all must occur.")
    ],
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    gap: GapOption = None,
    setting: SettingOption = None,
    limit: LimitOption = None,
    json_file: JsonOption = None,
    csv_file: CsvOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Find joints by words in names, cautions and remarks.

    \b
    Example:
      gapvision archive search not-seen lake
    """
    if not any(c.isalnum() for word in words for c in word):
        raise typer.BadParameter("write a word with letters or digits.", param_hint="WORD")
    units = units_of(units, {"--gap": gap, "--setting": setting})
    query = query_of(
        building, wall, log, since, until, status, gap, setting, units, " ".join(words)
    )
    _list(query, limit, json_file, csv_file, units, archive, overwrite)


def _list(
    query: Query,
    limit: int | None,
    json_file: str | None,
    csv_file: str | None,
    units: str,
    told: Path | None,
    overwrite: bool,
) -> None:
    """The records wanted: to files one by one, or as a table on the screen."""
    if json_file == csv_file == STDOUT:
        raise typer.BadParameter("only one of --json and --csv can be standard output.")
    with exit_status(), opened_archive(told) as opened:
        from gapvision.archive.query import bad_record, entries, unreadable

        first = 0
        if csv_file is not None:
            from gapvision.archive.table import RECORD_HEAD, record_row, write_csv

            rows = map(record_row, entries(opened, query, limit))
            _to_file(csv_file, "the table", overwrite, lambda f: write_csv(f, RECORD_HEAD, rows))
        if json_file is not None:
            listed = entries(opened, query, limit)
            _to_file(json_file, "the list", overwrite, lambda f: _write_list(f, listed))
        if csv_file is None and json_file is None:
            from gapvision.archive.text import list_text

            limit = limit or SHOWN
            found = list(entries(opened, query, limit + 1))
            say(list_text(found[:limit], units, len(found) > limit))
            if len(found) > limit:
                first = found[limit].record  # those before it are not listed either way
        for number in unreadable(opened, first):
            say(bad_record(number, "a column holds what it cannot").text, err=True)


def _write_list(file: BinaryIO, found: Iterator) -> None:
    file.write(f'{{"format": "{LIST_FORMAT}", "version": 1, "records": ['.encode())
    for n, entry in enumerate(found):
        file.write(b",\n" * (n > 0) + json.dumps(entry.columns, allow_nan=False).encode())
    file.write(b"]}\n")


def _to_file(name: str, what: str, overwrite: bool, write: Callable[[BinaryIO], object]) -> None:
    """Write piece by piece to standard output, or to a file that is there whole or not at all."""
    if name == STDOUT:
        write(sys.stdout.buffer)
        sys.stdout.buffer.flush()
        return
    from gapvision.files import new_file

    path = Path(name)
    with new_file(path, what, overwrite) as file:
        write(file)
    say(f"Written: {path}")
