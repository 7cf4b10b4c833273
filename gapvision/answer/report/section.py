"""The parts of a report before they are drawn: the headline, and sections of rows, text and tables."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Headline:
    """The answer, ``large`` first, as it is read from across the yard.

    ``kind`` is that of the `Verdict`, or ``refused``; ``reason`` tells where it is decided or why there
    is no setting, ``ready`` whether to scribe, ``crayon`` what to write on the log.
    """

    kind: str
    large: str
    reason: str
    ready: str = ""
    crayon: str = ""

    @property
    def has_setting(self) -> bool:
        """Whether there is a number to set the points to, or at least to."""
        return self.kind in ("set", "at-least")

    @property
    def sentence(self) -> str:
        """All but the crayon line on one line."""
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
