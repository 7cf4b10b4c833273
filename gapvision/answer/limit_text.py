"""What is said of a limit: as a caution where it may be broken, and in lists of all limits."""

from __future__ import annotations

import math
from collections.abc import Callable

from gapvision.advice.caution import Caution
from gapvision.advice.limits import Judged
from gapvision.answer.teller import Teller
from gapvision.inputs.rules import COVER, LOG, OWN, RUN, SHARES, WIDTH, Rule
from gapvision.phrases import distance_text


def limit_words(j: Judged, units: str, length: Callable[[float, str], str] = distance_text) -> str:
    """What is allowed: a length, and the share of the diameter that it is."""
    said = length(j.limit_mm, units)
    return f"{_share(j.rule)} of the upper log's diameter, {said}" if j.rule.share else said


def verdict_words(j: Judged) -> str:
    """Whether a limit is broken, and how likely of 100 where it may be."""
    if math.isnan(j.chance):
        return "unknown"
    if j.verdict == "kept":
        return "kept"
    return f"{j.verdict} ({min(round(100 * j.chance), 99)} in 100)"


def _limit_broken(say: Teller, c: Caution, judged: Judged, rules: str) -> str:
    stretch = ""
    if c.from_mm is not None and c.to_mm is not None and c.to_mm > c.from_mm:
        stretch = f", {say.stretch(c.from_mm, c.to_mm)}"
    own = judged.rule.mark == OWN
    named = (
        "Your own limit." if own else f"Rule {rules}, {judged.rule.mark}; local code comes first."
    )
    return f"{_found(say, judged)}{stretch}: {verdict_words(judged)}. {named}"


def _found(say: Teller, j: Judged) -> str:
    found, limit = say.about(j.found_mm), limit_words(j, say.units)
    where = say.place(j.station_mm)
    if j.rule.what == RUN:
        return f"The groove is about as narrow as the least cover over {found}, more than {limit}"
    if j.rule.what == COVER:
        return f"The groove is {found} wide {where}, less than {limit}"
    if j.rule.what == LOG:
        return f"The {j.log} log is {found} thick {where}, less than {limit}"
    how = "wide" if j.rule.what == WIDTH else "deep"
    return f"The groove is {found} {how} {where}, more than {limit}"


def _share(rule: Rule) -> str:
    for below in (2, 4, 8):
        if abs(rule.value * below - round(rule.value * below)) < 1e-9:
            return f"{round(rule.value * below)}/{below}"
    return f"{rule.value:g}"


def _height_outside(say: Teller, c: Caution) -> str:
    return (
        f"No height can be told {say.place(c.stretch_mm[0])}: it lies outside of what was measured."
    )


SENTENCES: dict[str, Callable[..., str]] = {f"limit-{what}": _limit_broken for what in SHARES} | {
    "height-outside": _height_outside
}
