"""What all commands share: what was typed, the files they write, the screen and the exit status."""

from __future__ import annotations

import json
import os
import re
import signal
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated, TypeVar, overload

import typer

from gapvision.errors import MeasurementError
from gapvision.files import check_new, discard, write_new
from gapvision.inputs.options import COVER_MM, MeasureOptions
from gapvision.inputs.preferences import Preferences, load_preferences, printed_bar_of
from gapvision.lengths import CHECK_BAR_MM, Units, bare_among_units, parse_length, units_written

INTERRUPTED = 130  # 128 + SIGINT, as shells have it
STDOUT = "-"
SHOW_CURSOR = b"\x1b[?25h"

UnitsOption = Annotated[
    Units | None,
    typer.Option(
        help="Millimetres, or inches and sixteenths.  "
        "[default: as preferred, else as typed, or as measured]"
    ),
]
OverwriteOption = Annotated[
    bool, typer.Option("--overwrite", help="Replace a file that exists already.")
]
JsonOption = Annotated[
    str | None,
    typer.Option("--json", metavar="FILE", help="Write it for programs; - is standard output."),
]
_PAIR = re.compile(r"\[\n\s+([-+.\de]+),\n\s+([-+.\de]+)\n\s+\]")  # of numbers, as json indents it
Parsed = TypeVar("Parsed")
Typed = Mapping[str, str | Sequence[str] | None]  # lengths as they were typed, by their options
Progress = Callable[[int, int], None]


# --- what was typed -------------------------------------------------------------------------------


def preferences_of_user() -> Preferences:
    with exit_status():
        return load_preferences()


def units_of(units: Units | None, typed: Typed | None = None) -> Units:
    """The units asked for, else those preferred, else those of the lengths ``typed``."""
    return units_preferred(units) or units_typed(typed or {}) or "mm"


def units_preferred(units: Units | None) -> Units | None:
    """The units asked for, else those preferred, else None: where an answer has its own."""
    return units or preferences_of_user().units


def units_typed(typed: Typed) -> Units | None:
    """Inches where a length is typed in inches or feet, else None.

    Whoever types a unit with one length means it, likely, with the bare number of another: that is
    refused as wrong usage, never guessed.
    """
    texts = [
        (option, text)
        for option, given in typed.items()
        for text in ([given] if isinstance(given, str) else given or ())
    ]
    written = set().union(*(units_written(text) for _, text in texts))
    for option, text in texts:
        if (bare := bare_among_units(text, written)) is not None:
            unit = next(unit for unit in ("in", "cm", "m") if unit in written)
            raise typer.BadParameter(
                f"{bare!r} has no unit and other lengths have: write {bare}{unit} or {bare}mm.",
                param_hint=option,
            )
    return "in" if "in" in written else None


def cover_of(text: str | None, units: str, preferred: Preferences) -> float:
    """The cover asked for, else the usual one of this person, else the common one."""
    stated = read_option("--cover", parse_length, text, units)
    if stated is None:
        stated = preferred.cover_mm
    return COVER_MM if stated is None else stated


def printed_bar_given(text: str | None, preferred: Preferences) -> float:
    stated = read_option("--printed-bar", lambda t, _: printed_bar_of(t, preferred), text, "mm")
    if stated is None:
        stated = preferred.printed_bar_mm
    return CHECK_BAR_MM if stated is None else stated


@overload
def read_option(
    option: str, parse: Callable[[str, str], Parsed], text: str, units: str
) -> Parsed: ...
@overload
def read_option(
    option: str, parse: Callable[[str, str], Parsed], text: None, units: str
) -> None: ...
def read_option(
    option: str, parse: Callable[[str, str], Parsed], text: str | None, units: str
) -> Parsed | None:
    """What an option says, or the parser's sentence as wrong usage."""
    if text is None:
        return None
    try:
        return parse(text, units)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint=option) from None


