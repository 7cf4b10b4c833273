"""The parts of a report before they are drawn: the headline, and sections of rows, text and tables."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Headline:
    """The answer, first and large. ``tone`` is measured, doubtful or refused.

    ``advice`` says whether to scribe or to lower the log first, where the measurement tells.
    """

    tone: str
    status: str
    set_to: str
    cover: str
    advice: str = ""

    @property
    def large(self) -> str:
        """What is read from across the yard."""
        return self.set_to if self.tone == "refused" else f"Set the points to {self.set_to}"

    @property
    def sentence(self) -> str:
        """The same on one line."""
        parts = f"{self.large} {self.cover}".rstrip() + ".", self.advice, self.status
        return " ".join(p for p in parts if p)


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a report under a heading: rows of name and value, then text, then tables."""

    title: str
    rows: tuple[tuple[str, str], ...] = ()
    text: tuple[str, ...] = ()
    items: tuple[str, ...] = ()
    parts: tuple[Section, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()  # the first row holds the headings
