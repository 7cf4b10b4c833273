"""What a run of `measure` is asked, and the refusal of what cannot be."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from gapvision.errors import JointNotFitted
from gapvision.inputs.rules import COVER, NONE, RUN, Rule, in_force
from gapvision.lengths import INCH_MM, Diameter, Reading, Trial

COVER_MM = 76.0  # 3 in; common practice, no source
CHECK_BAR_MM = 100.0  # as drawn; `card.py` has it too, but loads OpenCV
PRINTED_BAR_MM = (80.0, 120.0)  # beyond it is no print at 100 %, but a slip of the pen
SMALLEST_LOG_MM, LARGEST_LOG_MM = 80.0, 1200.0
MOST_COVER = 0.9  # of the log's diameter: beyond it a groove is no groove
MOST_TAPER = 0.1  # far beyond any log's
SHORTEST_MM, LONGEST_MM = 100.0, 15000.0  # of a stretch; stations
LARGEST_GAP_MM = 400.0  # wider than any scriber opens
LEAST_LIMIT_MM, MOST_LIMIT_MM = 10.0, 2000.0  # stated as a length
LOWER_TO_MM = (15.0, 150.0)  # a widest gap that one may want
MOST_UNDERSCRIBE_MM = 40.0  # beyond it is a slip of the pen


@dataclass(frozen=True, slots=True)
class MeasureOptions:
    """One joint's photographs and what the builder states about it, mm."""

    photos: tuple[Path, ...]
    inside: tuple[Path, ...] = ()
    inside_cards: tuple[int, ...] = ()
    cover_mm: float = COVER_MM
    card_on: str = "upper"
    upper_diameter: Diameter | None = None
    lower_diameter: Diameter | None = None
    from_mm: float | None = None
    to_mm: float | None = None
    printed_bar_mm: float = CHECK_BAR_MM
    camera: Path | None = None
    wall_thickness_mm: float | None = None
    readings: tuple[Reading, ...] = ()
    trials: tuple[Trial, ...] = ()
    units: str = "mm"
    scriber_largest_mm: float | None = None
    scriber_step_mm: float | None = None
    lower_to_mm: float | None = None
    covers_mm: tuple[float, ...] = ()
    rules: str = NONE
    limits: tuple[Rule, ...] = ()
    heights_at_mm: tuple[float, ...] = ()
    underscribe_mm: float = 0.0

    @property
    def states_stations(self) -> bool:
        """Whether anything was stated for a place, which counts from the first card's nail."""
        points = [
            at
            for d in (self.upper_diameter, self.lower_diameter)
            if d is not None
            for at, _ in d.points
        ]
        by_hand = [entry.station_mm for entry in (*self.readings, *self.trials)]
        stated = (self.from_mm, self.to_mm, *points, *by_hand, *self.heights_at_mm)
        return any(at is not None for at in stated)


