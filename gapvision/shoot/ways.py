"""Ways to photograph a joint at one site: cards, stands of the lens and the minutes they take.

A stand's station runs from the left notch to the right as seen from outside, also for photographs
from inside; at a stretch that could still decide it runs from that stretch's middle. Heights are
the lens's over the gap's middle, distances from the logs' face to the lens, mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from gapvision.advice.findings import STEEPER, STEEPEST
from gapvision.errors import PlanNotPossible
from gapvision.inputs.options import COVER_MM
from gapvision.lengths import Diameter
from gapvision.scene.card import CARD_COUNT, CARD_WIDTH_MM
from gapvision.scene.priors import Priors
from gapvision.trace.outlines import LEAST_GAP_PX

USUAL_DISTANCE_MM = 1500.0  # the middle of what README advises
LEAST_DISTANCE_MM = 500.0  # nearer, a photograph cannot show two cards that neighbours share
VIEW = 1.33  # width of a photograph over its distance: 27 mm-equivalent lens, 4:3, held across
PICTURE_PX = (4032, 3024)  # 12 megapixels, the least that phones of today keep by default
LEAST_STEP = 0.08  # less between two heights teaches too little to be worth a photograph
NEAR_MM = 700.0  # the nearest that a raised photograph comes for being steep enough
LEVEL = 0.03  # up to here a height counts as level: the gap shuts by 0.15 mm
AIM_MM = 50.0  # how far beside its aim a phone in the hand points, at either edge of the view
CARDS_APART_MM = 900.0
BESIDE_MM = 20.0  # between two cards, at least
STRETCH_MM = 1500.0  # of log taken for a stretch that could still decide; a judgement
STRETCHES = 2  # at most so many of them are counted in the minutes
SMALL_LOG_MM = 250.0  # under this a card on the upper log hides the gap's upper edge

# Seconds, by judgement and not timed: one person, cards printed, logs fast and swept.
CARD_S = 15.0  # hang, let it come to rest, and take it down afterwards
PHOTO_S = 8.0  # step to the side, aim, hold still
RAISED_S = 12.0  # the same above the head or stooping
POLE_S = 30.0  # set the timer, put the pole up, wait, look at the picture
READING_S = 40.0  # with the calipers, and write down number and station
ROUND_S = 30.0  # round to the other side
RUN_S = 60.0  # hand the photographs over, and `measure`, between two passes


@dataclass(frozen=True, slots=True)
class Site:
    """What is there: the logs, and where the lens can be; None is unknown or not limited, mm."""

    length_mm: float  # between the notches
    upper_diameter: Diameter | None = None
    lower_diameter: Diameter | None = None
    cover_mm: float = COVER_MM
    sides: str = "outside"  # or "both"
    # Of the lens in the hand, over (+) or below (-) the gap's middle.
    lowest_mm: float | None = None
    highest_mm: float | None = None
    pole_mm: float | None = None  # highest of the lens on a pole
    room_mm: float | None = None  # farthest of the lens from the logs' face
    gap_mm: float = 30.0  # a guess

    def radius_mm(self, log: str) -> float:
        """Mean half diameter of the ``"upper"`` or ``"lower"`` log, stated or usual."""
        stated = getattr(self, f"{log}_diameter")
        if stated is None:
            return Priors().unknown_radius_mm
        return float(np.mean([d for _, d in stated.points])) / 2

    @property
    def cards_on(self) -> str:
        """The log that the cards hang on."""
        stated = self.upper_diameter
        small = stated is not None and min(d for _, d in stated.points) < SMALL_LOG_MM
        return "lower" if small else "upper"


@dataclass(frozen=True, slots=True)
class Stand:
    """Where the lens is for one photograph."""

    side: str
    station_mm: float
    height_mm: float
    distance_mm: float
    on_pole: bool = False

    @property
    def width_mm(self) -> float:
        """How much of the log's face the photograph shows for sure."""
        return VIEW * self.distance_mm - 2 * AIM_MM


@dataclass(frozen=True, slots=True)
class Hung:
    """Where a card hangs."""

    side: str
    station_mm: float


@dataclass(frozen=True, slots=True)
class Shoot:
    """One way to photograph the joint: a sweep of the whole log, then what each stretch gets."""

    code: str
    name: str
    cards: tuple[Hung, ...]
    sweep: tuple[Stand, ...]
    stretch: tuple[Stand, ...] = ()  # at each stretch that could still decide
    readings: int = 0

    @property
    def stretches(self) -> int:
        """How many stretches are counted."""
        return STRETCHES if self.stretch else 0

    @property
    def photographs(self) -> tuple[int, int]:
        """Fewest and most."""
        fewest = len(self.sweep) + len(self.stretch)
        return fewest, len(self.sweep) + self.stretches * len(self.stretch)

    @property
    def minutes(self) -> float:
        """One person's time, with the most photographs."""
        s = CARD_S * len(self.cards) + READING_S * self.readings
        s += sum(_seconds(x) for x in self.sweep)
        s += self.stretches * sum(_seconds(x) for x in self.stretch)
        s += RUN_S * bool(self.stretch)
        for stands in (self.sweep, self.stretch):
            s += ROUND_S * (len({x.side for x in stands}) - 1 if stands else 0)
        return s / 60


