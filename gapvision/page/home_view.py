"""The first screen: joints at work, and the walls of the archive."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlencode

from gapvision.archive.query import Entry
from gapvision.inputs.joint_name import JointName, as_counted


@dataclass(frozen=True, slots=True)
class WallRow:
    """A wall in a list."""

    url: str
    title: str
    text: str


def wall_rows(entries: Iterable[Entry]) -> list[WallRow]:
    """The walls of an archive's records, the one kept last first."""
    walls: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        joint = entry.joint  # North and north are one
        names = joint.building.casefold(), joint.wall.casefold()
        walls.setdefault(names, []).append(entry)
    return [_wall_row(found) for found in walls.values()]


def _wall_row(entries: list[Entry]) -> WallRow:
    joint = entries[0].joint
    title = f"{JointName(joint.building, joint.wall).wall_title}, {joint.building}"
    return WallRow(wall_url(joint.building, joint.wall), title, _told(entries))


def wall_url(building: str, wall: str) -> str:
    """The address of a wall's screen."""
    return f"/wall?{urlencode({'building': building, 'wall': wall})}"


def _told(entries: list[Entry]) -> str:
    logs = sorted({e.joint.log for e in entries}, key=as_counted)
    if len(logs) == 1:
        return f"log {logs[0]}"
    return f"{len(logs)} logs, up to log {logs[-1]}"
