"""`gapvision archive outcome`: what came of a joint."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from gapvision.cli.archive.records import (
    RecordArgument,
    opened_archive,
    read_day,
    read_text,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    UnitsOption,
    exit_status,
    read_option,
    say,
    units_of,
)
from gapvision.lengths import parse_length, parse_reading, parse_trial


def outcome(
    record: RecordArgument,
    setting_used: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="What the points were set to.")
    ] = None,
    caliper: Annotated[
        list[str] | None,
        typer.Option(
            metavar="READING",
            help="The gap by caliper: 46.8@310, or @widest; with its uncertainty "
            "46.8@310~0.3; repeat for each.",
        ),
    ] = None,
    trial: Annotated[
        list[str] | None,
        typer.Option(
            metavar="TRIAL",
            help="A trial line: 49:78@310, points set to 49 and the groove 78 wide at 310; "
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
            help="Places between which the joint did not close: 900,1100; repeat for each.",
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
    typed = {
        "--caliper": caliper, "--trial": trial, "--open": open_, "--setting-used": setting_used,
        "--narrowest-cover": narrowest_cover,
    }  # fmt: skip
    units = units_of(units, typed)
    calipers = [read_option("--caliper", parse_reading, text, units) for text in caliper or ()]
    trials = [read_option("--trial", parse_trial, text, units) for text in trial or ()]
    opens = [read_option("--open", _ends, text, units) for text in open_ or ()]
    used = read_option("--setting-used", _above_zero, setting_used, units)
    cover = read_option("--narrowest-cover", parse_length, narrowest_cover, units)
    remarks = " ".join(read_text("--remarks", remarks).split())
    if not (calipers or trials or opens or used or remarks or instead) and cover is None:
        raise typer.BadParameter("tell at least one thing, such as --caliper 46.8@310.")
    day = read_option(
        "--date", lambda text, _: _past_day(text), date_ or date.today().isoformat(), units
    )
    with exit_status(), opened_archive(archive) as opened:
        from gapvision.archive.outcome import (
            Outcome,
            add_outcome,
            check_outcome,
            check_stations,
            outcome_values,
            outcomes_of,
            together,
        )
        from gapvision.archive.query import load_record
        from gapvision.archive.record import options_of
        from gapvision.archive.text import outcome_lines

        kept = load_record(opened, record)
        result = kept.result
        widest = result["widest_gap"]["station_mm"]

        values = outcome_values(calipers, trials, opens, widest)
        check_stations(values, result["profile"]["station_mm"], units)
        told = Outcome(day.isoformat(), used, cover, remarks, values, instead)
        check_outcome(told, options_of(kept.options, (), (), None))
        add_outcome(opened, record, told)
        lines = outcome_lines(together(outcomes_of(opened, record)) or told, units)
        say("\n".join([f"Told of record {record} by now:", *lines]))


def _past_day(text: str) -> date:
    if (day := read_day(text)) > date.today():
        raise ValueError(f"{text!r} is still to come: write the day on which it was found.")
    return day


def _ends(text: str, units: str) -> tuple[float, float]:
    parts = text.split(",")
    if len(parts) != 2:
        raise ValueError(f"{text!r} is no stretch: write two places, as 900,1100.")
    low_mm, high_mm = sorted(parse_length(part, units) for part in parts)
    return low_mm, high_mm


def _above_zero(text: str, units: str) -> float:
    mm = parse_length(text, units)
    if mm <= 0:
        raise ValueError(f"{text!r} must be above zero.")
    return mm
