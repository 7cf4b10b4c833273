"""`gapvision archive remeasure`: stored joints measured again."""

from __future__ import annotations

from typing import Annotated

import typer

from gapvision.cli.archive.records import (
    BuildingOption,
    LogOption,
    RecordsArgument,
    SinceOption,
    StatusOption,
    UntilOption,
    WallOption,
    opened_archive,
    query_of,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    UnitsOption,
    exit_status,
    progress_bar,
    say,
    units_of,
)
from gapvision.errors import MeasurementError


def remeasure(
    records: RecordsArgument = None,
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep each new answer as a record beside the old one.")
    ] = False,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
) -> None:
    """Measure stored joints again, and show what changed.

    \b
    Example:
      gapvision archive remeasure 12 --keep
    """
    units = units_of(units)
    query = query_of(building, wall, log, since, until, status, None, None, units, records=records)
    if query == query_of(None, None, None, None, None, None, None, None, units):
        raise typer.BadParameter("name records, or say of which building, wall, date or status.")
    with exit_status(), opened_archive(archive) as opened:
        from gapvision.archive.query import entries, load_record
        from gapvision.archive.remeasure import remeasure as again
        from gapvision.archive.text import changes_text

        for number in records or ():
            load_record(opened, number)  # says that there is none
        numbers = [e.record for e in entries(opened, query)]  # new ones come while this goes on
        refused = 0
        for number in numbers:
            try:
                with progress_bar() as progress:
                    found = again(opened, load_record(opened, number), keep, progress)
            except MeasurementError as error:
                say(f"Refused: record {number}: {error.text}", err=True)
                refused += 1
                continue
            say(changes_text(found.old, found.new, found.program, units))
            if found.kept:
                say(f"  Kept as record {found.kept.record}, revision {found.kept.revision}.")
        if refused:
            raise typer.Exit(1)
