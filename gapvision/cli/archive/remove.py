"""`gapvision archive remove`: joints taken out for good."""

from __future__ import annotations

import getpass
from typing import Annotated

import typer

from gapvision.cli.archive.records import (
    opened_archive,
    read_text,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    exit_status,
    say,
)


def remove(
    records: Annotated[list[int], typer.Argument(metavar="RECORD...", help="Numbers in the list.")],
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why, for whoever looks later.")] = "",
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who.  [default: you]")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    archive: ArchiveOption = None,
) -> None:
    """Remove joints; who did it, when and why is kept.

    Photographs go where no other joint needs them.

    \b
    Example:
      gapvision archive remove 12 --reason "wrong wall, kept again as 13"
    """
    reason = read_text("--reason", reason)
    by = by and read_text("--by", by)
    with exit_status(), opened_archive(archive, clearing=True) as opened:
        from gapvision.archive.query import load_entry
        from gapvision.archive.remove import remove_record
        from gapvision.archive.text import removed_text

        records = list(dict.fromkeys(records))
        for number in records:
            e = load_entry(opened, number)
            say(f"Record {number}: {e.joint}, revision {e.revision}, kept {e.kept_at[:10]}.")
        if not yes:
            typer.confirm("Remove for good, with photographs and outcomes?", abort=True, err=True)
        left = 0
        for number in records:
            done = remove_record(opened, number, by or _user(), reason)
            say(removed_text(number, done))
            left += len(done.left)
        if left:
            say("What was left behind goes with: gapvision archive verify --repair", err=True)
            raise typer.Exit(1)


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a computer that has no name for whoever uses it
        return "unknown"
