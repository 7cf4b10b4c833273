"""`gapvision archive remeasure`: stored joints measured again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from gapvision import __version__
from gapvision.cli.archive.records import (
    BuildingOption,
    LogOption,
    RecordsArgument,
    SinceOption,
    StatusOption,
    UntilOption,
    WallOption,
    opened_archive,
    query_of,
)
from gapvision.cli.cluster import (
    ClusterOption,
    JobsOption,
    SharedOption,
    check_cluster_usage,
    cores,
    joined_cluster,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    INTERRUPTED,
    UnitsOption,
    exit_status,
    progress_bar,
    say,
    stop_on_interrupt,
    units_of,
)

if TYPE_CHECKING:
    from gapvision.archive.query import Record
    from gapvision.day.again import Again

IN_FULL = 5  # records whose answers are told side by side; of more there is a line each


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
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    shared: SharedOption = False,
) -> None:
    """Measure stored joints again, and show what changed.

    With --keep, what the present program has measured again already is not measured once more: a run
    that was stopped is gone on with by the same command.

    \b
    Example:
      gapvision archive remeasure 12 --keep
    """
    check_cluster_usage(cluster, shared, jobs)
    units = units_of(units)
    query = query_of(building, wall, log, since, until, status, None, None, units, records=records)
    if query == query_of(None, None, None, None, None, None, None, None, units):
        raise typer.BadParameter("name records, or say of which building, wall, date or status.")
    with exit_status(), opened_archive(archive) as opened:
        from gapvision.archive.query import entries, load_record
        from gapvision.day.again import measured_again, worth_it
        from gapvision.day.again_text import change_of, changes_table

        for number in records or ():
            load_record(opened, number)  # says that there is none
        numbers = worth_it(entries(opened, query), keep)  # new ones come while this goes on
        told, changes, stopped = {}, [], False
        with (
            joined_cluster(cluster, shared) as joined,
            progress_bar("records") as progress,
            stop_on_interrupt("the records that are begun") as stop,
        ):
            run = measured_again(opened, numbers, keep, jobs or cores(), progress, stop, joined)
            for again in run:
                if again.lacked:
                    say(f"Refused: record {again.record}: {again.lacked}", err=True)
                changes.append(change_of(again, units))
                if again.old and again.new and len(numbers) <= IN_FULL:
                    told[again.record] = _in_full(again, again.old, again.new, units)
            stopped = stop()
        for number in numbers:
            if number in told:
                say(told[number])
        if len(numbers) > 1:
            say(("\n" if told else "") + changes_table(changes, units))
        if stopped and (left := len(numbers) - len(changes)):
            say(f"Stopped with {left} of {len(numbers)} records left.", err=True)
            raise typer.Exit(INTERRUPTED)
        if any(c.lacked for c in changes):
            raise typer.Exit(1)


def _in_full(again: Again, old: Record, new: dict, units: str) -> str:
    """The two answers side by side, and where the new one is kept."""
    from gapvision.archive.text import changes_text

    text = changes_text(old, new, __version__, units)
    if again.kept:
        text += f"\n  Kept as record {again.kept.record}, revision {again.kept.revision}."
    if again.before is not None:
        text += f"\n  Kept before as record {again.before}, and not measured again."
    return text