def check_options(options: MeasureOptions) -> None:
    """Refuse what no joint can have.

    Raises
    ------
    JointNotFitted
        With one sentence on what was stated and what is possible.
    """
    stated = [
        (name, d)
        for name, diameter in (("upper", options.upper_diameter), ("lower", options.lower_diameter))
        if diameter is not None
        for _, d in diameter.points
    ]
    for name, d in stated:
        if not SMALLEST_LOG_MM <= d <= LARGEST_LOG_MM:
            hint = " (that many inches? write 12in)" if 3 <= d <= 48 else ""
            raise JointNotFitted(
                "bad-diameter",
                f"The {name} log's diameter was stated as {d:.0f} mm{hint}; logs from "
                f"{SMALLEST_LOG_MM:.0f} to {LARGEST_LOG_MM:.0f} mm can be measured: correct it.",
            )
    for name, diameter in (("upper", options.upper_diameter), ("lower", options.lower_diameter)):
        _check_taper(name, diameter)
    largest = min((d for _, d in stated), default=LARGEST_LOG_MM / 3) * MOST_COVER
    for cover in (options.cover_mm, *options.covers_mm):
        check_cover(cover, largest)
    if (
        options.from_mm is not None
        and options.to_mm is not None
        and options.from_mm >= options.to_mm
    ):  # noqa: E501
        raise JointNotFitted(
            "from-after-to",
            f"The stretch was stated from {options.from_mm:.0f} to {options.to_mm:.0f} mm; --from "
            "must lie left of --to as seen from outside: exchange them.",
        )
    _check_stretch(options.from_mm, options.to_mm)
    low, high = PRINTED_BAR_MM
    if not low <= options.printed_bar_mm <= high:
        raise JointNotFitted(
            "bad-printed-bar",
            f"The check bar was stated as {options.printed_bar_mm:.1f} mm; a print at 100 % has it "
            "within a few mm of 100: measure between its ticks, or print again at true size.",
        )
    if options.wall_thickness_mm is not None and not 60 <= options.wall_thickness_mm <= 1500:
        raise JointNotFitted(
            "bad-thickness",
            f"A distance of {options.wall_thickness_mm:.0f} mm between the cards through the wall "
            "was stated; 60 to 1500 mm are possible: correct it or leave it out.",
        )
    for reading in options.readings:
        _check_size("bad-reading", "A caliper reading", reading.value_mm, LARGEST_GAP_MM)
    for trial in options.trials:
        _check_size("bad-trial", "A trial line's setting", trial.setting_mm, LARGEST_GAP_MM)
        _check_size("bad-trial", "A trial line's width", trial.width_mm, largest)
    for rule in options.limits:
        if not rule.share and not LEAST_LIMIT_MM <= rule.value <= MOST_LIMIT_MM:
            hint = f" (that many inches? write {rule.what}={rule.value:g}in)" * (rule.value < 10)
            raise JointNotFitted(
                "bad-limit",
                f"A limit of {rule.what}={rule.value:g} mm was stated{hint}; "
                f"{LEAST_LIMIT_MM:.0f} to {MOST_LIMIT_MM:.0f} mm are possible: correct it.",
            )
    if not any(rule.what == COVER for rule in in_force(options.rules, options.limits)) and any(
        rule.what == RUN for rule in options.limits
    ):
        raise JointNotFitted(
            "run-without-cover",
            "A limit of run was stated without a least cover, over which it would hold: state "
            "that too, as in --limit cover=60 --limit run=300.",
        )
    low, high = LOWER_TO_MM
    if options.lower_to_mm is not None and not low <= options.lower_to_mm <= high:
        raise JointNotFitted(
            "bad-lower-to",
            f"A widest gap of {options.lower_to_mm:.0f} mm was asked for; {low:.0f} to {high:.0f} mm "
            "are possible, and about 50 is usual: correct --lower-to.",
        )
    if not 0 <= options.underscribe_mm <= MOST_UNDERSCRIBE_MM:
        raise JointNotFitted(
            "bad-underscribe",
            f"An underscribe of {options.underscribe_mm:.0f} mm was stated; 0 to "
            f"{MOST_UNDERSCRIBE_MM:.0f} mm are possible: correct it or leave it out.",
        )


def _check_size(code: str, what: str, mm: float, largest_mm: float) -> None:
    if mm <= largest_mm:
        return
    hint = f" (that many mm? write {mm / INCH_MM:.3g}mm)" if mm / INCH_MM >= 10 else ""
    raise JointNotFitted(
        code,
        f"{what} of {mm:.0f} mm was stated{hint}; at most {largest_mm:.0f} mm are possible: "
        "correct it.",
    )


def _check_taper(name: str, diameter: Diameter | None) -> None:
    """Refuse diameters at two stations between which no log tapers so."""
    points = sorted(p for p in (diameter.points if diameter else ()) if p[0] is not None)
    for (a, d_a), (b, d_b) in pairwise(points):
        if abs(d_b - d_a) > MOST_TAPER * (b - a):
            raise JointNotFitted(
                "bad-diameter",
                f"The {name} log's diameter was stated as {d_a:.0f} mm at station {a:.0f} mm and "
                f"{d_b:.0f} mm at {b:.0f} mm; a log tapers by {1000 * MOST_TAPER:.0f} mm in a metre at "
                "most: state stations in mm right of the first card, as in 310@-750,290@750.",
            )


def _check_stretch(from_mm: float | None, to_mm: float | None) -> None:
    for name, at in (("--from", from_mm), ("--to", to_mm)):
        if at is not None and abs(at) > LONGEST_MM:
            raise JointNotFitted(
                "bad-station",
                f"{name} was stated as {at:.0f} mm; stations are mm right of the first card's nail, "
                f"and {LONGEST_MM:.0f} mm either way are possible: correct it.",
            )
    if from_mm is not None and to_mm is not None and to_mm - from_mm < SHORTEST_MM:
        raise JointNotFitted(
            "stretch-too-short",
            f"The stretch was stated from {from_mm:.0f} to {to_mm:.0f} mm; at least "
            f"{SHORTEST_MM:.0f} mm of joint can be measured: correct --from and --to.",
        )


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
    if cover_mm > largest_mm:
        raise JointNotFitted(
            "bad-cover",
            f"A cover of {cover_mm:.0f} mm was asked for, and the log carries at most "
            f"{largest_mm:.0f} mm: state the groove's wanted width, usually about {COVER_MM:.0f} mm.",
        )
