"""The command line of the archive: what is kept, later facts of it, and its health."""

from __future__ import annotations

import getpass
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import astuple
from datetime import date
from pathlib import Path
from typing import Annotated, BinaryIO

import typer

from gapvision.cli.archive_query import (
    BuildingOption,
    GapOption,
    LogOption,
    RecordArgument,
    RecordsArgument,
    SettingOption,
    SinceOption,
    StatusOption,
    UntilOption,
    WallOption,
    _day,
    _query,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    exit_status,
    progress_bar,
    read_option,
    say,
    units_of,
    write_json,
)
from gapvision.errors import MeasurementError
from gapvision.lengths import format_length, parse_length, parse_reading, parse_trial

# Modules that open the archive, or load more, are imported inside: help must not wait for them.

LIST_FORMAT = "gapvision-archive-list"
SHOWN = 20  # records of a list that fit a screen

CsvOption = Annotated[
    str | None,
    typer.Option("--csv", metavar="FILE", help="Write it for a spreadsheet; - is standard output."),
]
LimitOption = Annotated[
    int | None,
    typer.Option(
        min=1, metavar="N", help=f"At most so many.  [default: {SHOWN} on screen, all in files]"
    ),
]

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Look up, export and check the joints that measure --keep has kept.",
)


@app.command("list")
def list_(
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    gap: GapOption = None,
    setting: SettingOption = None,
    limit: LimitOption = None,
    json_file: JsonOption = None,
    csv_file: CsvOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """List the joints that are kept, the latest first.

    \b
    Examples:
      gapvision archive list --building "Lake house" --wall north
      gapvision archive list --since 2026-05-01 --csv may.csv
    """
    units = units_of(units)
    query = _query(building, wall, log, since, until, status, gap, setting, units)
    _list(query, limit, json_file, csv_file, units, archive, overwrite)


@app.command()
def search(
    words: Annotated[
        list[str], typer.Argument(metavar="WORD...", help="Beginnings of words; all must occur.")
    ],
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    gap: GapOption = None,
    setting: SettingOption = None,
    limit: LimitOption = None,
    json_file: JsonOption = None,
    csv_file: CsvOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Find joints by words in names, cautions and remarks.

    \b
    Example:
      gapvision archive search not-seen lake
    """
    if not any(c.isalnum() for word in words for c in word):
        raise typer.BadParameter("write a word with letters or digits.", param_hint="WORD")
    units = units_of(units)
    query = _query(building, wall, log, since, until, status, gap, setting, units, " ".join(words))
    _list(query, limit, json_file, csv_file, units, archive, overwrite)


@app.command()
def show(
    record: RecordArgument,
    json_file: JsonOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Show one joint whole.

    \b
    Example:
      gapvision archive show 12 --json -
    """
    units = units_of(units)
    with exit_status(), _opened(archive) as opened:
        from gapvision.archive.outcome import outcomes_of
        from gapvision.archive.query import Query, entries, load_record

        found, told = load_record(opened, record), outcomes_of(opened, record)
        if json_file is not None:
            from gapvision.archive.export import record_json

            write_json(json_file, record_json(found, told), overwrite)
        if json_file != STDOUT:
            from gapvision.archive.text import record_text

            e = found.entry
            same = Query(*astuple(e.joint))
            others = [o for o in entries(opened, same) if o.record != record]
            say(record_text(found, told, others, units))


@app.command()
def outcome(
    record: RecordArgument,
    setting_used: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="What the points were set to.")
    ] = None,
    caliper: Annotated[
        list[str] | None,
        typer.Option(
            metavar="READING",
            help="The gap by caliper: 46.8@310, or @widest; with its standard uncertainty "
            "46.8@310~0.3; repeat for each.",
        ),
    ] = None,
    trial: Annotated[
        list[str] | None,
        typer.Option(
            metavar="TRIAL",
            help="A trial line: 49:78@310, points set to 49 and the groove 78 wide at station 310; "
            "repeat for each.",
        ),
    ] = None,
    narrowest_cover: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="After fitting, where it is narrowest.")
    ] = None,
    open_: Annotated[
        list[str] | None,
        typer.Option(
            "--open",
            metavar="FROM,TO",
            help="Stations between which the joint did not close: 900,1100; repeat for each.",
        ),
    ] = None,
    remarks: Annotated[str, typer.Option(metavar="TEXT", help="Anything else.")] = "",
    date_: Annotated[
        str | None, typer.Option("--date", metavar="DATE", help="When.  [default: today]")
    ] = None,
    instead: Annotated[
        bool, typer.Option("--instead", help="What was told of this joint before was wrong.")
    ] = False,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
) -> None:
    """Tell what came of a joint.

    \b
    Examples:
      gapvision archive outcome 12 --caliper 46.8@310 --trial 49:78@310
      gapvision archive outcome 12 --setting-used 58 --narrowest-cover 74
    """
    units = units_of(units)
    calipers = [read_option("--caliper", parse_reading, text, units) for text in caliper or ()]
    trials = [read_option("--trial", parse_trial, text, units) for text in trial or ()]
    opens = [read_option("--open", _ends, text, units) for text in open_ or ()]
    used = read_option("--setting-used", _above_zero, setting_used, units)
    cover = read_option("--narrowest-cover", parse_length, narrowest_cover, units)
    remarks = " ".join(remarks.split())
    if not (calipers or trials or opens or used or remarks or instead) and cover is None:
        raise typer.BadParameter("tell at least one thing, such as --caliper 46.8@310.")
    day = read_option(
        "--date", lambda text, _: _past_day(text), date_ or date.today().isoformat(), units
    )
    with exit_status(), _opened(archive) as opened:
        from gapvision.archive.outcome import (
            Outcome,
            OutcomeValue,
            add_outcome,
            outcomes_of,
            together,
        )
        from gapvision.archive.query import load_record
        from gapvision.archive.text import outcome_lines

        result = load_record(opened, record).result
        widest = result["widest_gap"]["station_mm"]

        def at(reading) -> float:
            return widest if reading.station_mm is None else reading.station_mm

        values = (
            *(OutcomeValue("caliper", at(r), None, r.value_mm, r.u_mm) for r in calipers),
            *(
                OutcomeValue(
                    "trial", at(t), None, t.width_mm, t.u_width_mm, t.setting_mm, t.u_setting_mm
                )
                for t in trials
            ),
            *(OutcomeValue("open", *ends) for ends in opens),
        )
        _check_stations(values, result["profile"]["station_mm"], units)
        told = Outcome(day.isoformat(), used, cover, remarks, values, instead)
        add_outcome(opened, record, told)
        lines = outcome_lines(together(outcomes_of(opened, record)), units)
        say("\n".join([f"Told of record {record} by now:", *lines]))


