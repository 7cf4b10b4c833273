"""The command that tells what a log's diameter loses as it dries."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    check_json_path,
    exit_status,
    read_option,
    say,
    units_of,
    write_json,
)
from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import format_length, parse_length

if TYPE_CHECKING:
    from gapvision.advice.shrinkage import Shrunk

FORMAT, VERSION = "gapvision-shrinkage", 1


def shrinkage(
    species: Annotated[
        str | None, typer.Argument(metavar="SPECIES", help="As listed when none is named.")
    ] = None,
    diameter: Annotated[
        str, typer.Option(metavar="LENGTH", help="Of the log, before it dries.")
    ] = "300mm",
    from_moisture: Annotated[
        float | None,
        typer.Option(
            metavar="PERCENT", help="Moisture now.  [default: green, at fibre saturation]"
        ),
    ] = None,
    to_moisture: Annotated[
        float, typer.Option(metavar="PERCENT", help="Moisture later, in the wall.")
    ] = 12.0,
    fibre_saturation: Annotated[
        float | None,
        typer.Option(metavar="PERCENT", help="Below it wood shrinks.  [default: the species' own]"),
    ] = None,
    units: UnitsOption = None,
    json_file: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Tell how much a log's diameter loses from one moisture to another, by its species.

    Information with its source: no setting is changed by it.

    \b
    Examples:
      gapvision shrinkage
      gapvision shrinkage douglas-fir-coast --diameter 320 --to-moisture 14

    Exit status: 0 told, 1 refused, 2 wrong usage.
    """
    from gapvision.advice import shrinkage as wood

    if species is None:
        if json_file is not None:
            raise typer.BadParameter(
                "name the species to write, as gapvision shrinkage alone lists them.",
                param_hint="--json",
            )
        head = f"  {'species':28}{'radial':>8}{'tangential':>12}{'fibre sat.':>12}  (per cent)"
        rows = [
            f"  {key:28}{s.radial:8.1f}{s.tangential:12.1f}{s.saturation:12.0f}"
            for key, s in wood.SPECIES.items()
        ]
        say("\n".join([head, *rows, *_sources()]))
        return
    units = units_of(units, {"--diameter": diameter})
    mm = read_option("--diameter", parse_length, diameter, units)
    with exit_status():
        check_json_path(json_file, MeasureOptions(photos=()), overwrite)
        name = species.strip().lower()
        s = wood.shrink(name, mm, from_moisture, to_moisture, fibre_saturation)
        say("\n".join([*_told(s, units), *_sources()]), err=json_file == STDOUT)
        write_json(json_file, _json(s), overwrite)


def _told(s: Shrunk, units: str) -> list[str]:
    across, along = (format_length(v, units) for v in (s.radial_mm, s.tangential_mm))
    return [
        f"{s.species.name[0].upper()}{s.species.name[1:]}, {format_length(s.diameter_mm, units)}, from "
        f"{s.from_moisture:g} to {s.to_moisture:g} % of moisture:",
        f"  across the rings (radial)     loses {across}",
        f"  along the rings (tangential)  loses {along}",
        "A wall settles by the radial one, and by what its logs slump and compact.",
    ]


def _sources() -> list[str]:
    from gapvision.advice.shrinkage import SOURCES

    return ["Sources:", *(f"  {text}" for text in SOURCES)]


def _json(s: Shrunk) -> dict:
    from gapvision.advice.shrinkage import SOURCES
    from gapvision.phrases import number_json

    return {
        "format": FORMAT,
        "version": VERSION,
        "species": s.species.name,
        "diameter_mm": number_json(s.diameter_mm),
        "from_moisture": number_json(s.from_moisture),
        "to_moisture": number_json(s.to_moisture),
        "fibre_saturation": number_json(s.saturation),
        "radial_mm": number_json(s.radial_mm),
        "tangential_mm": number_json(s.tangential_mm),
        "sources": list(SOURCES),
    }
