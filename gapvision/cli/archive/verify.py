"""`gapvision archive verify`: whether the archive is whole."""

from __future__ import annotations

from pathlib import Path
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
        bool,
        typer.Option("--repair", help="Clear away what interrupted runs left."),
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
        from gapvision.archive.text import verified_text

        done = archive_verify.repair(opened) if repair else None
        with progress_bar() as progress:
            found = archive_verify.verify(opened, progress)
        say(verified_text(found, done, opened.folder))
        at_work = _at_work(opened.folder)
        if found.faults or (done and done.left) or at_work:
            raise typer.Exit(1)


def _at_work(archive: Path) -> bool:
    """Tell what the page has at work in the archive; whether anything of it is damaged."""
    from gapvision.page.drafts import DRAFTS, all_drafts
    from gapvision.page.photographs import damaged

    drafts = archive / DRAFTS
    found = all_drafts(drafts) if drafts.is_dir() else []
    if not found:
        return False
    count = f"{len(found)} joint{'s' * (len(found) > 1)}"
    say(f"At work on the page: {count} in {drafts}, in no record yet.")
    faults = damaged(drafts)
    for text in faults:
        say(f"Fault: {text}")
    return bool(faults)
