"""What a plan says: steps and a table for people, and one dict for programs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from gapvision.errors import MeasurementError
from gapvision.lengths import format_length, round_up
from gapvision.phrases import DECIMALS, wrap
from gapvision.scene.card import CARD_COUNT
from gapvision.shoot.plan import Plan, Row
from gapvision.shoot.ways import LEVEL, STRETCH_MM, VIEW, Hung, Shoot, Stand

FORMAT, VERSION = "gapvision-plan", 1
NEAR_SHOT_MM = 1000.0  # the least distance of docs/photograph.md; under it shots are near ones

SAFETY = (
    "Dog or chock both ends before anyone leans, reaches, nails or photographs. Never photograph "
    "from a ladder; never step back while looking at the screen. No hand in the gap."
)
HONESTY = (
    "± is the half-width of the setting, 95 of 100, that the program's own fit would state for "
    "plain tapered logs whose edges are found rightly; a hard background can make it worse. The "
    "minutes are judged, not timed: one person, cards printed, logs swept."
)


def plan_text(plan: Plan, units: str = "mm", color: bool = False) -> str:
    """The plan for people, at most 80 columns wide: what to do, then all ways in a table."""
    site, shoot = plan.site, plan.chosen.shoot
    first = f"PLAN: {_lower(shoot.name)}, on {format_length(site.length_mm, units)} of log."
    lines = [f"\x1b[1m{first}\x1b[0m" if color else first]
    lines += wrap(
        f"{_photographs(shoot)}, {_count(len(shoot.cards), 'card')}, about "
        f"{_minutes(shoot)} minute{'' if _minutes(shoot) == '1' else 's'}; then the setting is "
        f"known to about {_half_width(plan.chosen, units)} for a cover of "
        f"{format_length(site.cover_mm, units)}."
    )
    lines.append("")
    for k, step in enumerate(_steps(plan, units), 1):
        lines += wrap(step, f"{k}. ")
    lines += ["", *_table(plan, units), "", *wrap(HONESTY)]
    for note in _notes(plan, units):
        lines += wrap(note, "- ")
    return "\n".join([*lines, "", *wrap(SAFETY)])


def plan_json(plan: Plan) -> dict:
    """The plan for programs, of version `VERSION`; lengths in mm.

    Returns
    -------
    dict
        Stations of ``first_pass`` and ``cards`` run from the left notch as seen from outside, those
        of ``second_pass`` from the middle of each stretch that could still decide.
    """
    shoot = plan.chosen.shoot
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "planned",
        "chosen": shoot.code,
        "ways": [_way(row) for row in plan.rows],
        "card_on": plan.site.cards_on,
        "cards": [
            {"number": k, "side": c.side, "station_mm": _number(c.station_mm)}
            for k, c in enumerate(shoot.cards, 1)
        ],
        "first_pass": [_stand(s) for s in shoot.sweep],
        "second_pass": [_stand(s) for s in shoot.stretch],
    }


def refusal_json(error: MeasurementError) -> dict:
    """What programs get where nothing could be planned."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "refused",
        "reason": {"code": error.code, "text": error.text},
    }


# --- the steps ------------------------------------------------------------------------------------


def _steps(plan: Plan, units: str) -> Iterator[str]:
    shoot = plan.chosen.shoot
    yield _hang(plan, units)
    yield from _pass(plan, shoot.sweep, units)
    if shoot.readings:
        times = "the widest gap" if shoot.readings == 1 else "the widest gap and one place more"
        yield f"Read the calipers at {times}, and note number and place (--reading)."
    if shoot.stretch:
        yield (
            "Run gapvision measure on these. The answer names the stretches that could still "
            f"decide; most often there are one or two, of up to {_place(STRETCH_MM, units)}."
        )
        for group in _groups(shoot.stretch):
            where = "the middle of each stretch"
            if len(group) > 1:
                apart = group[1].station_mm - group[0].station_mm
                where = f"each stretch, {_place(apart, units)} apart"
                where += ", a card in each" if group[0].distance_mm < plan.reach.distance_mm else ""
            yield "Only there, " + _from_where(group, where, units)
        yield "Run gapvision measure again, on all photographs together."
    else:
        yield "Run gapvision measure on all photographs together."


