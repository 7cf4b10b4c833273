"""What a run of `measure` is asked, and the refusal of what cannot be."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf
from pathlib import Path

from gapvision.errors import JointNotFitted
from gapvision.inputs.corrections import Correction, check_corrections
from gapvision.inputs.mistakes import decimal_comma, likely_unit
from gapvision.inputs.rules import COVER, NONE, RUN, Rule, in_force
from gapvision.lengths import CHECK_BAR_MM, INCH_MM, Diameter, Reading, Trial

COVER_MM = 76.0  # 3 in; common practice, no source
PRINTED_BAR_MM = (80.0, 120.0)  # beyond it is no print at 100 %, but a slip of the pen
LOG_MM = (80.0, 1200.0)  # diameters
WALL_MM = (60.0, 1500.0)  # between the cards through the wall
LEAST_COVER_MM = 10.0  # no groove is as narrow; common practice, no source
MOST_COVER = 0.9  # of the log's diameter: beyond it a groove is no groove
MOST_TAPER = 0.1  # far beyond any log's
SHORTEST_MM, LONGEST_MM = 100.0, 15000.0  # of a stretch; stations
LARGEST_GAP_MM = 400.0  # wider than any scriber opens
LIMIT_MM = (10.0, 2000.0)  # stated as a length
LOWER_TO_MM = (15.0, 150.0)  # a widest gap that one may want
UNDERSCRIBE_MM = (0.0, 40.0)  # beyond it is a slip of the pen


@dataclass(frozen=True, slots=True)
class Cards:
    """Which cards hang inside, how the print came out, and how far apart they are through the wall."""

    inside_cards: tuple[int, ...] = ()
    printed_bar_mm: float = CHECK_BAR_MM
    wall_thickness_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """The stations of the notches' inner ends, as far as they were stated."""

    from_mm: float | None = None
    to_mm: float | None = None

    @property
    def stated(self) -> bool:
        """Whether both ends were."""
        return self.from_mm is not None and self.to_mm is not None


@dataclass(frozen=True, slots=True)
class HandMeasured:
    """What was measured by hand before: caliper readings of the gap, and trial lines."""

    readings: tuple[Reading, ...] = ()
    trials: tuple[Trial, ...] = ()

    @property
    def entries(self) -> tuple[Reading | Trial, ...]:
        """All of them, the readings first."""
        return (*self.readings, *self.trials)


@dataclass(frozen=True, slots=True)
class Scriber:
    """How far its points open, and the finest step that they can be set by."""

    largest_mm: float | None = None
    step_mm: float | None = None


@dataclass(frozen=True, slots=True)
class ToDecide:
    """What is to be decided beside the setting: lower first, other covers, rules, what follows."""

    lower_to_mm: float | None = None
    covers_mm: tuple[float, ...] = ()
    rules: str = NONE
    limits: tuple[Rule, ...] = ()
    heights_at_mm: tuple[float, ...] = ()
    underscribe_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class MeasureOptions:
    """One joint's photographs and what the builder states about it, mm.

    Examples
    --------
    >>> asked = MeasureOptions(photos=(Path("joint.jpg"),), cover_mm=75, stretch=Stretch(-750, 750))
    >>> asked.stretch.stated, asked.scriber.largest_mm
    (True, None)
    """

    photos: tuple[Path, ...]
    inside: tuple[Path, ...] = ()
    cover_mm: float = COVER_MM
    card_on: str = "upper"
    upper_diameter: Diameter | None = None
    lower_diameter: Diameter | None = None
    camera: Path | None = None
    units: str = "mm"
    cards: Cards = Cards()
    stretch: Stretch = Stretch()
    by_hand: HandMeasured = HandMeasured()
    scriber: Scriber = Scriber()
    to_decide: ToDecide = ToDecide()
    corrections: Mapping[str, Correction] = field(default_factory=dict)  # by their SHA-256

    @property
    def states_stations(self) -> bool:
        """Whether anything was stated for a place, which counts from the first card's nail."""
        points = [at for _, d in self.diameters for at, _ in d.points]
        by_hand = [entry.station_mm for entry in self.by_hand.entries]
        ends = (self.stretch.from_mm, self.stretch.to_mm)
        marked = [low for c in self.corrections.values() for low, _ in c.not_gap]
        stations = (*ends, *points, *by_hand, *marked, *self.to_decide.heights_at_mm)
        return any(at is not None for at in stations)

    @property
    def diameters(self) -> tuple[tuple[str, Diameter], ...]:
        """``"upper"`` and ``"lower"`` with their diameters, those that were stated."""
        both = ("upper", self.upper_diameter), ("lower", self.lower_diameter)
        return tuple((log, d) for log, d in both if d is not None)


