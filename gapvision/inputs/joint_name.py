"""Which joint it is, in the builder's own words: building, wall and log."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Job:
    """Which joint it is, in the builder's own words."""

    building: str
    wall: str
    log: str

    def __str__(self) -> str:
        return f"{self.building}, wall {self.wall}, log {self.log}"


def job_of(building: str, wall: str, log: str) -> Job:
    """A job from what was typed, with single spaces and one way of writing accents.

    Raises
    ------
    ValueError
        Where a name is empty, too long or no text.
    """
    names = []
    for what, text in (("building", building), ("wall", wall), ("log", log)):
        name = " ".join(unicodedata.normalize("NFC", text).split())
        if len(name) > LONGEST_NAME:
            raise ValueError(
                f"the name of the {what} has {len(name)} letters: write at most {LONGEST_NAME}."
            )
        if not name or not name.isprintable():
            raise ValueError(
                f"{text!r} cannot name the {what}: write 1 to {LONGEST_NAME} letters or digits."
            )
        names.append(name)
    return Job(*names)


def joint_name(building: str, wall: str, log: str) -> str:
    """A joint as it is called, as far as it was stated."""
    parts = f"Log {log}" if log else "", wall_name(wall), building
    return ", ".join(p for p in parts if p)


def wall_name(wall: str) -> str:
    """``north wall``; as it was stated where that says wall already."""
    return wall if not wall or "wall" in wall.casefold() else f"{wall} wall"