def _hang(plan: Plan, units: str) -> str:
    shoot, log = plan.chosen.shoot, plan.site.cards_on
    outside = [c for c in shoot.cards if c.side == "outside"]
    n, both = len(outside), len(outside) < len(shoot.cards)
    face = f"the widest point of the {log} log's face"
    if n == 1:
        text = f"Hang card 1 at {face}, in the middle of the log."
    else:
        numbers = "1 and 2" if n == 2 else f"1 to {n}"
        every = "the second" if n == 2 else "then one every"
        text = (
            f"Hang cards {numbers} at {face}, from left to right as seen from outside: the first "
            f"{_place(outside[0].station_mm, units)} from the left notch, {every} "
            f"{_place(_apart(outside), units)}{' farther' if n == 2 else ''}."
        )
    if both:
        numbers = {1: "card 2", 2: "cards 3 and 4"}.get(n, f"cards {n + 1} to {2 * n}")
        text += f" Opposite them on the inside, {numbers}."
    return text + (" (Say --card-on lower to measure.)" if log == "lower" else "")


def _pass(plan: Plan, stands: tuple[Stand, ...], units: str) -> Iterator[str]:
    at = sorted({c.station_mm for c in plan.chosen.shoot.cards})
    between = [0.5 * (a + b) for a, b in pairwise(at)]
    for group in _groups(stands):
        s, stations = group[0], [x.station_mm for x in group]
        if len(stations) == len(at) and np.allclose(stations, at):
            where = "the card" if len(at) == 1 else "the cards"
        elif len(stations) == len(between) and np.allclose(stations, between):
            where = "the middle between " + ("the two cards" if len(at) == 2 else "each two cards")
        elif len(stations) == len(at) + 1:
            where = "the first card, the middle between each two cards, and the last card"
        else:
            where = f"the log, {_place(stations[1] - stations[0], units)} apart, a card in each"
        text = _capital(_from_where(group, where, units))
        if s.height_mm == stands[0].height_mm and s.side == "outside":
            text += f" A usual phone shows about {_place(VIEW * s.distance_mm, units)} of the log"
            text += ", and neighbours share a card." if len(group) > 1 else "."
        yield text


def _groups(stands: tuple[Stand, ...]) -> list[list[Stand]]:
    """Stands of one side, height and distance, in their order."""
    out: dict[tuple, list[Stand]] = {}
    for s in stands:
        out.setdefault((s.side, s.height_mm, s.distance_mm), []).append(s)
    return list(out.values())


def _from_where(group: list[Stand], where: str, units: str) -> str:
    s = group[0]
    if abs(s.height_mm) <= LEVEL * s.distance_mm:
        height = "level, the lens as high as the middle of the gap"
    else:
        way = "above" if s.height_mm > 0 else "below"
        height = f"the lens {_place(abs(s.height_mm), units)} {way} the gap"
    side = "from inside, " if s.side == "inside" else ""
    pole = ", the phone on a pole with its timer" if s.on_pole else ""
    return (
        f"{side}{_count(len(group), 'photograph')} opposite {where}: {height}, "
        f"{_place(s.distance_mm, units)} from the logs{pole}."
    )


# --- the table ------------------------------------------------------------------------------------


def _table(plan: Plan, units: str) -> list[str]:
    head = f"  {'way':38}{'photos':>8}{'cards':>7}{'minutes':>9}{'setting ±':>15}"
    lines = [head]
    for row in plan.rows:
        few, most = row.shoot.photographs
        photos = str(few) if few == most else f"{few}-{most}"
        mark = ">" if row is plan.chosen else " "
        half = _half_width(row, units).removeprefix("±")
        lines.append(
            f"{mark} {row.shoot.name:38}{photos:>8}{len(row.shoot.cards):>7}"
            f"{_minutes(row.shoot):>9}{half:>15}"
        )
    return lines