@dataclass(frozen=True, slots=True)
class Raised:
    """A second height: ``"above"`` or ``"below"``, and the distance that makes it steep enough."""

    name: str
    height_mm: float
    distance_mm: float


@dataclass(frozen=True, slots=True)
class Reach:
    """Heights and distances that the site allows."""

    distance_mm: float
    level_mm: float  # 0, or the nearest to it that can be held
    raised: tuple[Raised, ...]  # above before below; none where nothing is to be gained

    @property
    def is_level(self) -> bool:
        """Whether the lens can be held as high as the gap."""
        return abs(self.level_mm) <= LEVEL * self.distance_mm


def shoots(site: Site) -> tuple[Shoot, ...]:
    """Every way that the site allows, from the quickest kind to the most thorough.

    Raises
    ------
    PlanNotPossible
        Where the gap cannot be seen from anywhere, or more cards are needed than there are.
    """
    reach = reach_of(site)
    at_cards, at_lens = layout(site.length_mm, reach.distance_mm)
    if len(at_cards) > CARD_COUNT:
        raise PlanNotPossible(
            "too-many-cards",
            f"From {reach.distance_mm:.0f} mm this log needs {len(at_cards)} cards, and there are "
            f"{CARD_COUNT}: stand farther away, or measure it in two parts.",
        )
    outside = tuple(Hung("outside", x) for x in at_cards)
    inside = tuple(Hung("inside", x) for x in at_cards)
    level = Raised("level", reach.level_mm, reach.distance_mm)
    sweep = _stands(site, "outside", level, at_lens)
    one = "Level" if reach.is_level else "One height"
    out = [
        Shoot("level", f"{one} only", outside, sweep),
        Shoot("reading", f"{one}, one caliper reading", outside, sweep, readings=1),
        Shoot("readings", f"{one}, two caliper readings", outside, sweep, readings=2),
    ]
    ways: list[tuple[str, str, tuple[Raised, ...]]]
    ways = [(r.name, r.name, (r,)) for r in reach.raised]
    if len(reach.raised) == 2:
        ways.append(("heights", "above and below", reach.raised))
    for code, name, raised in ways:
        out.append(_then(site, code, f"{one}, then {name}", outside, sweep, raised, ("outside",)))
    whole = all(r.distance_mm == reach.distance_mm for r in reach.raised)  # and not a narrow view
    if len(reach.raised) == 2 and whole and site.length_mm > STRETCH_MM:
        every = sum((_stands(site, "outside", r, at_lens) for r in reach.raised), sweep)
        out.append(Shoot("heights-all", "Three heights all along, one pass", outside, every))
    if site.sides == "both" and 2 * len(at_cards) <= CARD_COUNT:
        hung, sweep = outside + inside, sweep + _stands(site, "inside", level, at_lens)
        out.append(Shoot("sides", f"Both sides, {one.lower()}", hung, sweep))
        if reach.raised:
            r, faces = reach.raised[0], ("outside", "inside")
            name = f"Both sides, {one.lower()}, then {r.name}"
            out.append(_then(site, "sides-raised", name, hung, sweep, (r,), faces))
    return tuple(out)


def _then(
    site: Site,
    code: str,
    name: str,
    hung: tuple[Hung, ...],
    sweep: tuple[Stand, ...],
    raised: tuple[Raised, ...],
    sides: tuple[str, ...],
) -> Shoot:
    """A sweep, and raised photographs at each stretch; on a short log in the same pass."""
    short = site.length_mm <= STRETCH_MM
    apart = (hung[1].station_mm - hung[0].station_mm) if len(hung) > 1 else site.length_mm
    level = [s for s in sweep if s.side == "outside"]
    extra: tuple[Stand, ...] = ()
    for side, r in product(sides, raised):
        at = _at_stretch(site.length_mm, r.distance_mm, apart)
        if short and r.distance_mm == level[0].distance_mm:
            at = [s.station_mm for s in level]
        elif short:
            at = [site.length_mm / 2 + x for x in at]
        extra += _stands(site, side, r, at)
    if short:
        return Shoot(code, name.replace(", then ", ", "), hung, sweep + extra)
    return Shoot(code, name, hung, sweep, extra)


