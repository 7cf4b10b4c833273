"""Which joint it is, in the builder's own words: building, wall and log."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import astuple, dataclass

LONGEST_NAME = 80
_UNFIT = re.compile(r'[\x00-\x1f<>:"/\\|?*]')  # in no file name of any common system
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)  # by Windows


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


def as_counted(name: str) -> list[tuple[int, int, str]]:
    """A name's place among others, numbers in it by their value: 9 before 10."""
    parts = re.split(r"(\d+)", name.casefold())
    return [(0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p]


def as_folder(name: str) -> str:
    """A name as a folder's: no separators, nothing reserved, no dots at its ends."""
    fit = _UNFIT.sub("_", name).strip(". ") or "_"
    return f"_{fit}" if _RESERVED.fullmatch(fit) else fit


def one_line(name: str) -> str:
    """A name with single spaces and one way of writing accents (Unicode's form NFC)."""
    return " ".join(unicodedata.normalize("NFC", name).split())
