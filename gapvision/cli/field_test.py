"""`gapvision field-test`: photographs of a reference joint beside what was read by hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    check_json_path,
    exit_status,
    progress_bar,
    say,
    units_of,
    write_answer,
)
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions

if TYPE_CHECKING:
    from gapvision.answer.field_test import FieldRefusal, FieldScore


def field_test(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", help="Photographs and field_test.toml, or folders of these."
        ),
    ],
    template: Annotated[
        bool,
        typer.Option("--template", help="Write the empty field_test.toml into the folder."),
    ] = False,
    units: UnitsOption = None,
    json_file: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Measure a reference joint without its readings, and hold the answer against them.

    \b
    Examples:
      gapvision field-test barn-3/ --template
      gapvision field-test barn-3/ --json score.json

    Exit status: 0 scored, whether it held or not, 1 refused, 2 wrong usage.
    """
    if template and json_file is not None:
        raise typer.BadParameter("goes without --template.", param_hint="--json")
    with exit_status():
        from gapvision.inputs.field_test import forms_in, write_template

        if template:
            say(f"Form: {write_template(folder)}")
            return
        units = units_of(units)
        forms = forms_in(folder)
        _check_json(json_file, forms, overwrite)
        from gapvision.answer.field_test import FieldRefusal, FieldScore
        from gapvision.answer.field_test_text import (
            field_test_json,
            field_test_text,
            field_tests_text,
        )

        results = [_scored(form) for form in forms]
        scores = [r for r in results if isinstance(r, FieldScore)]
        several = forms[0].parent != folder
        write_answer(json_file, field_test_json(results), overwrite)
        refused = [r for r in results if isinstance(r, FieldRefusal)]
        if not several and refused:
            raise refused[0].error
        text = field_tests_text(results, units) if several else field_test_text(scores[0], units)
        say(text, err=json_file == STDOUT)
        if not scores:
            raise typer.Exit(1)


def _check_json(json_file: str | None, forms: list[Path], overwrite: bool) -> None:
    """No form and no photograph beside one is ever overwritten."""
    if json_file in (None, STDOUT):
        return
    from gapvision.photo.photo import SUFFIXES

    if Path(json_file).resolve() in [form.resolve() for form in forms]:
        raise typer.BadParameter(f"{json_file} is the form.", param_hint="--json")
    beside = (path for form in forms for path in form.parent.rglob("*"))
    photos = tuple(path for path in beside if path.suffix.lower() in SUFFIXES)
    check_json_path(json_file, MeasureOptions(photos=photos), overwrite)


def _scored(path: Path) -> FieldScore | FieldRefusal:
    """One folder's score, or why there is none."""
    from gapvision.answer.field_test import FieldRefusal, score_field_test
    from gapvision.inputs.field_test import load_field_test
    from gapvision.spine import measure

    try:
        form = load_field_test(path)
        with progress_bar() as progress:
            return score_field_test(form, measure(form.options, progress))
    except MeasurementError as error:
        return FieldRefusal(path.resolve().parent.name, error)
