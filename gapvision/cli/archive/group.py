"""The commands of `gapvision archive`, in the order in which help lists them."""

from __future__ import annotations

import typer

from gapvision.cli.archive.export import export
from gapvision.cli.archive.listing import list_, search
from gapvision.cli.archive.outcome import outcome
from gapvision.cli.archive.outcomes import outcomes
from gapvision.cli.archive.remeasure import remeasure
from gapvision.cli.archive.remove import remove
from gapvision.cli.archive.show import show
from gapvision.cli.archive.verify import verify

# Modules that open the archive, or load more, are imported inside: help must not wait for them.

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Look up, export and check the joints that measure --keep has kept.",
)

app.command("list")(list_)
for command in (search, show, outcome, outcomes, export, verify, remeasure, remove):
    app.command()(command)