GROUPS = ("cards", "stretch", "by_hand", "scriber", "to_decide")  # the fields that have fields


@dataclass(frozen=True, slots=True)
class Range:
    """What numbers of one kind can be, mm, and the sentence on one that cannot.

    ``stated`` gives those of a run, each with a name, and None for what was not stated. The sentence
    has ``{of}`` for the name, ``{mm}`` for the number, ``{low}``, ``{high}``, and ``{hint}``, which
    stands there for numbers within ``hint_mm``: likely of another unit than was meant.
    """

    code: str
    stated: Callable[[MeasureOptions], Iterable[tuple[str, float | None]]]
    low: float
    high: float
    sentence: str
    hint: str = ""
    hint_mm: tuple[float, float] = (inf, inf)

    def check(self, options: MeasureOptions) -> None:
        """Refuse what lies outside."""
        for of, mm in self.stated(options):
            if mm is None or self.low <= mm <= self.high:
                continue
            low, high = self.hint_mm
            hint = self.hint.format(of=of, mm=mm, inches=mm / INCH_MM) if low <= mm <= high else ""
            text = self.sentence.format(of=of, mm=mm, low=self.low, high=self.high, hint=hint)
            raise JointNotFitted(self.code, text)


_TOO_LARGE = "{of} of {mm:.0f} mm was stated{hint}; at most {high:.0f} mm are possible: correct it."
_AS_INCHES = " (that many mm? write {inches:.3g}mm)", (10 * INCH_MM, inf)  # hint, and from where

RANGES = (
    Range(
        "bad-diameter",
        lambda o: ((log, mm) for log, d in o.diameters for _, mm in d.points),
        *LOG_MM,
        "The {of} log's diameter was stated as {mm:.4g} mm{hint}; logs from {low:.0f} to {high:.0f} mm "
        "can be measured: correct it.",
        " (that many inches? write {mm:g}in)",
        (3.0, 48.0),
    ),
    Range(
        "bad-station",
        lambda o: (("--from", o.stretch.from_mm), ("--to", o.stretch.to_mm)),
        -LONGEST_MM,
        LONGEST_MM,
        "{of} was stated as {mm:.0f} mm; places count right from the first card's nail, and "
        "{high:.0f} mm either way are possible: correct it.",
    ),
    Range(
        "bad-printed-bar",
        lambda o: (("", o.cards.printed_bar_mm),),
        *PRINTED_BAR_MM,
        "The check bar was stated as {mm:.1f} mm; a print at 100 % has it within a few mm of 100: "
        "measure between its ticks, or print again at true size.",
    ),
    Range(
        "bad-thickness",
        lambda o: (("", o.cards.wall_thickness_mm),),
        *WALL_MM,
        "A distance of {mm:.0f} mm between the cards through the wall was stated; {low:.0f} to "
        "{high:.0f} mm are possible: correct it or leave it out.",
    ),
    Range(
        "bad-reading",
        lambda o: (("A caliper reading", r.value_mm) for r in o.by_hand.readings),
        -inf,
        LARGEST_GAP_MM,
        _TOO_LARGE,
        *_AS_INCHES,
    ),
    Range(
        "bad-trial",
        lambda o: (("A trial line's setting", t.setting_mm) for t in o.by_hand.trials),
        -inf,
        LARGEST_GAP_MM,
        _TOO_LARGE,
        *_AS_INCHES,
    ),
    Range(
        "bad-limit",
        lambda o: ((r.what, r.value) for r in o.to_decide.limits if not r.share),
        *LIMIT_MM,
        "A limit of {of}={mm:g} mm was stated{hint}; {low:.0f} to {high:.0f} mm are possible: correct it.",
        " (that many inches? write {of}={mm:g}in)",
        (-inf, LIMIT_MM[0]),
    ),
    Range(
        "bad-lower-to",
        lambda o: (("", o.to_decide.lower_to_mm),),
        *LOWER_TO_MM,
        "A widest gap of {mm:.0f} mm was asked for; {low:.0f} to {high:.0f} mm are possible, and about "
        "50 is usual: correct --lower-to.",
    ),
    Range(
        "bad-underscribe",
        lambda o: (("", o.to_decide.underscribe_mm),),
        *UNDERSCRIBE_MM,
        "An underscribe of {mm:.0f} mm was stated; {low:.0f} to {high:.0f} mm are possible: correct it "
        "or leave it out.",
    ),
)


