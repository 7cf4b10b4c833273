"""`gapvision card`: scale cards, setting sheets and the field sheet to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from gapvision.cli.terminal import OverwriteOption, exit_status, say


def card(
    pdf: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="The PDF to write.")],
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="The printer's paper.")] = "a4",
    first: Annotated[int, typer.Option(help="Number of the first card, 1 to 40.")] = 1,
    count: Annotated[int, typer.Option(help="Number of cards, two to a sheet.")] = 2,
    setting_sheet: Annotated[
        bool,
        typer.Option("--setting-sheet", help="Add true-size marks to set the scriber's points on."),
    ] = False,
    field_sheet: Annotated[
        bool,
        typer.Option("--field-sheet", help="Add a page of drawings: hang, stand, shoot."),
    ] = False,
    overwrite: OverwriteOption = False,
) -> None:
    """Write scale cards as a PDF to print at 100 %.

    \b
    Example:
      gapvision card cards.pdf --count 4 --setting-sheet --field-sheet
    """
    with exit_status():
        from gapvision.shoot.sheet import write_cards

        try:
            write_cards(
                pdf,
                paper=paper,
                first=first,
                count=count,
                setting_sheet=setting_sheet,
                field_sheet=field_sheet,
                overwrite=overwrite,
            )
        except ValueError as error:
            raise typer.BadParameter(f"{error}.") from None
        say(f"Cards: {pdf}\nPrint at 100 %, then measure the check bar: it should be 100.0 mm.")
