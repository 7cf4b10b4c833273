"""The sentences of what to do next, a function a code. Each one's parameters are the step's facts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby

from gapvision.advice.to_do import Anew, ByHandStep, Spot, Step, Thing
from gapvision.answer.teller import Teller
from gapvision.inputs.mistakes import Mistake
from gapvision.joint.photo_results import CardResult
from gapvision.lengths import Reading, format_entry, format_length
from gapvision.phrases import PLACE_MM, cards_text, cure_text, mistake_text


def to_do_text(step: Step, cards: tuple[CardResult, ...], units: str) -> str:
    """The sentence of a step; one that was read back from a file keeps that of then."""
    if "text" in step.facts:
        return step.facts["text"]
    text = _SENTENCES[step.code](Teller(units, cards), **step.facts)
    return f"{text} ({step.more} more in the details.)" if step.more else text


# --- at the log -----------------------------------------------------------------------------------


def _lower(say: Teller, left_mm: float, right_mm: float) -> str:
    left, right = (format_length(mm, say.units) for mm in (left_mm, right_mm))
    if left_mm == right_mm:
        depth = f"both notches by {left}"
    elif left_mm and right_mm:
        depth = f"the left notch by {left}, the right one by {right}"
    else:
        side, by = ("left", left) if left_mm else ("right", right)
        depth = f"the {side} notch by {by}"
    return f"Deepen {depth}, and make the log fast."


def _prepare(say: Teller, things: Sequence[Thing]) -> str:
    text = "; ".join(_THINGS[x.code](say, *x.of) for x in things)
    return f"{text[0].upper()}{text[1:]}."


def _state_ends(say: Teller, *ends: str) -> str:
    both = len(ends) > 1
    origin = min((c.number for c in say.cards if c.side == "outside"), default=None)
    tape = "" if origin is None else f", taped from card {origin}'s nail"
    which = "the notches are" if both else f"the {ends[0]} notch is"
    options = "--from and --to" if both else "--from" if ends[0] == "left" else "--to"
    return f"state where {which} by {options}{tape}"


def _correct_entry(say: Teller, mistake: Mistake, trial: bool, *others: object) -> str:
    cure = cure_text(mistake.meant, say.units)
    what = "trial line" if trial else "caliper reading"
    return f"the {what} looks like {mistake_text(mistake.code)}: {cure}"


_THINGS: dict[str, Callable[..., str]] = {
    "make-fast": lambda say: "make the logs fast",
    "cloth": lambda say: "hang a plain cloth behind the gap",
    "hang-free": lambda say, *n: f"let {cards_text(sorted(n))} hang free and still",
    "glue-flat": lambda say, *n: f"glue {cards_text(sorted(n))} to something stiff and flat",
    "check-bar": lambda say, *n: f"lay a ruler on the check bars of {cards_text(sorted(n))}",
    "count-from": lambda say, origin, lost: (
        f"card {lost} is in no photograph, so that all that was typed counts from card {origin}: "
        "correct it"
    ),
    "look-for": lambda say, origin, fellow: (
        f"look whether card {fellow} hangs here too: what was typed counts from card {origin}"
    ),
    "part-joints": lambda say: (
        "look whether these photographs are of two joints, and measure each by itself (gapvision sort "
        "parts them)"
    ),
    "originals": lambda say: "take the phone's own files, not a messenger's copies",
    "copy-again": lambda say, *names: f"copy {', '.join(names)} from the phone again",
    "main-lens": lambda say: "take the phone's own files, by its main lens without zoom",
    "correct-diameter": lambda say, *logs: (
        f"correct {' and '.join(f'--{log}-diameter' for log in sorted(logs, reverse=True))}"
    ),
    "tape-logs": lambda say, *logs: (
        f"tape {'both logs' if len(logs) > 1 else f'the {logs[0]} log'} at both ends "
        f"({', '.join(f'--{log}-diameter' for log in sorted(logs, reverse=True))})"
    ),
    "tape-wall": lambda say: "measure through the wall again, from card to card",
    "larger-scriber": lambda say: "take a larger scriber",
    "state-ends": _state_ends,
    "correct-entry": _correct_entry,
    "limit": lambda say: "the groove may break a limit: another cover or log, see the details",
}


# --- photographs ----------------------------------------------------------------------------------


def _photograph(say: Teller, spots: Sequence[Anew | Spot], gain_mm: float | None) -> str:
    parts = []
    for (level, height_mm), group in groupby(spots, lambda s: (s.level, s.height_mm)):
        parts.append(f"{_heights(say, level, height_mm)}, {_stands(say, list(group))}")
    gain = ""
    if gain_mm is not None:
        gain = f" That brings it to about ± {format_length(gain_mm, say.units)}."
    return f"Photograph {'; and '.join(parts)}.{gain}"


def _heights(say: Teller, level: bool, height_mm: float) -> str:
    if not height_mm:
        return "level with the gap"
    steep = f"from {say.height(height_mm)} above and below the gap"
    return f"level and {steep}" if level else steep


def _stands(say: Teller, spots: list[Anew | Spot]) -> str:
    words = []
    for s in spots:
        if isinstance(s, Anew):
            return "from where you stood"
        if s.step_mm is None:
            words.append(say.place(0.5 * (s.from_mm + s.to_mm)).removeprefix("at "))
        else:
            words.append(f"{say.stretch(s.from_mm, s.to_mm)} in steps of {say.height(s.step_mm)}")
    return f"standing {_and(words)}"


# --- by hand --------------------------------------------------------------------------------------


def _read(say: Teller, places: Sequence[ByHandStep]) -> str:
    parts = []
    for how, group in groupby(sorted(places, key=lambda x: _HOW_ORDER.index(x.how)), _how):
        found = list(group)
        where = _and([say.stretch(x.from_mm, x.to_mm) for x in found])
        parts.append(_HOW[how].format(where) + (_typed(say, found) if how == "caliper" else ""))
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _how(x: ByHandStep) -> str:
    return x.how


def _typed(say: Teller, found: list[ByHandStep]) -> str:
    """How one types a reading: places are found from the nearest card and typed from the first."""
    middle_mm = 0.5 * (found[0].from_mm + found[0].to_mm)
    step_mm = PLACE_MM[say.units]
    at = format_entry(Reading(1.0, round(middle_mm / step_mm) * step_mm, 1.0), say.units)
    entry = f"GAP@{at.partition('@')[2]}"
    quoted = f'"{entry}"' if " " in entry else entry
    return f" (--reading {quoted})" if len(found) == 1 else f" (--reading {quoted} and so on)"


_HOW_ORDER = ("lines", "again", "caliper", "straightedge")
_HOW = {
    "lines": "look at the lines drawn by hand {}",
    "again": "measure again by hand {}",
    "caliper": "put the caliper in {}",
    "straightedge": "lay a straightedge across the crown {}, and look for a hollow",
}


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


_SENTENCES: dict[str, Callable[..., str]] = {
    "lower": _lower,
    "prepare": _prepare,
    "photograph": _photograph,
    "read": _read,
}