def _notes(plan: Plan, units: str) -> Iterator[str]:
    site, reach = plan.site, plan.reach
    raised = {r.name: r for r in reach.raised}
    if not reach.is_level:
        yield (
            f"The lens cannot be held level with the gap; {_place(abs(reach.level_mm), units)} "
            f"{'above' if reach.level_mm > 0 else 'below'} it is the nearest. One such height "
            "alone is worse than a level photograph."
        )
    for name, limit in (("above", "highest"), ("below", "lowest")):
        if name not in raised:
            yield (
                f"No photographs from {name}: the {limit} place of the lens (or a narrow gap, "
                "which looks shut from there) leaves too little difference in height."
            )
    near = [n for n, r in raised.items() if r.distance_mm < reach.distance_mm]
    if near:
        yield (
            f"From {' and '.join(near)} the lens comes nearer than to the level photographs: from "
            "there so little height is steep enough."
        )
    if site.room_mm is not None and reach.distance_mm < NEAR_SHOT_MM:
        yield (
            "Near shots show little of the log, so that cards and photographs are many. Mark where "
            "to stand, and keep both feet there."
        )
    if any(s.on_pole for s in plan.chosen.shoot.sweep + plan.chosen.shoot.stretch):
        yield "On a pole: the timer at 10 s, nobody under it, and look at each picture before moving on."
    if reach.is_level:
        yield (
            "A caliper reading tells how far the crowns lie out of line, which level photographs "
            "do not see. Read with care: the answer leans on it."
        )
    if site.sides == "both" and not any(r.shoot.code == "sides" for r in plan.rows):
        yield f"Both sides would need more than the {CARD_COUNT} cards that there are."
    missing = [n for n in ("upper", "lower") if getattr(site, f"{n}_diameter") is None]
    if missing:
        yield (
            f"No diameter stated for the {' and the '.join(missing)} log: tape both ends and state "
            "them, here and to measure; the setting is known better then."
        )


# --- words and numbers ----------------------------------------------------------------------------


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _photographs(shoot: Shoot) -> str:
    few, most = shoot.photographs
    return _count(few, "photograph") if few == most else f"{few} to {most} photographs"


def _count(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"


def _minutes(shoot: Shoot) -> str:
    """Half minutes, rounded up."""
    halves = math.ceil(2 * shoot.minutes - 0.01)
    return f"{halves / 2:.1f}".removesuffix(".0")


def _half_width(row: Row, units: str) -> str:
    u95 = row.expected.setting.U95_mm
    return f"±{u95:.1f} mm" if units == "mm" else f"±{format_length(round_up(u95, 'in'), 'in')}"


def _place(mm: float, units: str) -> str:
    """Whole centimetres or inches: nobody holds a phone nearer than that."""
    step = 10.0 if units == "mm" else 25.4
    return format_length(round(mm / step) * step, units)


def _apart(cards: list[Hung]) -> float:
    return cards[1].station_mm - cards[0].station_mm


def _number(value: float) -> float:
    return round(float(value), DECIMALS)


def _way(row: Row) -> dict:
    few, most = row.shoot.photographs
    return {
        "code": row.shoot.code,
        "name": row.shoot.name,
        "photographs": [few, most],
        "cards": len(row.shoot.cards),
        "readings": row.shoot.readings,
        "minutes": round(row.shoot.minutes, 1),
        "setting_U95_mm": _number(row.expected.setting.U95_mm),
        "widest_gap_U95_mm": _number(row.expected.widest.U95_mm),
    }


def _stand(s: Stand) -> dict:
    return {
        "side": s.side,
        "station_mm": _number(s.station_mm),
        "height_mm": _number(s.height_mm),
        "distance_mm": _number(s.distance_mm),
        "on_pole": s.on_pole,
    }
