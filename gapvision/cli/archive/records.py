"""Which records of which archive a command means: its options, and what they mean."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from gapvision.cli.terminal import read_option
from gapvision.inputs.joint_name import one_line
from gapvision.lengths import parse_length

if TYPE_CHECKING:
    from gapvision.archive.store import Archive

BuildingOption = Annotated[str | None, typer.Option(metavar="NAME", help="Of this building.")]
WallOption = Annotated[str | None, typer.Option(metavar="NAME", help="Of this wall.")]
LogOption = Annotated[str | None, typer.Option(metavar="NAME", help="Of this log.")]
SinceOption = Annotated[
    str | None, typer.Option(metavar="DATE", help="Kept on this day or later: 2026-05-31.")
]
UntilOption = Annotated[
    str | None, typer.Option(metavar="DATE", help="Kept on this day or earlier.")
]
StatusOption = Annotated[
    Literal["measured", "doubtful"] | None, typer.Option(help="Of this status.")
]
GapOption = Annotated[
    str | None, typer.Option(metavar="RANGE", help="Widest gap: 30..45, 40.. or ..25.")
]
SettingOption = Annotated[
    str | None, typer.Option(metavar="RANGE", help="What to set the points to, likewise.")
]
RecordArgument = Annotated[int, typer.Argument(metavar="RECORD", help="Its number in the list.")]
RecordsArgument = Annotated[
    list[int] | None, typer.Argument(metavar="RECORD...", help="Numbers in the list.")
]


@contextmanager
def opened_archive(told: Path | None, clearing: bool = False) -> Iterator[Archive]:
    """The archive that is meant, open."""
    from gapvision.archive.store import open_archive

    with open_archive(told, clearing=clearing) as opened:
        yield opened


# --- what was typed -------------------------------------------------------------------------------


def query_of(
    building, wall, log, since, until, status, gap, setting, units, text="", records=None
):  # fmt: skip
    """The `Query` that options mean; a date is a whole day where this is."""
    from gapvision.archive.query import Query

    return Query(
        *(name and one_line(name) for name in (building, wall, log)),
        read_option("--since", lambda t, _: _utc(read_day(t)), since, units),
        read_option("--until", lambda t, _: _utc(read_day(t) + timedelta(days=1)), until, units),
        status,
        read_option("--gap", _range, gap, units) or (None, None),
        read_option("--setting", _range, setting, units) or (None, None),
        text,
        tuple(records or ()),
    )  # fmt: skip


def read_day(text: str) -> date:
    """A date as people write it; a ValueError says how."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no date: write it as 2026-05-31.") from None


def _utc(day: date) -> str:
    from gapvision.archive.record import in_utc

    return in_utc(datetime.combine(day, time()).astimezone().isoformat())


def _range(text: str, units: str) -> tuple[float | None, float | None]:
    low, dots, high = text.partition("..")
    if not dots or not (low or high):
        raise ValueError(f"{text!r} is no range: write 30..45, 40.. or ..25.")
    ends = tuple(parse_length(end, units) if end else None for end in (low, high))
    if None not in ends and ends[0] > ends[1]:
        raise ValueError(f"{text!r} ends before it begins: exchange the two.")
    return ends
