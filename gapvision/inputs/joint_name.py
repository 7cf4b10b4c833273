"""Which joint it is, in the builder's own words: building, wall and log."""

from __future__ import annotations

import unicodedata
from dataclasses import astuple, dataclass

LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class JointName:
    """Which joint it is; a part is empty where it was not stated.

    Examples
    --------
    >>> joint = JointName("Lake house", "north", "3")
    >>> str(joint), joint.title, joint.wall_title
    ('Lake house, wall north, log 3', 'Log 3, north wall, Lake house', 'north wall')
    """

    building: str = ""
    wall: str = ""
    log: str = ""

    def __str__(self) -> str:
        return f"{self.building}, wall {self.wall}, log {self.log}"

    @property
    def title(self) -> str:
        """The joint as it is called, as far as it was stated."""
        parts = f"Log {self.log}" if self.log else "", self.wall_title, self.building
        return ", ".join(p for p in parts if p)

    @property
    def wall_title(self) -> str:
        """``north wall``; as it was stated where that says wall already."""
        said = not self.wall or "wall" in self.wall.casefold()
        return self.wall if said else f"{self.wall} wall"


def parse_joint_name(building: str, wall: str, log: str) -> JointName:
    """A whole name from what was typed, its parts as `one_line` writes them.

    Raises
    ------
    ValueError
        Where a part is empty, too long or no text.
    """
    joint = JointName(*map(one_line, (building, wall, log)))
    for what, typed, name in zip(
        ("building", "wall", "log"), (building, wall, log), astuple(joint), strict=True
    ):
        if len(name) > LONGEST_NAME:
            raise ValueError(
                f"the name of the {what} has {len(name)} letters: write at most {LONGEST_NAME}."
            )
        if not name or not name.isprintable():
            raise ValueError(
                f"{typed!r} cannot name the {what}: write 1 to {LONGEST_NAME} letters or digits."
            )
    return joint


def one_line(name: str) -> str:
    """A name with single spaces and one way of writing accents (Unicode's form NFC)."""
    return " ".join(unicodedata.normalize("NFC", name).split())
