"""The command line: parse, one call into the library, print."""

from __future__ import annotations

import json
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from gapvision.errors import MeasurementError
from gapvision.lengths import parse_diameter, parse_length, parse_reading

app = typer.Typer(
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False,
    help="The dividers' setting for a scribe-fit log, from photographs with a printed scale card.",
)  # fmt: skip


class Units(StrEnum):
    """What lengths are written and read in."""

    mm = "mm"
    inches = "in"


class CardOn(StrEnum):
    """What the cards hang on."""

    upper = "upper"
    lower = "lower"
    free = "free"


class Paper(StrEnum):
    """Sizes of paper."""

    a4 = "a4"
    letter = "letter"


def main() -> None:
    """Entry point of the program."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    app()


def _say(text: str, error: bool = False) -> None:
    typer.echo(text, err=error)


def _parsed(parse, text: str | None, units: str, option: str):
    if text is None:
        return None
    try:
        return parse(text, units)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint=option) from None


@app.command(epilog="Example: gapvision measure level.jpg low.jpg high.jpg --cover 75 "
             "--upper-diameter 290,310 --lower-diameter 300")  # fmt: skip
def measure(
    photos: Annotated[
        list[Path] | None,
        typer.Argument(help="Photographs, or folders of them, taken from outside."),
    ] = None,  # noqa: E501
    cover: Annotated[
        str | None,
        typer.Option(
            help="Wanted width of the groove from the inside to the outside line. [default: 76 mm, about 3 in]"
        ),
    ] = None,  # noqa: E501
    inside: Annotated[
        list[Path] | None,
        typer.Option(help="A photograph taken from the inner side; repeat for each."),
    ] = None,  # noqa: E501
    inside_cards: Annotated[
        str | None, typer.Option(help="Numbers of the cards that hang inside, as 5,6.")
    ] = None,  # noqa: E501
    card_on: Annotated[CardOn, typer.Option(help="What the cards hang on.")] = CardOn.upper,
    upper_diameter: Annotated[
        str | None,
        typer.Option(help="Upper log: 300, or 290,310 (left and right end), or 290@-750,310@750."),
    ] = None,  # noqa: E501
    lower_diameter: Annotated[str | None, typer.Option(help="Lower log, the same.")] = None,
    from_: Annotated[
        str | None,
        typer.Option("--from", help="Station of the left notch, right of the lowest card's nail."),
    ] = None,  # noqa: E501
    to: Annotated[str | None, typer.Option(help="Station of the right notch.")] = None,
    printed_bar: Annotated[
        str, typer.Option(help="What the card's check bar measures, mm.")
    ] = "100mm",  # noqa: E501
    camera: Annotated[Path | None, typer.Option(help="A camera's calibration file (TOML).")] = None,
    wall_thickness: Annotated[
        str | None, typer.Option(help="Distance between the cards through the wall.")
    ] = None,  # noqa: E501
    reading: Annotated[
        list[str] | None,
        typer.Option(help="A caliper reading that enters the fit, as 41.5@1200 or 41.5@1200~0.5."),
    ] = None,  # noqa: E501
    json_file: Annotated[
        str | None, typer.Option("--json", help="Write the answer as JSON; - for standard output.")
    ] = None,  # noqa: E501
    picture: Annotated[Path | None, typer.Option(help="Write the picture (.jpg or .png).")] = None,
    units: Annotated[
        Units, typer.Option(help="Units of the screen and of plain numbers.")
    ] = Units.mm,  # noqa: E501
    overwrite: Annotated[bool, typer.Option(help="Replace files that exist.")] = False,
) -> None:
    """Measure the open joint and say what to set the points to."""
    if not photos and not inside:
        raise typer.BadParameter("name at least one photograph or folder.", param_hint="PHOTO")
    u = units.value
    try:
        numbers = tuple(int(n) for n in inside_cards.split(",")) if inside_cards else ()
    except ValueError:
        raise typer.BadParameter(
            f"{inside_cards!r} is no list of card numbers; write 5,6.", param_hint="--inside-cards"
        ) from None
    cover_mm = _parsed(parse_length, cover, u, "--cover")
    stated = {
        "upper_diameter": _parsed(parse_diameter, upper_diameter, u, "--upper-diameter"),
        "lower_diameter": _parsed(parse_diameter, lower_diameter, u, "--lower-diameter"),
        "from_mm": _parsed(parse_length, from_, u, "--from"),
        "to_mm": _parsed(parse_length, to, u, "--to"),
        "printed_bar_mm": _parsed(parse_length, printed_bar, "mm", "--printed-bar"),
        "wall_thickness_mm": _parsed(parse_length, wall_thickness, u, "--wall-thickness"),
        "readings": tuple(_parsed(parse_reading, r, u, "--reading") for r in reading or []),
    }
    # Only now the heavy part: a wrong option is answered at once.
    from gapvision.annotate import check_picture_path, write_picture
    from gapvision.answer import answer_json, answer_text, refusal_json
    from gapvision.measure import measure as measure_joint
    from gapvision.options import COVER_MM, MeasureOptions

    options = MeasureOptions(
        tuple(photos or ()), tuple(inside or ()), numbers,
        COVER_MM if cover_mm is None else cover_mm, card_on.value, camera=camera, units=u, **stated,
    )  # fmt: skip
    to_stdout = json_file == "-"
    try:
        if json_file and not to_stdout:
            _check_new(Path(json_file), overwrite)
        if picture:
            try:
                check_picture_path(picture, overwrite)
            except ValueError as error:
                raise typer.BadParameter(str(error), param_hint="--picture") from None
        result = _with_progress(measure_joint, options)
        document = answer_json(result)
        if picture:
            write_picture(picture, result, options, overwrite=overwrite)
        _say(answer_text(result, u), error=to_stdout)
        if picture:
            _say(f"\nPicture: {picture}", error=to_stdout)
        code = 0
    except MeasurementError as error:
        document = refusal_json(error)
        _say(f"Refused: {error.text}", error=True)
        code = 1
        if error.code in ("file-exists", "no-folder") and not to_stdout:
            raise typer.Exit(code) from None
    if json_file:
        _write_json(document, json_file, overwrite)
    raise typer.Exit(code)


def _check_new(path: Path, overwrite: bool) -> None:
    if path.exists() and not overwrite:
        raise MeasurementError(
            "file-exists",
            f"{path} exists already; name another file, or say --overwrite to replace it.",
        )
    if not path.resolve().parent.is_dir():
        raise MeasurementError(
            "no-folder", f"There is no folder {path.resolve().parent}; make it or name another."
        )


def _write_json(document: dict, json_file: str, overwrite: bool) -> None:
    text = json.dumps(document, indent=1, allow_nan=False)
    if json_file == "-":
        typer.echo(text)
        return
    try:
        with open(json_file, "w" if overwrite else "x", encoding="utf-8") as out:
            out.write(text + "\n")
    except OSError as error:
        _say(f"The JSON could not be written: {error.strerror}: {json_file}", error=True)
        raise typer.Exit(1) from None


def _with_progress(measure_joint, options):
    """Measure, with a bar on the error stream where a person sits before it."""
    if not sys.stderr.isatty():
        return measure_joint(options)
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Photographs", total=None)
        return measure_joint(
            options, lambda done, total: bar.update(task, completed=done, total=total)
        )


@app.command(epilog="Example: gapvision card cards.pdf --paper letter --first 1 --count 4")
def card(
    file: Annotated[Path, typer.Argument(help="The PDF to write.")],
    paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.a4,
    first: Annotated[int, typer.Option(help="Number of the first card, 1 to 40.")] = 1,
    count: Annotated[int, typer.Option(help="How many cards.")] = 2,
    setting_sheet: Annotated[
        bool,
        typer.Option("--setting-sheet", help="Add the bench sheet on which the points are set."),
    ] = False,  # noqa: E501
    overwrite: Annotated[bool, typer.Option(help="Replace a file that exists.")] = False,
) -> None:
    """Write scale cards to print at true size."""
    from gapvision.sheet import write_cards

    try:
        write_cards(
            file, paper.value, first, count, setting_sheet=setting_sheet, overwrite=overwrite
        )
    except ValueError as error:
        raise typer.BadParameter(str(error)) from None
    except MeasurementError as error:
        _say(f"Refused: {error.text}", error=True)
        raise typer.Exit(1) from None
    _say(
        f"{file}: print at 100 % (no scaling), measure the check bar with a good rule, and state "
        "what it reads as --printed-bar."
    )


@app.command()
def demo(
    units: Annotated[Units, typer.Option(help="Units of the screen.")] = Units.mm,
) -> None:
    """Measure the bundled photographs and print the answer beside the known truth."""
    from gapvision.demo import run_demo

    try:
        _say(run_demo(Path.cwd(), units.value))
    except MeasurementError as error:
        _say(f"Refused: {error.text}", error=True)
        raise typer.Exit(1) from None
