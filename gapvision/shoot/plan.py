"""The plan of a shoot: what a site allows, what each way would know, and which to take."""

from __future__ import annotations

from dataclasses import dataclass

from gapvision.errors import PlanNotPossible
from gapvision.inputs.options import MeasureOptions, check_options
from gapvision.shoot.expect import Expected, expected
from gapvision.shoot.ways import LEAST_DISTANCE_MM, Reach, Shoot, Site, reach_of, shoots

SHORTEST_MM, LONGEST_MM = 300.0, 15000.0
LEAST_GAP_MM, MOST_GAP_MM = 4.0, 150.0
MINUTE_MM = 0.05  # of half-width that a minute of the builder's time is worth; a judgement
FOR_COMPARISON = "heights-all"  # no second visit, but nearly twice the photographs for the same


@dataclass(frozen=True, slots=True)
class Row:
    """One way and what it would know."""

    shoot: Shoot
    expected: Expected


@dataclass(frozen=True, slots=True)
class Plan:
    """All ways that the site allows, and the one to take."""

    site: Site
    reach: Reach
    rows: tuple[Row, ...]
    chosen: Row


def plan_shoot(site: Site) -> Plan:
    """The ways to photograph a joint, with the half-width of the setting that each would give.

    Raises
    ------
    PlanNotPossible, JointNotFitted
        Where entries contradict each other, or the gap cannot be seen from anywhere.
    """
    check_site(site)
    reach = reach_of(site)
    rows = tuple(Row(s, expected(site, s)) for s in shoots(site))
    return Plan(site, reach, rows, _best(rows))


def check_site(site: Site) -> None:
    """Refuse what no site can have.

    Raises
    ------
    PlanNotPossible, JointNotFitted
        With one sentence on what was stated and what is possible.
    """
    if not SHORTEST_MM <= site.length_mm <= LONGEST_MM:
        hint = " (metres? write 6000)" if 0 < site.length_mm < 20 else ""
        raise PlanNotPossible(
            "bad-length",
            f"A length of {site.length_mm:.0f} mm between the notches was stated{hint}; "
            f"{SHORTEST_MM:.0f} to {LONGEST_MM:.0f} mm can be planned: correct --length.",
        )
    check_options(
        MeasureOptions(
            photos=(), cover_mm=site.cover_mm, upper_diameter=site.upper_diameter,
            lower_diameter=site.lower_diameter,
        )
    )  # fmt: skip
    if not LEAST_GAP_MM <= site.gap_mm <= MOST_GAP_MM:
        raise PlanNotPossible(
            "bad-gap",
            f"A usual gap of {site.gap_mm:.0f} mm was stated; {LEAST_GAP_MM:.0f} to "
            f"{MOST_GAP_MM:.0f} mm can be planned: correct --gap.",
        )
    if site.room_mm is not None and site.room_mm < LEAST_DISTANCE_MM:
        raise PlanNotPossible(
            "no-room",
            f"A room of {site.room_mm:.0f} mm from the logs to the lens was stated; at least "
            f"{LEAST_DISTANCE_MM:.0f} mm are needed for two cards in one photograph: photograph "
            "from the other side, or from farther away with the phone on a pole.",
        )
    low, high, pole = site.lowest_mm, site.highest_mm, site.pole_mm
    if low is not None and high is not None and low > high:
        raise PlanNotPossible(
            "lowest-over-highest",
            f"The lowest place of the lens was stated as {low:.0f} mm and the highest as "
            f"{high:.0f} mm; --lowest must lie below --highest (+ over, - below the gap): "
            "exchange them.",
        )
    if pole is not None and (high is None or pole <= high):
        said = "without --highest" if high is None else f"and --highest as {high:.0f} mm"
        raise PlanNotPossible(
            "pole-too-low",
            f"The lens on a pole was stated to reach {pole:.0f} mm {said}; --highest is what the "
            "hand reaches, and a pole reaches over it: correct them.",
        )


def _best(rows: tuple[Row, ...]) -> Row:
    """The way that knows the setting best, a minute more weighed against half-width."""
    ways = [r for r in rows if r.shoot.code != FOR_COMPARISON]
    return min(ways, key=lambda r: r.expected.setting.U95_mm + MINUTE_MM * r.shoot.minutes)
