"""Which records of which archive a command means: its options, and what they mean."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from gapvision.cli.terminal import read_option
from gapvision.inputs.joint_name import one_line
from gapvision.lengths import parse_length

if TYPE_CHECKING:
    from gapvision.archive.query import Query
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
_BEFORE_ALL, _AFTER_ALL = "", "~"  # as texts, which times are compared as
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
    building: str | None,
    wall: str | None,
    log: str | None,
    since: str | None,
    until: str | None,
    status: str | None,
    gap: str | None,
    setting: str | None,
    units: str,
    text: str = "",
    records: Sequence[int] | None = None,
) -> Query:
    """The `Query` that options mean; a date is a whole day where this is."""
    from gapvision.archive.query import Query

    return Query(
        building and one_line(_as_kept(building)),
        wall and one_line(_as_kept(wall)),
        log and one_line(_as_kept(log)),
        read_option("--since", lambda t, _: _utc(read_day(t), 0), since, units),
        read_option("--until", lambda t, _: _utc(read_day(t), 1), until, units),
        status,
        read_option("--gap", _range, gap, units) or (None, None),
        read_option("--setting", _range, setting, units) or (None, None),
        _as_kept(text),
        tuple(records or ()),
    )


def read_day(text: str) -> date:
    """A date as people write it; a ValueError says how."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no date: write it as 2026-05-31.") from None


def read_text(option: str, text: str) -> str:
    """What is to be kept, refused as wrong usage where it is no text."""
    if not _is_text(text):
        raise typer.BadParameter("is no text in UTF-8: type it again.", param_hint=option)
    return text


def _is_text(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:  # bytes of the command line that are no UTF-8
        return False
    return True


def _as_kept(text: str) -> str:
    """A text to look for: what is none was never kept, and is found nowhere."""
    return text.encode(errors="replace").decode()


def _utc(day: date, later: int) -> str:
    """When a day begins, or the one ``later``; before or after all times where no clock goes so far."""
    from gapvision.archive.record import in_utc

    try:
        begins = datetime.combine(day + timedelta(days=later), time())
        return in_utc(begins.astimezone().isoformat())
    except (OverflowError, ValueError):
        return _BEFORE_ALL if day.year < 1000 else _AFTER_ALL


def _range(text: str, units: str) -> tuple[float | None, float | None]:
    low, dots, high = text.partition("..")
    if not dots or not (low or high):
        raise ValueError(f"{text!r} is no range: write 30..45, 40.. or ..25.")
    low_mm, high_mm = (parse_length(end, units) if end else None for end in (low, high))
    if low_mm is not None and high_mm is not None and low_mm > high_mm:
        raise ValueError(f"{text!r} ends before it begins: exchange the two.")
    return low_mm, high_mm
