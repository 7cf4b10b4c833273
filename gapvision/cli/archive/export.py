"""`gapvision archive export`: joints for people without this program."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
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
    exit_status,
    say,
)


def export(
    target: Annotated[
        Path, typer.Argument(metavar="FOLDER|FILE.zip", help="Where to; must not be there yet.")
    ],
    records: RecordsArgument = None,
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    with_location: Annotated[
        bool,
        typer.Option(
            "--with-location",
            help="Photographs as they are, with location and serial numbers; else without.",
        ),
    ] = False,
    archive: ArchiveOption = None,
) -> None:
    """Write joints for people without this program.

    \b
    Examples:
      gapvision archive export north.zip --building "Lake house" --wall north
      gapvision archive export joint-12 12
    """
    query = query_of(building, wall, log, since, until, status, None, None, "mm", records=records)
    with exit_status(), opened_archive(archive) as opened:
        from gapvision.archive.export import export as write_export

        with _counted("joints") as progress:
            done = write_export(opened, query, target, with_location, progress)
        say(f"Exported: {target}\nJoints: {done.records}, photographs: {done.photographs}.")
        for text in (*done.left_out, *done.lost):
            say(f"Not exported: {text}", err=True)
        if not with_location:
            say("Location and serial numbers were left out of the photographs.")
        if done.lost:
            raise typer.Exit(1)


@contextmanager
def _counted(what: str) -> Iterator[Callable[[int], None] | None]:
    """A count on standard error, where somebody looks at it and nobody knows how many there are."""
    if not sys.stderr.isatty():
        yield None
        return
    yield lambda done: print(f"\r{done} {what}", end="", file=sys.stderr, flush=True)
    print("\r", end="", file=sys.stderr)
