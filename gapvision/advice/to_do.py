"""What to do next: the cures of all cautions, merged, in the order in which one walks.

First what is to be done at the log, its notches and cards; then photographs, left to right along
the log; then readings by hand, likewise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from gapvision.advice.caution import Caution
from gapvision.advice.decision import Decision
from gapvision.advice.findings import STEEPER, Findings

MOST_NAMED = 3  # things, stands or readings of one step; the details tell the others
ONE_VIEW = 1.1  # of the distance: what one photograph shows well of the log
NEARLY_ALL = 0.6  # of the joint: photograph all of it
NOT_WHEN_LOWERED = (
    "make-fast",
    "larger-scriber",
    "limit",
)  # told with the notch, or of no use then
ONE_READING_MM = 150.0  # readings nearer than this are one


@dataclass(frozen=True, slots=True)
class Thing:
    """Something to do at the log before a photograph; ``of`` names its cards, logs, ends or mm."""

    code: str
    of: tuple[Any, ...] = ()


@dataclass(frozen=True, slots=True)
class Spot:
    """A stretch to photograph: level with the gap, and from ``height_mm`` above and below it.

    ``height_mm`` 0 is level only; ``step_mm`` is None where one stand shows the stretch, else from
    stand to stand.
    """

    from_mm: float
    to_mm: float
    level: bool
    height_mm: float
    step_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Anew:
    """All of the joint to photograph, likewise, from where one stood before."""

    level: bool
    height_mm: float


@dataclass(frozen=True, slots=True)
class ByHandStep:
    """A stretch to see to by hand.

    ``caliper``, ``straightedge``, ``again`` what was entered there, or ``lines`` that were drawn.
    """

    how: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do; `answer.to_do_text` makes its sentence of it.

    ``code`` is ``lower``, ``prepare``, ``photograph`` or ``read``; ``facts`` are the parameters of its
    sentence's function, or ``text``, the sentence itself, where it was read back from a file. ``more``
    tells how many things of its kind are left to the details.
    """

    code: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    more: int = 0


BY_HAND = ("reading-disagrees", "trial-disagrees")

Cure = Thing | Anew | Spot | ByHandStep
Named = TypeVar("Named", Thing, Anew | Spot, ByHandStep)


def find_to_do(
    f: Findings, cautions: Sequence[Caution], decision: Decision, kind: str
) -> tuple[Step, ...]:
    """At most three steps.

    Parameters
    ----------
    f : Findings
    cautions : sequence of Caution
        Gravest first; of those that a step has no room for the first ones are named.
    decision : Decision
    kind : as `verdict.kind_of` has it.
    """
    if any(c.code == "perhaps-several" for c in cautions):
        return (
            Step("prepare", {"things": (Thing("part-joints"),)}),
        )  # all else is of neither joint
    idle: set[str] = set()
    if kind in ("measure-again", "lower-first"):
        idle.add("bridged")  # what is photographed anew may be seen then
    if any(c.code in (*BY_HAND, "diameter-contradicted") and c.doubtful for c in cautions):
        idle.add("log-moved")  # an entry that is wrong pulls the photographs apart
    cures = [x for c in cautions if c.code not in idle for x in _cures(f, c)]
    things = _things([x for x in cures if isinstance(x, Thing)])
    spots = _spots([x for x in cures if isinstance(x, Anew | Spot)], f)
    if kind == "lower-first" and decision.lowering is not None:
        # All is photographed anew then, whatever the photographs lack that there are.
        notches = decision.lowering.notches
        facts = {"left_mm": notches.left_mm, "right_mm": notches.right_mm}
        anew = Anew(level=True, height_mm=STEEPER * f.distance_mm)
        return (
            Step("lower", facts),
            *_step("prepare", "things", [t for t in things if t.code not in NOT_WHEN_LOWERED]),
            Step("photograph", {"spots": (anew,), "gain_mm": None}),
        )
    gain = None
    if kind != "measure-again":  # what is known of a contradiction says nothing of the next answer
        gain = next((c.facts["gain_u95_mm"] for c in cautions if "gain_u95_mm" in c.facts), None)
    by_hand = _by_hand([x for x in cures if isinstance(x, ByHandStep)])
    return (
        *_step("prepare", "things", things),
        *_step("photograph", "spots", spots, _place, gain_mm=gain),
        *_step("read", "places", by_hand, lambda x: x.from_mm),
    )


def _step(
    code: str, name: str, found: list[Named], order: Callable[[Named], float] | None = None,
    **facts: float | None,
) -> Iterator[Step]:  # fmt: skip
    """A step of the gravest few, along the log where they have places; none of none."""
    if found:
        named = found[:MOST_NAMED]
        named = sorted(named, key=order) if order else named
        yield Step(code, {name: tuple(named), **facts}, len(found) - len(named))


def _place(x: Anew | Spot) -> float:
    return float("-inf") if isinstance(x, Anew) else x.from_mm


# --- the cures of one caution ---------------------------------------------------------------------


