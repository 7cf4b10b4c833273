"""The command `slip`: labels that name a joint."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Literal

import typer

from gapvision.cli.terminal import (
    OverwriteOption,
    UnitsOption,
    exit_status,
    read_option,
    say,
    units_preferred,
)
from gapvision.files import check_new, write_new

MOST_LOGS = 200


def slip(
    pdf: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="The PDF to write.")],
    building: Annotated[str, typer.Option(metavar="NAME", help="The building, as you call it.")],
    wall: Annotated[str, typer.Option(metavar="NAME", help="The wall.")],
    log: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="The upper log; repeat for each.")
    ] = None,
    logs: Annotated[
        str | None, typer.Option(metavar="1-12", help="Instead: logs by number, also 1,3,5-7.")
    ] = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="The printer's paper.")] = "a4",
    json_file: Annotated[
        Path | None,
        typer.Option(
            "--json",
            metavar="FILE",
            help="What measure --json wrote of this log: the slip then also bears the answer.",
        ),
    ] = None,
    units: UnitsOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Print slips that name a joint: photograph one before the joint, staple one to the log.

    \b
    Examples:
      gapvision slip slips.pdf --building Barn --wall north --logs 1-12
      gapvision slip answer.pdf --building Barn --wall north --log 3 --json joint.json
    """
    numbers = read_option("--logs", lambda t, _: _log_numbers(t), logs, "mm") or []
    names = [*(log or []), *map(str, numbers)]
    if not names:
        raise typer.BadParameter("name a log, or several as --logs 1-12.", param_hint="--log")
    if json_file is not None and len(names) > 1:
        raise typer.BadParameter("goes with one log.", param_hint="--json")
    if pdf.suffix.lower() != ".pdf":
        text = f"slips are a PDF: its name ends in .pdf, not {pdf.name!r}."
        raise typer.BadParameter(text, param_hint="FILE.pdf")
    units = units_preferred(units)
    with exit_status():
        check_new(pdf, "the slips", overwrite)
        from gapvision.shoot.slip import slip_of, slips_pdf

        answer = _answer(json_file, units) if json_file else ""
        try:
            content = slips_pdf([slip_of(building, wall, name) for name in names], paper, answer)
        except ValueError as error:
            raise typer.BadParameter(f"{error}.") from None
        write_new(pdf, content, "the slips", overwrite)
        say(
            f"Slips: {pdf}\nPhotograph a slip from 0.25 m (10 in) before its joint, flat and whole."
        )


def _answer(json_file: Path, units: str | None) -> str:
    """The line to crayon on the log, without its first word; in its own units if none are said."""
    from gapvision.answer.as_json import measurement_of, read_json
    from gapvision.answer.verdict_text import crayon_line
    from gapvision.errors import MeasurementError

    result = read_json(json_file)
    if result["status"] == "refused":
        text = f"{json_file.name} holds no answer: {result['reason']['text']}"
        raise MeasurementError("no-answer", text)
    m = measurement_of(result)
    line = crayon_line(m, units or m.units)
    return line.removeprefix("CRAYON: ")


def _log_numbers(text: str) -> list[int]:
    numbers: list[int] = []
    for part in text.split(","):
        found = re.fullmatch(r"\s*(\d{1,4})\s*(?:-\s*(\d{1,4})\s*)?", part, re.ASCII)
        if not found or int(found[2] or found[1]) < int(found[1]):
            raise ValueError(f"{text!r} are no logs: write them as 1-12 or 1,3,5-7.")
        numbers += range(int(found[1]), int(found[2] or found[1]) + 1)
    numbers = list(dict.fromkeys(numbers))
    if len(numbers) > MOST_LOGS:
        raise ValueError(f"{text!r} are {len(numbers)} logs; at most {MOST_LOGS} at once.")
    return numbers
