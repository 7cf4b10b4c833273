"""The command `sort`: a camera roll by its slips."""

from __future__ import annotations

import os
import shlex
from pathlib import Path
from typing import Annotated

import typer

from gapvision.cli.terminal import STDOUT, exit_status, progress_bar, say, write_json
from gapvision.files import check_new


def sort(
    folders: Annotated[
        list[Path], typer.Argument(metavar="FOLDER...", help="Photographs as the phone took them.")
    ],
    copy_to: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Copy them into folders of building, wall and log, each with a joint.toml that names "
            "it; never moved.",
        ),
    ] = None,
    json_file: Annotated[
        str | None,
        typer.Option("--json", metavar="FILE", help="Write the groups, for programs; - is stdout."),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace the JSON file; photographs never are.")
    ] = False,
) -> None:
    """Sort a camera roll by its slips: which photographs are of which joint.

    \b
    Examples:
      gapvision sort camera/
      gapvision sort camera/ --copy-to day/
      gapvision measure day/ --keep --report wall.pdf

    Exit status: 0 sorted, 1 refused, 2 wrong usage.
    """
    with exit_status():
        if json_file not in (None, STDOUT):
            check_new(Path(json_file), "the groups", overwrite)
        from gapvision.errors import MeasurementError
        from gapvision.photo.photo import photo_paths
        from gapvision.shoot.roll import copy_groups, read_shot, sort_roll
        from gapvision.shoot.roll_text import roll_json, roll_text

        paths = list(dict.fromkeys(photo_paths(folders)))
        for path in paths:
            if not os.path.exists(path):
                text = f"There is no {path}: name the folder that the phone's photographs are in."
                raise MeasurementError("no-folder", text)
        shots = []
        with progress_bar() as progress:
            for k, path in enumerate(paths):
                if progress:
                    progress(k, len(paths))
                shots.append(read_shot(path))
        roll = sort_roll(shots)
        if not roll.groups:
            raise MeasurementError(
                "no-slip",
                f"Of {len(paths)} photographs none shows a slip that can be read: photograph the "
                "slip from 0.25 m (10 in), flat, whole and sharp, before its joint; sort these by "
                "hand.",
            )
        aside = json_file == STDOUT
        say(roll_text(roll), err=aside)
        if copy_to is not None:
            with progress_bar() as progress:
                copied, there = copy_groups(roll, copy_to, progress)
            already = f", {there} were there already" if there else ""
            say(f"\nCopied to {copy_to}: {copied} photographs{already}.", err=aside)
            say(f"Next: gapvision measure {shlex.quote(str(copy_to))} --keep", err=aside)
        write_json(json_file, roll_json(roll), overwrite)
