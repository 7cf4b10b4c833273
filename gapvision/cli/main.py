"""The command line: parse, one call, print."""

from __future__ import annotations

import atexit
import gc
import os
import sys

from gapvision.cli.commands import group_of
from gapvision.cli.quotes import missing_quotes
from gapvision.cli.terminal import INTERRUPTED, flush_output, say

WRONG_USAGE = 2

# Modules that load OpenCV or the fit are imported inside the commands: help must not wait for them.
app = group_of(
    {
        "measure": "gapvision.cli.measure:measure",
        "card": "gapvision.cli.card:card",
        "plan": "gapvision.cli.plan:plan",
        "demo": "gapvision.cli.demo:demo",
        "camera": "gapvision.cli.camera:camera",
        "preferences": "gapvision.cli.preferences:preferences",
        "shrinkage": "gapvision.cli.shrinkage:shrinkage",
        "check": "gapvision.cli.check:check",
        "field-test": "gapvision.cli.field_test:field_test",
        "report": "gapvision.cli.report:report",
        "slip": "gapvision.cli.slip:slip",
        "sort": "gapvision.cli.sort:sort",
        "page": "gapvision.cli.page:page",
        "archive": "gapvision.cli.archive.group:app",
    },
    "Measure the gap between two logs from photographs, and say what to set the scriber to.",
)


def main() -> None:
    """Run the command line; the entry point of the package."""
    # The fit's matrices are small: threads of the linear algebra cost a fifth of the time and gain
    # nothing. The variable is read when numpy is loaded, which only the commands do.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Python ends by seeking cycles among all objects that are left, 25 ms of a measurement, to free
    # what the system takes back in any case.
    atexit.register(gc.freeze)
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
        from gapvision.cli.mistake import tell_mistake

        tell_mistake(error)
        raise SystemExit(1) from None
