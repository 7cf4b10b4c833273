"""The parts of a report before they are drawn: the headline, and sections of rows, text and tables."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Headline:
    """The answer, first and large. ``tone`` is measured, lower, doubtful or refused.

    ``large`` is what is read from across the yard, ``reason`` where it is decided or why there is no
    setting, ``ready`` says whether to scribe, where it is.
    """

    tone: str
    large: str
    reason: str
    ready: str = ""

    @property
    def sentence(self) -> str:
        """The same on one line."""
        return " ".join(p for p in (f"{self.large}.", self.ready, self.reason) if p)


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a report under a heading: rows of name and value, then text, then tables."""

    title: str
    rows: tuple[tuple[str, str], ...] = ()
    text: tuple[str, ...] = ()
    items: tuple[str, ...] = ()
    parts: tuple[Section, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()  # the first row holds the headings
