"""One caution, and how many that are alike become a few."""

from __future__ import annotations

from dataclasses import dataclass, replace

MOST_NAMED = 3


def capped(cautions: list[Caution], most: int = MOST_NAMED, what: str = "stretch") -> list[Caution]:
    """The first few of cautions that are alike; the last one says how many more there are."""
    more = len(cautions) - most
    if more <= 0:
        return cautions
    many = "" if more == 1 else "es" if what.endswith("ch") else "s"
    last = cautions[most - 1]
    text = f"{last.text} And {more} more {what}{many}."
    return [*cautions[: most - 1], replace(last, text=text)]


@dataclass(frozen=True, slots=True)
class Caution:
    """Something the builder must know, with a stable code, and its stretch if it has one."""

    code: str
    text: str
    from_mm: float | None = None
    to_mm: float | None = None
