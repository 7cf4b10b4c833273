"""The command `report`: one joint or a whole wall, to read, print and sign."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from gapvision.cli.terminal import (
    OverwriteOption,
    UnitsOption,
    exit_status,
    progress_bar,
    say,
    units_preferred,
)
from gapvision.files import check_new, write_new
from gapvision.lengths import Units

if TYPE_CHECKING:
    from gapvision.answer.report.joint import JointReport

SUFFIXES = (".html", ".pdf")
MOST_DIGITS = 18  # of the number of a record


def report(
    sources: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="JSON|RECORD...",
            help="Files that measure --json wrote, or numbers of records in the archive; several "
            "make the report of a wall.",
        ),
    ] = None,
    *,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The report to write: .html or .pdf.")],
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="The PDF's paper.")] = "a4",
    units: UnitsOption = None,
    photos: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Where the photographs are, if no longer where they were measured.",
        ),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The picture that measure --picture wrote.")
    ] = None,
    building: Annotated[
        str | None, typer.Option(metavar="NAME", help="The joint's building, as you call it.")
    ] = None,
    wall: Annotated[str | None, typer.Option(metavar="NAME", help="Its wall.")] = None,
    log: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Its upper log; repeat for each JSON file, in order."),
    ] = None,
    archive: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="The archive's folder. Without records: the latest of each log of --building and "
            "--wall, or of --log.",
        ),
    ] = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Write the report of one joint, or of a whole wall, as one file to read, print and sign.

    \b
    Examples:
      gapvision report joint.json --out joint.html --picture joint.jpg --building Barn \\
          --wall north --log 3
      gapvision report log1.json log2.json log3.json --out wall.pdf --paper letter
      gapvision report --building Barn --wall north --out north.pdf

    Exit status: 0 written, 1 refused, 2 wrong usage.
    """
    sources, log = sources or [], log or []
    if out.suffix.lower() not in SUFFIXES:
        text = f"a report's name ends in .html or .pdf, not {out.name!r}."
        raise typer.BadParameter(text, param_hint="--out")
    records = [int(s) for s in sources if _is_record(s)]
    files = [Path(s) for s in sources if not _is_record(s)]
    _check_usage(files, records, photos, picture, building, wall, log, archive)
    units = units_preferred(units)
    whole_wall = len(sources) > 1 or (not sources and not log)
    with exit_status():
        check_new(out, "the report", overwrite)
        from gapvision.answer.report.sources import report_of_json
        from gapvision.answer.report.write import write_kind
        from gapvision.inputs.joint_name import JointName

        if files:
            names = log or ([""] if len(files) == 1 else [f.stem for f in files])
            joints = [JointName(building or "", wall or "", name) for name in names]
            with progress_bar() as progress:
                reports = []
                for k, (file, joint) in enumerate(zip(files, joints, strict=True)):
                    if progress:
                        progress(k, len(files))
                    reports.append(report_of_json(file, joint, photos, picture, units))
        else:
            reports = _from_archive(archive, records, building, wall, log, units)
        content = write_kind(reports, whole_wall, out.suffix.lower(), paper)
        write_new(out, content, "the report", overwrite)
        say(f"Report: {out}")
        for text in (text for r in reports for text in r.missing):
            say(f"Left out: {text}", err=True)


def _is_record(source: str) -> bool:
    """Digits alone are a record's number, unless there is such a file."""
    digits = source.isascii() and source.isdecimal() and len(source) <= MOST_DIGITS
    return digits and not os.path.exists(source)


def _check_usage(
    files: list[Path],
    records: list[int],
    photos: Path | None,
    picture: Path | None,
    building: str | None,
    wall: str | None,
    log: list[str],
    archive: Path | None,
) -> None:
    if files and records:
        raise typer.BadParameter("name files or records, not both.", param_hint="JSON|RECORD")
    if files:
        if archive is not None:
            raise typer.BadParameter("goes with records, not with files.", param_hint="--archive")
        if log and len(log) != len(files):
            text = f"{len(log)} for {len(files)} files: name one for each, in their order."
            raise typer.BadParameter(text, param_hint="--log")
        if picture is not None and len(files) > 1:
            text = "goes with one joint: the report of a wall has no pictures."
            raise typer.BadParameter(text, param_hint="--picture")
        if photos is not None and not os.path.isdir(photos):
            raise typer.BadParameter(f"there is no folder {photos}.", param_hint="--photos")
        return
    for option, given in (("--photos", photos), ("--picture", picture)):
        if given is not None:
            text = "goes with a JSON file: the archive has its own."
            raise typer.BadParameter(text, param_hint=option)
    if records:
        if building or wall or log:
            text = "records know their joint: leave --building, --wall and --log out."
            raise typer.BadParameter(text)
    elif not (building and wall) or len(log) > 1:
        text = "name a JSON file, a record, or --building and --wall of the archive."
        raise typer.BadParameter(text, param_hint="JSON|RECORD")


def _from_archive(
    folder: Path | None,
    records: list[int],
    building: str | None,
    wall: str | None,
    log: list[str],
    units: Units | None,
) -> list[JointReport]:
    from gapvision.archive.outcome import outcomes_of
    from gapvision.archive.query import load_record
    from gapvision.archive.report import latest_records, report_of_record
    from gapvision.archive.store import open_archive
    from gapvision.inputs.joint_name import parse_joint_name

    with open_archive(folder) as opened:
        if not records:
            try:
                # as the archive writes names
                joint = parse_joint_name(building or "", wall or "", log[0] if log else "-")
            except ValueError as error:
                raise typer.BadParameter(str(error)) from None
            records = latest_records(opened, joint.building, joint.wall, joint.log if log else None)
        return [
            report_of_record(opened, load_record(opened, n), outcomes_of(opened, n), units)
            for n in records
        ]