def _stands(site: Site, side: str, height: Raised, stations: Iterable[float]) -> tuple[Stand, ...]:
    on_pole = site.highest_mm is not None and height.height_mm > site.highest_mm
    h, d = height.height_mm, height.distance_mm
    return tuple(Stand(side, x, h, d, on_pole) for x in stations)


def reach_of(site: Site) -> Reach:
    """The distance, and the heights within the lens's limits at which the gap is still open.

    Raises
    ------
    PlanNotPossible
        Where the gap looks shut from every height that can be held.
    """
    distance = min(USUAL_DISTANCE_MM, math.inf if site.room_mm is None else site.room_mm)
    top = site.highest_mm if site.pole_mm is None else site.pole_mm
    low = -math.inf if site.lowest_mm is None else site.lowest_mm
    high = math.inf if top is None else top
    level = min(max(0.0, low), high)
    opened = _open_within(site, distance)
    if abs(level) >= opened:
        place = "lowest" if level > 0 else "highest"
        way = "lower" if level > 0 else "higher, as with the phone on a pole (--pole)"
        raise PlanNotPossible(
            "gap-shut",
            f"From the {place} place stated, {abs(level):.0f} mm {'above' if level > 0 else 'below'} "
            f"the gap, a gap of {site.gap_mm:.0f} mm looks shut at {distance:.0f} mm; within "
            f"{opened:.0f} mm of the gap's height it is open: hold the lens {way}.",
        )
    raised = []
    for name, sign, limit in (("above", 1.0, high), ("below", -1.0, -low)):
        near = min(distance, max(NEAR_MM, limit / STEEPER))  # a low limit is steep from near by
        # Where the lens is itself as far off level on that side, another step off it.
        steep = min(STEEPER + max(sign * level / near, 0.0), STEEPEST)
        height = sign * min(steep * near, limit, _open_within(site, near))
        if sign * (height - level) >= LEAST_STEP * near:
            raised.append(Raised(name, height, near))
    return Reach(distance, level, tuple(raised))


def _open_within(site: Site, distance: float) -> float:
    """How far over or below the gap the lens sees it open: off by the slope t it is shut by
    (r_l + r_u) t^2 / 2."""
    depth = distance + site.radius_mm("upper")
    least = 2 * LEAST_GAP_PX * VIEW * depth / PICTURE_PX[0]
    both = site.radius_mm("upper") + site.radius_mm("lower")
    return depth * math.sqrt(max(2 * (site.gap_mm - least) / both, 0.0))


def layout(length_mm: float, distance_mm: float) -> tuple[list[float], list[float]]:
    """Stations of the cards and of the lens that show the whole log.

    Notes
    -----
    The lens stands opposite the middle between each two cards, so that each photograph shows both
    and shares one with its neighbour; where the view is too narrow to reach the notches from there,
    opposite the first and the last card too. As few cards as that allows.
    """
    half = VIEW * distance_mm / 2 - AIM_MM
    if length_mm <= min(CARDS_APART_MM, 2 * half):
        return [length_mm / 2], [length_mm / 2]
    most = min(CARDS_APART_MM, 2 * half - CARD_WIDTH_MM)
    n = max(2, math.ceil(length_mm / most))
    apart = length_mm / n
    if apart < CARD_WIDTH_MM + BESIDE_MM:  # a near view on a short log: one fewer, farther inward
        n, apart = n - 1, most
    end = (length_mm - (n - 1) * apart) / 2
    cards = [end + k * apart for k in range(n)]
    lens = [0.5 * (a + b) for a, b in pairwise(cards)]
    if lens[0] > half:
        lens = [cards[0], *lens, cards[-1]]
    return cards, lens


def _at_stretch(length_mm: float, distance_mm: float, apart_mm: float) -> list[float]:
    """Stations of the lens from the stretch's middle, each opposite a card where the view is narrow."""
    stretch = min(length_mm, STRETCH_MM)
    shown = VIEW * distance_mm - 2 * AIM_MM
    if shown >= apart_mm + CARD_WIDTH_MM or apart_mm >= length_mm:  # a card is in it wherever it is
        n = max(1, math.ceil(stretch / shown))
        return [(k - (n - 1) / 2) * stretch / n for k in range(n)]
    n = 2 * math.ceil(stretch / (2 * apart_mm))  # the stretch's middle lies between two cards
    return [(k - (n - 1) / 2) * apart_mm for k in range(n)]


def _seconds(stand: Stand) -> float:
    if stand.on_pole:
        return POLE_S
    raised = abs(stand.height_mm) > LEVEL * stand.distance_mm
    return RAISED_S if raised else PHOTO_S
