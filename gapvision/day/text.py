"""A day's joints told: a line each, what to do again, and how many came out how."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gapvision.answer.as_json import measurement_of
from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import contradiction_text, first_line, unseen_mm
from gapvision.day.run import Outcome
from gapvision.measurement import Measurement
from gapvision.phrases import distance_text, wrap

LONGEST_LABEL = 36  # columns; a longer one has its verdict on the next line
NOT_MEASURED, NOT_KEPT = "not-measured", "not-kept"
# By the verdict's kind, or why there is none: what is said above those joints, and in the count.
_HEADS = {
    "set": "Set, but not ready to scribe:",
    "at-least": "Not all of it seen:",
    "measure-again": "Measure again:",
    "lower-first": "Lower first, then measure again:",
    NOT_MEASURED: "Not measured:",
    NOT_KEPT: "Not kept:",
}
_TAPED = "What you tape goes into the joint.toml of the joint's folder."
_COUNTED = {
    "set": "set",
    "at-least": "seen in part",
    "measure-again": "to measure again",
    "lower-first": "to lower first",
    NOT_MEASURED: "not measured",
    NOT_KEPT: "not kept",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One joint as it is told: how it came out, its verdict, and what to do, where anything is.

    ``new`` tells whether it was measured just now.
    """

    label: str
    outcome: str
    verdict: str
    to_do: str = ""
    new: bool = True


def row_of(label: str, outcome: Outcome, units: str) -> Row:
    """The row of a joint."""
    answer, new = outcome.answer, outcome.new
    if answer is None:
        return Row(label, NOT_MEASURED, "NOT MEASURED", outcome.lacked, new)
    if answer["status"] == "refused":
        return Row(label, NOT_MEASURED, "NOT MEASURED", answer["reason"]["text"], new)
    row = answered(label, measurement_of(answer), units, new)
    if outcome.lacked:
        return Row(label, NOT_KEPT, f"{row.verdict}. NOT KEPT", outcome.lacked, new)
    return row


def answered(label: str, m: Measurement, units: str, new: bool) -> Row:
    """The row of an answer: its verdict, and where it is not ready to scribe, what to do."""
    first, kind = first_line(m, units), m.verdict.kind
    if kind == "measure-again":
        first = f"{first}: {contradiction_text(m, units)}"
    elif kind == "at-least":
        first = f"{first}: {distance_text(unseen_mm(m), units)} not seen"
    steps = () if m.verdict.ready else m.verdict.to_do  # what only betters it is told of it alone
    if kind == "set" and steps:
        first = f"{first}, not ready"
    return Row(label, kind, first, " ".join(to_do_text(s, m.cards, units) for s in steps), new)


def day_text(rows: Sequence[Row]) -> str:
    """The table of a day, and below it what to do again; at most `phrases.WIDTH` columns wide."""
    wide = min(max((len(row.label) for row in rows), default=0), LONGEST_LABEL)
    lines = []
    for row in rows:
        if len(row.label) > LONGEST_LABEL:
            lines += [*wrap(row.label), *wrap(row.verdict, " " * (wide + 2))]
        else:
            lines += wrap(row.verdict, f"{row.label:{wide}}  ")
    for outcome, head in _HEADS.items():
        listed = [r for r in rows if r.outcome == outcome and (r.to_do or outcome != "set")]
        if listed:
            lines += ["", head]
        for row in listed:
            lines += wrap(f"{row.label}: {row.to_do}" if row.to_do else row.label, "- ")
    if any("--" in row.to_do for row in rows):  # options that are refused with a folder of joints
        lines += ["", _TAPED]
    return "\n".join([*lines, *[""] * bool(rows), *wrap(_counts(rows))])


def _counts(rows: Sequence[Row]) -> str:
    """``12 joints: 9 set, 2 to measure again, 1 not measured. 8 of them measured before.``"""
    parts = [f"{n} {what}" for outcome, what in _COUNTED.items() if (n := _number(rows, outcome))]
    old = sum(not row.new for row in rows)
    before = f" {old} of them measured before." if old else ""
    came = f": {', '.join(parts)}" if parts else ""
    return f"{len(rows)} joint{'s' * (len(rows) != 1)}{came}.{before}"


def _number(rows: Iterable[Row], outcome: str) -> int:
    return sum(row.outcome == outcome for row in rows)
