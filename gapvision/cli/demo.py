"""gapvision demo: the main job on bundled photographs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gapvision.cli.terminal import UnitsOption, exit_status, progress_bar, say, units_of


def demo(
    whole_log: Annotated[
        bool,
        typer.Option(
            "--whole-log",
            help="A log of 4.2 m from seven photographs: a level sweep, then above and below.",
        ),
    ] = False,
    units: UnitsOption = None,
) -> None:
    """Measure the photographs that come with gapvision, beside the known truth.

    \b
    Examples:
      gapvision demo --units in
      gapvision demo --whole-log
    """
    with exit_status():
        from gapvision.cli.demo_joint import run_demo

        with progress_bar() as progress:
            text = run_demo(Path.cwd(), units_of(units), whole_log, progress)
        say(text)
