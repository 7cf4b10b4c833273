"""`gapvision archive verify`: whether the archive is whole."""

from __future__ import annotations

from typing import Annotated

import typer

from gapvision.cli.archive.records import (
    opened_archive,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    exit_status,
    progress_bar,
    say,
)


def verify(
    repair: Annotated[
        bool, typer.Option("--repair", help="Remove what interrupted runs left behind.")
    ] = False,
    archive: ArchiveOption = None,
) -> None:
    """Check every photograph, record and the database.

    \b
    Example:
      gapvision archive verify --repair

    Exit status: 0 whole, 1 a fault was found, 2 wrong usage.
    """
    with exit_status(), opened_archive(archive) as opened:
        from gapvision.archive import verify as archive_verify

        removed = archive_verify.repair(opened) if repair else 0
        with progress_bar() as progress:
            found = archive_verify.verify(opened, progress)
        if removed:
            say(f"Removed what interrupted runs left: {removed} files.")
        for fault in found.faults:
            say(f"Fault: {fault}")
        if found.strays:
            say(f"Left by interrupted runs: {len(found.strays)} files; --repair removes them.")
        checked = f"Records: {found.records}, files: {found.files}, faults: {len(found.faults)}."
        say(f"{checked} {'NOT WHOLE' if found.faults else 'Whole'}: {opened.folder}")
        if found.faults:
            raise typer.Exit(1)
