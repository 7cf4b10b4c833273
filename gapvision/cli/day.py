"""`gapvision measure FOLDER_OF_JOINTS`: each joint measured, written beside its photographs, kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from gapvision.cli.cluster import check_cluster_usage, cores, joined_cluster
from gapvision.cli.terminal import INTERRUPTED, progress_bar, say, stop_on_interrupt
from gapvision.inputs.options import MeasureOptions

if TYPE_CHECKING:
    from gapvision.archive.store import Archive

SUFFIXES = (".html", ".pdf")
ONE_JOINT = (
    "--log", "--inside", "--from", "--to", "--reading", "--trial", "--heights-at", "--json",
    "--outlines", "--picture", "--details",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class DayAsked:
    """What was asked of a whole day: of its joints, and what is to become of their answers.

    ``units`` are those that were told, None where they follow from what the joints' forms state.
    """

    options: MeasureOptions
    units: str | None
    keep: bool
    building: str | None
    wall: str | None
    archive: Path | None
    report: Path | None
    overwrite: bool
    jobs: int | None
    cluster: str | None = None
    shared: bool = False


def check_day_usage(asked: DayAsked, said: Mapping[str, object]) -> None:
    """Refuse what goes with one joint, and what goes with something else, as wrong usage."""
    for option in ONE_JOINT:
        if said[option]:
            raise typer.BadParameter(
                "goes with one joint, not with a folder of joints: measure that joint by itself, or "
                "write it into the joint.toml of its folder.",
                param_hint=option,
            )
    if asked.archive is not None and not asked.keep:
        raise typer.BadParameter("goes with --keep.", param_hint="--archive")
    if asked.report is not None and asked.report.suffix.lower() not in SUFFIXES:
        text = f"a report's name ends in .html or .pdf, not {asked.report.name!r}."
        raise typer.BadParameter(text, param_hint="--report")
    check_cluster_usage(asked.cluster, asked.shared, asked.jobs)


def check_one_joint_usage(said: Mapping[str, object]) -> None:
    """Refuse what goes with a folder of joints where there is one joint, as wrong usage."""
    for option, instead in (
        ("--report", " For one joint: --json joint.json, then gapvision report joint.json."),
        ("--jobs", ""),
        ("--cluster", ""),
        ("--shared", ""),
    ):
        if said[option]:
            raise typer.BadParameter(f"goes with a folder of joints.{instead}", param_hint=option)


def measure_day(day: Path, folders: dict[Path, list[Path]], asked: DayAsked) -> None:
    """Measure what is new of a day's joints, and tell all; status 1 where one has no answer."""
    from gapvision.day.joints import joints_of, named
    from gapvision.day.run import run_day
    from gapvision.day.text import day_text, row_of
    from gapvision.day.wall_report import report_paths

    joints = joints_of(day, folders, asked.options, asked.building, asked.wall)
    units = asked.units or ("in" if any(j.inches for j in joints) else "mm")
    joints = [replace(j, options=replace(j.options, units=units)) for j in joints]
    joints = named(joints) if asked.keep else joints
    reports = report_paths(joints, asked.report, asked.overwrite) if asked.report else {}
    rows, answers, records, complete = {}, {}, [], True
    with (
        joined_cluster(asked.cluster, asked.shared) as cluster,
        _opened(asked) as archive,
        progress_bar("joints") as progress,
        stop_on_interrupt("the joints that are begun") as stop,
    ):
        run = run_day(joints, archive, asked.jobs or cores(), progress, stop, cluster=cluster)
        for k, outcome in run:
            rows[k] = row_of(joints[k].label, outcome, units)
            records += [] if outcome.record is None else [outcome.record]
            complete &= outcome.complete
            if reports and outcome.answer:
                answers[k] = outcome.answer
    say(day_text([rows[k] for k in sorted(rows)]))
    if records:
        say(f"Kept: {len(records)} joints, records {min(records)} to {max(records)}", err=True)
    if left := len(joints) - len(rows):
        say(f"Stopped with {left} of {len(joints)} joints left: run it again for them.", err=True)
        raise typer.Exit(INTERRUPTED)
    for path, numbers in reports.items():
        answered = [(joints[k], answers[k]) for k in numbers if k in answers]
        _report(path, answered, units, asked.overwrite)
    if not complete:
        raise typer.Exit(1)


def _report(path: Path, answered: list, units: str, overwrite: bool) -> None:
    from gapvision.day.wall_report import write_wall_report

    if answered:
        write_wall_report(path, answered, units, overwrite)
        say(f"Report: {path}")


@contextmanager
def _opened(asked: DayAsked) -> Iterator[Archive | None]:
    if not asked.keep:
        yield None
        return
    from gapvision.archive.store import open_archive

    with open_archive(asked.archive, create=True) as archive:
        yield archive
