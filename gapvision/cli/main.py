"""The command line: parse, one call, print."""

from __future__ import annotations

import os
import sys

import typer

from gapvision.cli.archive.group import app as archive
from gapvision.cli.camera import camera
from gapvision.cli.card import card
from gapvision.cli.check import check
from gapvision.cli.demo import demo
from gapvision.cli.field_test import field_test
from gapvision.cli.measure import measure
from gapvision.cli.mistake import flush_output, tell_mistake
from gapvision.cli.page import page
from gapvision.cli.plan import plan
from gapvision.cli.preferences import preferences
from gapvision.cli.quotes import missing_quotes
from gapvision.cli.report import report
from gapvision.cli.shrinkage import shrinkage
from gapvision.cli.slip import slip
from gapvision.cli.sort import sort
from gapvision.cli.terminal import INTERRUPTED, say

WRONG_USAGE = 2

# Modules that load OpenCV or the fit are imported inside the commands: help must not wait for them.

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Measure the gap between two logs from photographs, and say what to set the scriber to.",
)


def main() -> None:
    """Run the command line; the entry point of the package."""
    # The fit's matrices are small: threads of the linear algebra cost a fifth of the time and gain
    # nothing. The variable is read when numpy is loaded, which only the commands do.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if hint := missing_quotes(sys.argv[1:]):
        say(f"Error: {hint}", err=True)
        raise SystemExit(WRONG_USAGE)
    try:
        try:
            app()
        finally:
            flush_output()
    except KeyboardInterrupt:  # before a command has begun, which knows itself what to do
        raise SystemExit(INTERRUPTED) from None
    except Exception as error:  # nothing that a builder could read; the file has it all
        tell_mistake(error)
        raise SystemExit(1) from None


for command in (
    measure, card, plan, demo, camera, preferences, shrinkage, check, field_test, report, slip, sort,
    page,
):  # fmt: skip
    app.command()(command)
app.add_typer(archive, name="archive")
