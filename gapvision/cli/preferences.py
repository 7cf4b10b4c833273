"""`gapvision preferences`: what is stated once for all joints, shown or changed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gapvision.cli.terminal import exit_status, read_option, say, units_typed
from gapvision.inputs.preferences import load_preferences
from gapvision.lengths import Units, parse_length


def preferences(
    units: Annotated[Units | None, typer.Option(help="Units of all answers.")] = None,
    cover: Annotated[str | None, typer.Option(metavar="LENGTH", help="Your usual cover.")] = None,
    scriber_largest: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="The widest your scriber opens.")
    ] = None,
    scriber_step: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="The finest step it can be set to; settings are rounded up to it.",
        ),
    ] = None,
    printed_bar: Annotated[
        list[str] | None,
        typer.Option(
            metavar="[NAME=]LENGTH",
            help="What the check bar of your print measures, mm; blue=99.4 remembers it under the "
            "name of a printed batch; repeat for each.",
        ),
    ] = None,
    camera: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A camera file to use for every photograph."),
    ] = None,
    forget: Annotated[
        list[str] | None,
        typer.Option(
            metavar="OPTION",
            help="State it no longer: scriber-step, or the name of a print; repeat for each.",
        ),
    ] = None,
) -> None:
    """Show what is stated once for all joints, or change it; options of other commands override it.

    \b
    Examples:
      gapvision preferences
      gapvision preferences --units in --cover 3in --scriber-step 1/16in

    Exit status: 0 done, 1 refused, 2 wrong usage.
    """
    from gapvision.inputs import preferences as kept

    with exit_status():
        old = load_preferences()
        typed = {
            "--cover": cover, "--scriber-largest": scriber_largest, "--scriber-step": scriber_step,
        }  # fmt: skip
        said = units or old.units or units_typed(typed) or "mm"
        bars = dict(
            read_option("--printed-bar", lambda text, _: kept.parse_bar(text), text, said)
            for text in printed_bar or ()
        )
        asked = {
            "units": units,
            "cover_mm": read_option("--cover", parse_length, cover, said),
            "scriber_largest_mm": read_option(
                "--scriber-largest", parse_length, scriber_largest, said
            ),
            "scriber_step_mm": read_option("--scriber-step", parse_length, scriber_step, said),
            "printed_bar_mm": bars.get(None),
            "camera": None if camera is None else str(camera.resolve()),
        }
        batches = {name: mm for name, mm in bars.items() if name is not None}
        changes = {key: value for key, value in asked.items() if value is not None}
        for key, value in changes.items():
            try:
                kept.check_preference(key, value)
            except ValueError as error:
                option = kept.option_of(key)
                raise typer.BadParameter(str(error), param_hint=option) from None
        if camera is not None:
            from gapvision.photo.lens.files import read_camera

            read_camera(camera)  # a file that is of no use is not remembered
        forgotten = [
            read_option("--forget", lambda t, _: kept.key_of(t, old), t, said) for t in forget or ()
        ]
        if changes or batches or forgotten:
            kept.change_preferences(changes, batches, forgotten)
        say(kept.preferences_text(load_preferences(), kept.preferences_path(), said))
