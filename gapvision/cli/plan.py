"""`gapvision plan`: how to photograph a joint, before going there."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    check_json_path,
    cover_of,
    exit_status,
    in_color,
    preferences_of_user,
    read_option,
    say,
    units_typed,
    write_json,
)
from gapvision.errors import MeasurementError
from gapvision.inputs.options import COVER_MM, MeasureOptions
from gapvision.lengths import parse_ends, parse_length


def plan(
    length: Annotated[str, typer.Option(metavar="LENGTH", help="Of the log between its notches.")],
    upper_diameter: Annotated[
        str | None,
        typer.Option(metavar="D", help="300, or 290,310: at the left and the right notch."),
    ] = None,
    lower_diameter: Annotated[
        str | None, typer.Option(metavar="D", help="The same of the lower log.")
    ] = None,
    cover: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help=f"Wanted width of the groove.  [default: {COVER_MM:.0f} mm (3 in)]",
        ),
    ] = None,
    sides: Annotated[
        Literal["outside", "both"], typer.Option(help="The faces that can be photographed.")
    ] = "outside",
    lowest: Annotated[
        str | None,
        typer.Option(
            metavar="HEIGHT",
            help="Lowest place the lens can be held, over (+) or below (-) the gap: --lowest -250.",
        ),
    ] = None,
    highest: Annotated[
        str | None,
        typer.Option(metavar="HEIGHT", help="Highest place for the lens in the hand, likewise."),
    ] = None,
    pole: Annotated[
        str | None,
        typer.Option(metavar="HEIGHT", help="Highest place for the lens on a pole, likewise."),
    ] = None,
    room: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Standing room: farthest the lens can be from the logs' face.",
        ),
    ] = None,
    gap: Annotated[str, typer.Option(metavar="LENGTH", help="A guess of the usual gap.")] = "30mm",
    units: UnitsOption = None,
    json_file: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Plan a shoot: photographs, cards, minutes, and how well the setting will be known.

    \b
    Examples:
      gapvision plan --length 6000 --upper-diameter 290,320 --lower-diameter 310
      gapvision plan --length 20ft --room 32in --sides both
      gapvision plan --length 4500 --lowest -2800 --highest -700 --pole 500

    Exit status: 0 planned, 1 refused, 2 wrong usage.
    """
    preferred = preferences_of_user()
    typed = {
        "--length": length, "--upper-diameter": upper_diameter, "--lower-diameter": lower_diameter,
        "--cover": cover, "--lowest": lowest, "--highest": highest, "--pole": pole, "--room": room,
        "--gap": gap,
    }  # fmt: skip
    units = units or preferred.units or units_typed(typed) or "mm"
    with exit_status():
        from gapvision.shoot.ways import Site
    site = Site(
        length_mm=read_option("--length", parse_length, length, units),
        upper_diameter=read_option("--upper-diameter", parse_ends, upper_diameter, units),
        lower_diameter=read_option("--lower-diameter", parse_ends, lower_diameter, units),
        cover_mm=cover_of(cover, units, preferred),
        sides=sides,
        lowest_mm=read_option("--lowest", parse_length, lowest, units),
        highest_mm=read_option("--highest", parse_length, highest, units),
        pole_mm=read_option("--pole", parse_length, pole, units),
        room_mm=read_option("--room", parse_length, room, units),
        gap_mm=read_option("--gap", parse_length, gap, units),
    )
    with exit_status():
        check_json_path(json_file, MeasureOptions(photos=()), overwrite)
        from gapvision.shoot.plan import plan_shoot
        from gapvision.shoot.plan_text import plan_json, plan_text, refusal_json

        try:
            planned = plan_shoot(site)
        except MeasurementError as error:
            write_json(json_file, refusal_json(error), overwrite)
            raise
        aside = json_file == STDOUT
        say(plan_text(planned, units, in_color(aside)), err=aside)
        write_json(json_file, plan_json(planned), overwrite)