def card_numbers(text: str, units: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise ValueError(f"{text!r} are no card numbers: write them as 5,6.") from None


# --- files that are written -----------------------------------------------------------------------


def check_json_path(
    file: str | None, options: MeasureOptions, overwrite: bool, option: str = "--json"
) -> None:
    if file in (None, STDOUT):
        return
    path = Path(file)
    check_no_photo(option, path, options)
    check_new(path, file, overwrite)


def check_picture_place(path: Path | None, options: MeasureOptions, overwrite: bool) -> None:
    if path is None:
        return
    from gapvision.answer.picture.picture import check_picture_path

    try:
        check_picture_path(path, overwrite)
    except ValueError as error:
        raise typer.BadParameter(f"{error}.", param_hint="--picture") from None
    check_no_photo("--picture", path, options)
    for folder in (*options.photos, *options.inside):
        if os.path.isdir(folder) and path.parent.resolve() == folder.resolve():
            raise typer.BadParameter(
                f"{path} would lie among the photographs in {folder} and be measured as one of "
                "them next time: name another folder.",
                param_hint="--picture",
            )


def check_no_photo(option: str, path: Path, options: MeasureOptions) -> None:
    """No photograph is ever overwritten, whatever was allowed."""
    for given in (*options.photos, *options.inside):
        there = os.path.exists(path) and os.path.exists(given)  # which no name is too long for
        if there and path.samefile(given):
            raise typer.BadParameter(f"{path} is one of the photographs.", param_hint=option)


def write_json(file: str | None, answer: dict, overwrite: bool) -> None:
    if file is None:
        return
    text = _PAIR.sub(r"[\1, \2]", json.dumps(answer, allow_nan=False, indent=1))
    if file == STDOUT:
        typer.echo(text)
        return
    write_new(Path(file), f"{text}\n".encode(), "the JSON", overwrite)


def write_answer(file: str | None, answer: dict, overwrite: bool) -> None:
    """Write what was measured, or why not, with the program's version and the time."""
    if file is None:
        return
    from gapvision.answer.as_json import stamped

    now = datetime.now().astimezone().isoformat(timespec="seconds")
    write_json(file, stamped(answer, now), overwrite)


# --- screen and exit status -----------------------------------------------------------------------


@contextmanager
def exit_status() -> Iterator[None]:
    """What cannot be measured is one sentence and status 1; Ctrl-C is quiet."""
    try:
        yield
    except MeasurementError as error:
        text = f"Refused: {error.text}"
        if sys.stderr.isatty():  # whole words for people; one line for programs that search it
            from gapvision.phrases import wrap

            text = "\n".join(wrap(text))
        say(text, err=True)
        raise typer.Exit(1) from None
    except KeyboardInterrupt:
        raise typer.Exit(INTERRUPTED) from None


@contextmanager
def refusal_written(
    json_file: str | None,
    overwrite: bool,
    outlines_file: str | None = None,
    given: Callable[[], Mapping[str, str]] = dict,
) -> Iterator[None]:
    """A refusal goes into the JSON too, where one was asked for.

    ``given`` gives the photographs' files by their SHA-256, for the outlines.
    """
    try:
        yield
    except MeasurementError as error:
        from gapvision.answer.as_json import refusal_json
        from gapvision.answer.outlines_json import outlines_refusal

        write_answer(json_file, refusal_json(error), overwrite)
        if outlines_file is not None:
            write_answer(outlines_file, outlines_refusal(error, given()), overwrite)
        raise


@contextmanager
def progress_bar(of: str = "photographs") -> Iterator[Progress | None]:
    """A bar on standard error for several photographs, or others, where somebody looks at it."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn()
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(of, total=None, visible=False)

        def tell(done: int, total: int) -> None:
            now = "fitting them together" if done == total and of == "photographs" else of
            bar.update(task, description=now, completed=done, total=total, visible=total > 1)

        yield tell


@contextmanager
def stop_on_interrupt(what: str) -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C was pressed, for work that then begins no more; pressed again, it ends at once."""
    pressed: list[int] = []

    def press(number: int, frame: object) -> None:
        if pressed:
            if sys.stderr.isatty():
                os.write(2, SHOW_CURSOR)  # which a progress bar hides
            os._exit(INTERRUPTED)
        pressed.append(number)
        say(f"Finishing {what}. Ctrl-C again stops at once.", err=True)

    before = signal.signal(signal.SIGINT, press)
    try:
        yield lambda: bool(pressed)
    finally:
        signal.signal(signal.SIGINT, before)


def in_color(err: bool) -> bool:
    stream = sys.stderr if err else sys.stdout
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return stream.isatty() and not plain


def say(text: str, err: bool = False) -> None:
    """Print, also where the terminal has no plus-minus sign or a file's name is no Unicode."""
    encoding = getattr(sys.stderr if err else sys.stdout, "encoding", None) or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = text.replace("±", "+-").encode(encoding, "backslashreplace").decode(encoding)
    typer.echo(text, err=err)


def flush_output() -> None:
    """Have on its way what was printed, while a full disk behind it can still be told.

    Raises
    ------
    OSError
        Where it cannot be written; a reader that went away is none.
    """
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        discard(sys.stdout)  # Python would flush once more at its end, and complain
