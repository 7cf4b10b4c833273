"""What was corrected by hand in the photographs, in words."""

from __future__ import annotations

from collections.abc import Iterable

from gapvision.answer.teller import Teller
from gapvision.joint.photo_results import Corrected, joined_mm
from gapvision.measurement import Measurement
from gapvision.phrases import wrap

MOST_NAMED = 2  # stretches; of more the first and the last end
TITLE = "Corrected by hand"
LEAD = 18  # columns before the text, as of the answer's other lines


def corrected_text(m: Measurement, units: str = "mm") -> str:
    """Which photographs were corrected, and where: ``1 photograph, from 120 to 340 mm right of card 1``.

    Empty where nothing was.
    """
    changed = [(c, p.used) for p in m.photos if (c := p.corrected) is not None]
    used = [c for c, is_used in changed if is_used]
    dropped = sum(c.given.dropped for c, _ in changed)
    parts = []
    if used:
        stretches = joined_mm(s for c in used for s in c.stretches_mm)
        where = _stretches(Teller(units, m.cards), stretches)
        parts.append(f"{_photographs(len(used))}, {where}")
    for count, what in ((dropped, "dropped"), (len(changed) - len(used) - dropped, "left out")):
        if count:
            parts.append(f"{count if parts else _photographs(count)} {what}")
    return "; ".join(parts)


def corrected_lines(m: Measurement, units: str) -> list[str]:
    """A line for each photograph that was corrected; nothing where none was."""
    lead = f"{'By hand':{LEAD}}"
    return [
        line for name, text in corrected_rows(m, units) for line in wrap(f"{name}: {text}", lead)
    ]


def corrected_rows(m: Measurement, units: str) -> list[tuple[str, str]]:
    """Each photograph that was corrected, and what was changed in it."""
    say = Teller(units, m.cards)
    return [(p.name, _photo_text(c, say)) for p in m.photos if (c := p.corrected) is not None]


def _photo_text(c: Corrected, say: Teller) -> str:
    """What was changed in one photograph."""
    if c.given.dropped:
        return "dropped"
    parts = [
        f"{log} log's line drawn {_stretches(say, stretches)}".rstrip()
        for log, stretches in (("upper", c.upper_mm), ("lower", c.lower_mm))
        if getattr(c.given, log)
    ]
    if c.given.not_gap:
        parts.append(f"not the gap {_stretches(say, joined_mm(c.given.not_gap))}")
    return "; ".join(parts)


def _photographs(count: int) -> str:
    return f"{count} photograph{'s' * (count > 1)}"


def _stretches(say: Teller, stretches: Iterable[tuple[float, float]]) -> str:
    found = list(stretches)
    if len(found) <= MOST_NAMED:
        return " and ".join(say.stretch(*s) for s in found)
    return f"{len(found)} stretches {say.stretch(found[0][0], found[-1][1])}"