def _cures(f: Findings, c: Caution) -> Iterator[Cure]:
    facts, high_mm = c.facts, STEEPER * f.distance_mm
    match c.code:
        case "not-seen" if facts.get("hidden"):
            yield ByHandStep("caliper", *c.stretch_mm)
        case "not-seen":
            yield Spot(*c.stretch_mm, level=True, height_mm=0.0)
        case "hand-disagrees":
            yield ByHandStep("lines", *c.stretch_mm)
        case "misfit" | "log-moved" | "line-steps":
            yield from _contradicted(f, c, high_mm)
        case "one-height" | "heights-too-alike" if not facts["long_log"]:
            yield Anew(level=False, height_mm=facts["height_mm"])
        case "could-decide" | "near-crown":
            yield Spot(*c.stretch_mm, level=False, height_mm=facts["height_mm"])
        case "wide":
            yield Spot(*c.stretch_mm, level=True, height_mm=facts["height_mm"])
        case "one-photo":
            yield Spot(*c.stretch_mm, level=True, height_mm=high_mm)
        case "gap-shut" | "bridged":
            yield ByHandStep("caliper", *c.stretch_mm)
        case "hollow":
            yield ByHandStep("straightedge", *c.stretch_mm)
        case "crossing" | "notch-not-confirmed":
            if end := facts.get("end"):
                yield Thing("state-ends", (end,))
            else:
                yield ByHandStep("caliper", *c.stretch_mm)
        case code if code in BY_HAND:
            entry = facts["entry"]
            if entry.mistake is None:
                yield ByHandStep("again", entry.place.station_mm, entry.place.station_mm)
            else:
                yield Thing("correct-entry", (entry.mistake, entry.width is not None))
        case _:
            yield from _things_of(c)


def _contradicted(f: Findings, c: Caution, high_mm: float) -> Iterator[Cure]:
    """What moved is made fast, what was taken for a log is covered; then photographed anew."""
    if c.code != "line-steps":
        yield Thing("make-fast")
    if c.code != "log-moved":
        yield Thing("cloth")
    a, b = c.from_mm, c.to_mm
    if a is None or b is None or b - a > NEARLY_ALL * f.length_mm:
        yield Anew(level=True, height_mm=high_mm)
    else:
        yield Spot(a, b, level=True, height_mm=high_mm)


def _things_of(c: Caution) -> Iterator[Thing]:
    """Of a caution about cards, logs or what was stated."""
    facts = c.facts
    match c.code:
        case "station-origin":
            yield Thing("count-from", (facts["origin"], facts["lost"]))
        case "perhaps-origin":
            yield Thing("look-for", (facts["origin"], facts["fellow"]))
        case "diameter-contradicted":
            yield Thing("correct-diameter", (facts["found"].log,))
        case "reduced-copy":
            yield Thing("originals")
        case "damaged" if c.doubtful:
            yield Thing("copy-again", (facts["photo"],))
        case "lens-contradicted":
            yield Thing("main-lens")
        case "card-bent" | "card-not-flat":
            yield Thing("glue-flat", (facts["card"],))
        case "card-leans":
            yield Thing("hang-free", tuple(facts["cards"]))
        case "card-swung":
            yield Thing("hang-free", (facts["card"],))
        case "card-moved":
            yield Thing("hang-free", tuple(facts["cards"]))
        case "card-size":
            yield Thing("check-bar", tuple(facts["cards"]))
        case "odd-size":
            yield Thing("tape-logs", (facts["log"],))
        case "no-diameter":
            yield Thing("tape-logs", tuple(facts["logs"]))
        case "wall-disagrees":
            yield Thing("tape-wall")
        case "scriber-too-small":
            yield Thing("larger-scriber")
        case code if code.startswith("limit-"):
            yield Thing("limit")


# --- merged ---------------------------------------------------------------------------------------


def _things(found: list[Thing]) -> list[Thing]:
    """One of each code, with all that it is to be done to."""
    merged: dict[str, Thing] = {}
    for x in found:
        before = merged.get(x.code, Thing(x.code)).of
        merged[x.code] = Thing(x.code, (*before, *(y for y in x.of if y not in before)))
    return list(merged.values())


def _spots(found: list[Anew | Spot], f: Findings) -> list[Anew | Spot]:
    """Stands that one photograph serves put together, gravest first; what is needed of all, first."""
    out: list[Anew | Spot] = []
    anew = [x for x in found if isinstance(x, Anew)]
    spots = [x for x in found if isinstance(x, Spot)]
    if anew:
        level, high_mm = any(x.level for x in anew), max(x.height_mm for x in anew)
        out.append(Anew(level, high_mm))
        if level:
            return out
        spots = [replace(x, height_mm=0.0) for x in spots if x.level]
    view_mm = ONE_VIEW * f.distance_mm
    placed: list[Spot] = []
    for x in spots:
        for k, y in enumerate(placed):
            a, b = min(x.from_mm, y.from_mm), max(x.to_mm, y.to_mm)
            if b - a <= view_mm or (x.from_mm <= y.to_mm and y.from_mm <= x.to_mm):
                placed[k] = Spot(a, b, x.level or y.level, max(x.height_mm, y.height_mm))
                break
        else:
            placed.append(x)
    return out + [
        replace(x, step_mm=f.distance_mm if x.to_mm - x.from_mm > view_mm else None) for x in placed
    ]


def _by_hand(found: list[ByHandStep]) -> list[ByHandStep]:
    """Readings next to each other put together, gravest first."""
    placed: list[ByHandStep] = []
    for x in found:
        for k, y in enumerate(placed):
            near = x.from_mm - y.to_mm < ONE_READING_MM and y.from_mm - x.to_mm < ONE_READING_MM
            if near and x.how == y.how:
                ends = min(x.from_mm, y.from_mm), max(x.to_mm, y.to_mm)
                placed[k] = ByHandStep(x.how, *ends)
                break
        else:
            placed.append(x)
    return placed