@app.command()
def outcomes(
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    json_file: JsonOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Sum up what came of all joints.

    \b
    Example:
      gapvision archive outcomes --building "Lake house"
    """
    units = units_of(units)
    query = _query(building, wall, log, since, until, status, None, None, units)
    with exit_status(), _opened(archive) as opened:
        from gapvision.archive.learning import learn, learned_json, learned_text

        by_kind, joints = learn(opened, query)
        write_json(json_file, learned_json(by_kind, joints), overwrite)
        if json_file != STDOUT:
            say(learned_text(by_kind, joints, units))


@app.command()
def export(
    target: Annotated[
        Path, typer.Argument(metavar="FOLDER|FILE.zip", help="Where to; must not be there yet.")
    ],
    records: RecordsArgument = None,
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    with_location: Annotated[
        bool,
        typer.Option(
            "--with-location",
            help="Photographs as they are, with location and serial numbers; else without.",
        ),
    ] = False,
    archive: ArchiveOption = None,
) -> None:
    """Write joints for people without this program.

    \b
    Examples:
      gapvision archive export north.zip --building "Lake house" --wall north
      gapvision archive export joint-12 12
    """
    query = _query(building, wall, log, since, until, status, None, None, "mm", records=records)
    with exit_status(), _opened(archive) as opened:
        from gapvision.archive.export import export as write_export

        with _counted("joints") as progress:
            done = write_export(opened, query, target, with_location, progress)
        say(f"Exported: {target}\nJoints: {done.records}, photographs: {done.photographs}.")
        for text in (*done.left_out, *done.lost):
            say(f"Not exported: {text}", err=True)
        if not with_location:
            say("Location and serial numbers were left out of the photographs.")
        if done.lost:
            raise typer.Exit(1)


@app.command()
def verify(
    repair: Annotated[
        bool, typer.Option("--repair", help="Remove what interrupted runs left behind.")
    ] = False,
    archive: ArchiveOption = None,
) -> None:
    """Check every photograph, record and the database.

    \b
    Example:
      gapvision archive verify --repair

    Exit status: 0 whole, 1 a fault was found, 2 wrong usage.
    """
    with exit_status(), _opened(archive) as opened:
        from gapvision.archive import verify as archive_verify

        removed = archive_verify.repair(opened) if repair else 0
        with progress_bar() as progress:
            found = archive_verify.verify(opened, progress)
        if removed:
            say(f"Removed what interrupted runs left: {removed} files.")
        for fault in found.faults:
            say(f"Fault: {fault}")
        if found.strays:
            say(f"Left by interrupted runs: {len(found.strays)} files; --repair removes them.")
        checked = f"Records: {found.records}, files: {found.files}, faults: {len(found.faults)}."
        say(f"{checked} {'NOT WHOLE' if found.faults else 'Whole'}: {opened.folder}")
        if found.faults:
            raise typer.Exit(1)


@app.command()
def remeasure(
    records: RecordsArgument = None,
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep each new answer as a record beside the old one.")
    ] = False,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
) -> None:
    """Measure stored joints again, and show what changed.

    \b
    Example:
      gapvision archive remeasure 12 --keep
    """
    units = units_of(units)
    query = _query(building, wall, log, since, until, status, None, None, units, records=records)
    if query == _query(None, None, None, None, None, None, None, None, units):
        raise typer.BadParameter("name records, or say of which building, wall, date or status.")
    with exit_status(), _opened(archive) as opened:
        from gapvision.archive.query import entries, load_record
        from gapvision.archive.remeasure import remeasure as again
        from gapvision.archive.text import changes_text

        for number in records or ():
            load_record(opened, number)  # says that there is none
        numbers = [e.record for e in entries(opened, query)]  # new ones come while this goes on
        refused = 0
        for number in numbers:
            try:
                with progress_bar() as progress:
                    found = again(opened, load_record(opened, number), keep, progress)
            except MeasurementError as error:
                say(f"Refused: record {number}: {error.text}", err=True)
                refused += 1
                continue
            say(changes_text(found.old, found.new, found.program, units))
            if found.kept:
                say(f"  Kept as record {found.kept.record}, revision {found.kept.revision}.")
        if refused:
            raise typer.Exit(1)


@app.command()
def remove(
    records: Annotated[list[int], typer.Argument(metavar="RECORD...", help="Numbers in the list.")],
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why, for whoever looks later.")] = "",
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who.  [default: you]")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    archive: ArchiveOption = None,
) -> None:
    """Remove joints; who did it, when and why is kept.

    Photographs go where no other joint needs them.

    \b
    Example:
      gapvision archive remove 12 --reason "wrong wall, kept again as 13"
    """
    with exit_status(), _opened(archive) as opened:
        from gapvision.archive.query import load_entry
        from gapvision.archive.remove import remove_record

        records = list(dict.fromkeys(records))
        for number in records:
            e = load_entry(opened, number)
            say(f"Record {number}: {e.joint}, revision {e.revision}, kept {e.kept_at[:10]}.")
        if not yes:
            typer.confirm("Remove for good, with photographs and outcomes?", abort=True, err=True)
        for number in records:
            files = remove_record(opened, number, by or getpass.getuser(), reason)
            say(f"Removed: record {number} and {files} files.")


def _past_day(text: str) -> date:
    if (day := _day(text)) > date.today():
        raise ValueError(f"{text!r} is still to come: write the day on which it was found.")
    return day


def _ends(text: str, units: str) -> tuple[float, float]:
    parts = text.split(",")
    if len(parts) != 2:
        raise ValueError(f"{text!r} is no stretch: write two stations, as 900,1100.")
    return tuple(sorted(parse_length(part, units) for part in parts))


def _check_stations(values, stations: list[float], units: str) -> None:
    """Refuse what was read where nothing was measured: it would stay for good, compared with nothing."""
    for value in values:
        if value.kind != "open" and not stations[0] <= value.station_mm <= stations[-1]:
            first, last, given = (
                format_length(mm, units) for mm in (stations[0], stations[-1], value.station_mm)
            )
            raise MeasurementError(
                "not-measured-there",
                f"Station {given} was not measured, only {first} to {last}: correct the station, or "
                "tell it by --remarks.",
            )


def _above_zero(text: str, units: str) -> float:
    mm = parse_length(text, units)
    if mm <= 0:
        raise ValueError(f"{text!r} must be above zero.")
    return mm


# --- what is written ------------------------------------------------------------------------------


@contextmanager
def _opened(told: Path | None):
    from gapvision.archive.store import open_archive

    with open_archive(told) as opened:
        yield opened


def _list(query, limit, json_file, csv_file, units, told, overwrite) -> None:
    """The records wanted: to files one by one, or as a table on the screen."""
    if json_file == csv_file == STDOUT:
        raise typer.BadParameter("only one of --json and --csv can be standard output.")
    with exit_status(), _opened(told) as opened:
        from gapvision.archive.query import entries

        if csv_file is not None:
            from gapvision.archive.table import RECORD_HEAD, record_row, write_csv

            rows = map(record_row, entries(opened, query, limit))
            _to_file(csv_file, "the table", overwrite, lambda f: write_csv(f, RECORD_HEAD, rows))
        if json_file is not None:
            found = entries(opened, query, limit)
            _to_file(json_file, "the list", overwrite, lambda f: _write_list(f, found))
        if csv_file is None and json_file is None:
            from gapvision.archive.text import list_text

            limit = limit or SHOWN
            found = list(entries(opened, query, limit + 1))
            say(list_text(found[:limit], units, len(found) > limit))


def _write_list(file: BinaryIO, found: Iterator) -> None:
    file.write(f'{{"format": "{LIST_FORMAT}", "version": 1, "records": ['.encode())
    for n, entry in enumerate(found):
        file.write(b",\n" * (n > 0) + json.dumps(entry.columns, allow_nan=False).encode())
    file.write(b"]}\n")


def _to_file(name: str, what: str, overwrite: bool, write: Callable[[BinaryIO], object]) -> None:
    """Write piece by piece to standard output, or to a file that is there whole or not at all."""
    if name == STDOUT:
        write(sys.stdout.buffer)
        sys.stdout.buffer.flush()
        return
    from gapvision.files import check_new

    path = Path(name)
    check_new(path, what, overwrite)
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as file:
            write(file)
        check_new(path, what, overwrite)
        part.replace(path)
    except OSError as error:
        text = f"{what.capitalize()} could not be written to {path}: {error.strerror or error}."
        raise MeasurementError("not-written", text) from error
    finally:
        part.unlink(missing_ok=True)
    say(f"Written: {path}")


@contextmanager
def _counted(what: str) -> Iterator[Callable[[int], None] | None]:
    """A count on standard error, where somebody looks at it and nobody knows how many there are."""
    if not sys.stderr.isatty():
        yield None
        return
    yield lambda done: print(f"\r{done} {what}", end="", file=sys.stderr, flush=True)
    print("\r", end="", file=sys.stderr)