def check_options(options: MeasureOptions) -> None:
    """Refuse what no joint can have: first numbers out of `RANGES`, then what does not go together.

    Raises
    ------
    JointNotFitted
        With one sentence on what was stated and what is possible.
    """
    for log, diameter in options.diameters:
        _check_comma(log, diameter)
    for each in RANGES:
        each.check(options)
    for log, diameter in options.diameters:
        _check_taper(log, diameter)
    _check_widths(options)
    _check_stretch(options.stretch)
    _check_run(options.to_decide)
    check_corrections(options.corrections)


def check_cover(cover_mm: float, largest_mm: float) -> None:
    """Refuse a cover that no groove has, or that is wider than the log carries.

    Raises
    ------
    JointNotFitted
        With what was asked for and what is possible.
    """
    if cover_mm <= 0:
        raise JointNotFitted(
            "bad-cover",
            f"A cover of {cover_mm:.0f} mm was asked for; it must be above zero: state the "
            f"groove's wanted width, usually about {COVER_MM:.0f} mm.",
        )
    if cover_mm < LEAST_COVER_MM:
        likely = likely_unit(cover_mm, (LEAST_COVER_MM, largest_mm))
        raise JointNotFitted(
            "bad-cover",
            f"A cover of {cover_mm:.3g} mm was asked for{likely}; no groove is under "
            f"{LEAST_COVER_MM:.0f} mm wide: state its wanted width, usually about {COVER_MM:.0f} mm.",
        )
    if cover_mm > largest_mm:
        raise JointNotFitted(
            "bad-cover",
            f"A cover of {cover_mm:.0f} mm was asked for"
            f"{likely_unit(cover_mm, (LEAST_COVER_MM, largest_mm))}, and the log carries at most "
            f"{largest_mm:.0f} mm: state the groove's wanted width, usually about {COVER_MM:.0f} mm.",
        )


def _check_comma(log: str, diameter: Diameter) -> None:
    """Refuse a comma that was meant as a decimal point."""
    if meant := decimal_comma(diameter, LOG_MM[0]):
        (_, left), (_, right) = diameter.points
        raise JointNotFitted(
            "bad-diameter",
            f"The {log} log's diameter was stated as {left:g} mm at its left end and {right:g} at its "
            f"right: a comma parts the two ends. Write {meant}, with a point.",
        )


def _check_taper(log: str, diameter: Diameter) -> None:
    """Refuse diameters at two stations between which no log tapers so."""
    points = sorted((at, mm) for at, mm in diameter.points if at is not None)
    for (a, d_a), (b, d_b) in pairwise(points):
        if abs(d_b - d_a) > MOST_TAPER * (b - a):
            raise JointNotFitted(
                "bad-diameter",
                f"The {log} log's diameter was stated as {d_a:.0f} mm at {a:.0f} mm and "
                f"{d_b:.0f} mm at {b:.0f} mm; a log tapers by {1000 * MOST_TAPER:.0f} mm in a metre at "
                "most: state places in mm right of the first card, as in 310@-750,290@750.",
            )


def _check_widths(options: MeasureOptions) -> None:
    """Refuse covers, and trial lines, wider than the thinnest stated log carries."""
    stated = [mm for _, d in options.diameters for _, mm in d.points]
    largest = min(stated, default=LOG_MM[1] / 3) * MOST_COVER
    for cover in (options.cover_mm, *options.to_decide.covers_mm):
        check_cover(cover, largest)
    Range(
        "bad-trial",
        lambda o: (("A trial line's width", t.width_mm) for t in o.by_hand.trials),
        -inf,
        largest,
        _TOO_LARGE,
        *_AS_INCHES,
    ).check(options)


def _check_stretch(stretch: Stretch) -> None:
    low, high = stretch.from_mm, stretch.to_mm
    if low is None or high is None:
        return
    if low >= high:
        raise JointNotFitted(
            "from-after-to",
            f"The stretch was stated from {low:.0f} to {high:.0f} mm; --from must lie "
            "left of --to as seen from outside: exchange them.",
        )
    if high - low < SHORTEST_MM:
        raise JointNotFitted(
            "stretch-too-short",
            f"The stretch was stated from {low:.0f} to {high:.0f} mm; at least "
            f"{SHORTEST_MM:.0f} mm of joint can be measured: correct --from and --to.",
        )


def _check_run(asked: ToDecide) -> None:
    """Refuse a limit of how long the least cover may run where there is no least cover."""
    covered = any(rule.what == COVER for rule in in_force(asked.rules, asked.limits))
    if not covered and any(rule.what == RUN for rule in asked.limits):
        raise JointNotFitted(
            "run-without-cover",
            "A limit of run was stated without a least cover, over which it would hold: state "
            "that too, as in --limit cover=60 --limit run=300.",
        )
