"""A caution as a value: what was found, where, and whether it makes the answer doubtful."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Caution:
    """Something the builder must know; `answer.caution_text` makes its sentence of it.

    Attributes
    ----------
    code : str
        Stable, for programs.
    from_mm, to_mm : float or None
        Its stretch, if it has one.
    doubtful : bool or None
        Whether it makes the answer doubtful. None of one that was read back from a file of before they
        told it: that knows the answer's status and not by which caution.
    facts : mapping
        What its sentence tells, by name: the parameters of that sentence's function; or ``text``, the
        sentence itself, where it is given already.
    more : int
        How many more there are of its kind that are not told.
    """

    code: str
    from_mm: float | None = None
    to_mm: float | None = None
    doubtful: bool | None = False
    facts: Mapping[str, Any] = field(default_factory=dict)
    more: int = 0

    @property
    def stretch_mm(self) -> tuple[float, float]:
        """Its stretch.

        Raises
        ------
        ValueError
            Where it has none.
        """
        if self.from_mm is None or self.to_mm is None:
            raise ValueError(f"{self.code} has no stretch")
        return self.from_mm, self.to_mm


def told(
    code: str,
    text: str,
    from_mm: float | None = None,
    to_mm: float | None = None,
    doubtful: bool | None = None,
) -> Caution:
    """A caution that was read back from a file, with the sentence as it was told then."""
    return Caution(code, from_mm, to_mm, doubtful, facts={"text": text})


def capped(cautions: list[Caution], most: int = MOST_NAMED) -> list[Caution]:
    """The first few of cautions that are alike; the last one says how many more there are."""
    more = len(cautions) - most
    if more <= 0:
        return cautions
    return [*cautions[: most - 1], replace(cautions[most - 1], more=more)]
