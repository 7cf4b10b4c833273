"""Stored joints measured again, told: a line for each that changed, and how many did not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass

from gapvision.answer.as_json import measurement_of
from gapvision.archive.text import bare, set_to_text
from gapvision.day.again import Again
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.phrases import wrap

_JOINT = 32  # columns


@dataclass(frozen=True, slots=True)
class Change:
    """A record measured again: what was told then and now, each as people read it.

    ``lacked``: there is no answer. ``before``: it was measured again earlier.
    """

    record: int
    joint: str = ""
    then: tuple[str, ...] = ()
    now: tuple[str, ...] = ()
    lacked: bool = False
    before: bool = False

    @property
    def changed(self) -> bool:
        """Whether anything that is told did."""
        return self.then != self.now


def change_of(again: Again, units: str) -> Change:
    """A record's change, from what is stored and what came of it now."""
    before = again.before is not None
    old = again.old
    if old is None or again.new is None:
        return Change(again.record, lacked=True, before=before)
    then, now = (_told(measurement_of(answer), units) for answer in (old.result, again.new))
    return Change(again.record, "/".join(astuple(old.entry.joint)), then, now, before=before)


def changes_table(changes: Sequence[Change], units: str) -> str:
    """The table of what changed, at most `phrases.WIDTH` columns wide."""
    changed = [c for c in changes if c.changed]
    lines = []
    if changed:
        lines.append(f"{'No':>6} {'joint':{_JOINT}} {f'set {units}':>15} {f'gap {units}':>15}")
    for c in sorted(changed, key=lambda c: c.record):
        (set_then, gap_then, *more_then), (set_now, gap_now, *more_now) = c.then, c.now
        joint = c.joint if len(c.joint) <= _JOINT else c.joint[: _JOINT - 1] + "~"
        status_then, status_now = more_then[0], more_now[0]
        if status_then != status_now:
            other = "DOUBTFUL" if status_now == "doubtful" else status_now
        else:
            other = "cautions" if more_then[1:] != more_now[1:] else ""
        row = (
            f"{c.record:>6} {joint:{_JOINT}} {_pair(set_then, set_now):>15} "
            f"{_pair(gap_then, gap_now):>15} {other}"
        )
        lines.append(row.rstrip())
    return "\n".join([*lines, *[""] * bool(lines), *wrap(_counts(changes))])


def _told(m: Measurement, units: str) -> tuple[str, ...]:
    set_to, gap = set_to_text(m.set_to_mm, units), format_length(m.widest_gap.value_mm, units)
    return bare(set_to), bare(gap), m.status, *sorted({c.code for c in m.cautions})


def _pair(then: str, now: str) -> str:
    return now if then == now else f"{then} > {now}"


def _counts(changes: Sequence[Change]) -> str:
    """``120 records: 8 changed, 110 the same, 2 not measured. 40 of them measured again before.``"""
    lacked = sum(c.lacked for c in changes)
    changed, before = sum(c.changed for c in changes), sum(c.before for c in changes)
    parts = [f"{changed} changed", f"{len(changes) - changed - lacked} the same"]
    parts += [f"{lacked} not measured"] if lacked else []
    earlier = f" {before} of them measured again before." if before else ""
    return f"{len(changes)} records: {', '.join(parts)}.{earlier}"
