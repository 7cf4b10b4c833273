"""`gapvision check`: caliper readings beside a kept measurement."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    check_json_path,
    exit_status,
    in_color,
    read_option,
    say,
    units_of,
    write_json,
)
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import U_READING_MM, Reading, parse_length, parse_reading


def check(
    measurement: Annotated[
        Path, typer.Argument(metavar="JOINT.json", help="What gapvision measure --json wrote.")
    ],
    reading: Annotated[
        list[str] | None,
        typer.Option(
            metavar="READING",
            help="A caliper reading: 41.5@1200, or 41.5@1200~0.5 with its uncertainty, "
            "or 41.5@widest; repeat for each.",
        ),
    ] = None,
    resolution: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="The finest step that the caliper or rule was read to; it enters the uncertainty "
            "of readings that state none.  [default: none but the hand's 0.5 mm]",
        ),
    ] = None,
    units: UnitsOption = None,
    json_file: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Compare caliper readings of the gap with a measurement: do they agree, and which is wrong.

    \b
    Examples:
      gapvision check joint.json --reading 41.5@1200
      gapvision check joint.json --reading "1 5/8in@widest" --resolution 1/16in

    Exit status: 0 compared, whether they agree or not, 1 refused, 2 wrong usage.
    """
    if not reading:
        raise typer.BadParameter("say what was read, as in 41.5@1200.", param_hint="--reading")
    units = units_of(units, {"--reading": reading, "--resolution": resolution})
    u_mm = U_READING_MM
    step_mm = read_option("--resolution", parse_length, resolution, units)
    if step_mm is not None:
        if step_mm <= 0:
            raise typer.BadParameter("must be above zero.", param_hint="--resolution")
        u_mm = math.hypot(u_mm, step_mm / math.sqrt(12))  # rectangular: JCGM 100:2008, F.2.2.1

    def parse(text: str, units: str) -> Reading:
        return parse_reading(text, units, u_mm)

    readings = tuple(read_option("--reading", parse, r, units) for r in reading)
    with exit_status():
        if json_file not in (None, STDOUT) and Path(json_file).resolve() == measurement.resolve():
            raise typer.BadParameter(f"{json_file} is the measurement.", param_hint="--json")
        check_json_path(json_file, MeasureOptions(photos=()), overwrite)
        from gapvision.answer.check import check_readings, load_answer
        from gapvision.answer.check_text import check_json, check_text, refusal_json

        try:
            checked = check_readings(load_answer(measurement), measurement.name, readings, units)
        except MeasurementError as error:
            write_json(json_file, refusal_json(error), overwrite)
            raise
        aside = json_file == STDOUT
        say(check_text(checked, units, in_color(aside)), err=aside)
        write_json(json_file, check_json(checked), overwrite)
