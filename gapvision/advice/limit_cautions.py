"""A caution for each limit that the groove may break, and for heights that cannot be told."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from gapvision.advice.caution import Caution
from gapvision.inputs.rules import COVER, LOG, OWN, RUN, WIDTH, Rule
from gapvision.phrases import distance_text, place_text
from gapvision.quantity import Place

if TYPE_CHECKING:
    from gapvision.advice.decision import Decision
    from gapvision.advice.limits import Judged


# --- cautions -------------------------------------------------------------------------------------


def decision_cautions(
    d: Decision, place: Callable[[float], Place], units: str
) -> tuple[Caution, ...]:
    """A caution for each limit that may be broken, and for heights that cannot be told."""
    out = []
    for j in d.judged:
        if j.verdict != "kept":
            stretch = ""
            if j.from_mm is not None and j.to_mm > j.from_mm:
                a, b = (distance_text(v, units) for v in (j.from_mm, j.to_mm))
                stretch = f", from {a} to {b}"
            text = f"{_found(d, j, place, units)}{stretch}: {_chance(j)}. {_named(d, j.rule)}"
            out.append(Caution(f"limit-{j.rule.what}", text, j.from_mm, j.to_mm))
    for x in d.heights_outside_mm:
        text = (
            f"No height can be told at {distance_text(x, units)}: it lies outside the measured "
            "stretch."
        )
        out.append(Caution("height-outside", text, x, x))
    return tuple(out)


def _found(d: Decision, j: Judged, place: Callable[[float], Place], units: str) -> str:
    found, limit = distance_text(j.found_mm, units), _limit(j, units)
    where = place_text(place(j.station_mm), units).removesuffix(", seen from outside")
    if j.rule.what == RUN:
        return f"The groove is about as narrow as the least cover over {found}, more than {limit}"
    if j.rule.what == COVER:
        return f"The groove is {found} wide {where}, less than {limit}"
    if j.rule.what == LOG:
        return f"The {j.log} log is {found} thick {where}, less than {limit}"
    how = "wide" if j.rule.what == WIDTH else "deep"
    return f"The groove is {found} {how} {where}, more than {limit}"


def _limit(j: Judged, units: str) -> str:
    mm = distance_text(j.limit_mm, units)
    return f"{_share(j.rule)} of the upper log's diameter, {mm}" if j.rule.share else mm


def _share(rule: Rule) -> str:
    for below in (2, 4, 8):
        if abs(rule.value * below - round(rule.value * below)) < 1e-9:
            return f"{round(rule.value * below)}/{below}"
    return f"{rule.value:g}"


def _chance(j: Judged) -> str:
    """How likely a limit is broken, in words and of 100."""
    return f"{j.verdict} ({min(round(100 * j.chance), 99)} in 100)"


def _named(d: Decision, rule: Rule) -> str:
    own = rule.mark == OWN
    return "Your own limit." if own else f"Rule {d.rules}, {rule.mark}; local code comes first."
