"""Limits: published numbers as published, closed cases, and how likely they are broken."""

import numpy as np
import pytest
from helpers.decisions import STATION, draws
from scipy.stats import norm

from gapvision.advice.limits import Limited, judge
from gapvision.inputs.rules import (
    MEMORY,
    OWN,
    READ,
    RULES,
    SECOND_HAND,
    Rule,
    in_force,
    parse_limit,
    rules_of,
)

ONES = np.ones(len(STATION))


def joint(width=80.0, depth=30.0, upper=300.0, lower=300.0, u=1.0):
    parts = []
    for value in (width, depth, upper, lower):
        parts += [value * ONES, u * ONES]
    return Limited(STATION, *parts)


def judged(text, units="mm", **kinds):
    (one,) = judge((parse_limit(text, units),), joint(**kinds))
    return one


def test_published_numbers_and_their_marks():
    """ILBA 2000, 2.A.1 (200 mm); an article (2 1/2 in over at most 12 in, 3/8 or 1/2, 1/4 of D)."""
    ilba = {r.what: r for r in RULES["ilba-2000"]}
    assert {k: r.value for k, r in ilba.items()} == {
        "cover": 63.5, "run": 304.8, "width": 0.375, "depth": 0.25, "log": 200.0
    }  # fmt: skip
    assert ilba["log"].mark == READ and "ILBA" in ilba["log"].source
    assert all("from memory" in ilba[k].source for k in ("cover", "run", "width", "depth"))
    assert {r.what: r.value for r in RULES["ilba-2000-irregular"]}["width"] == 0.5
    metric = {r.what: r for r in RULES["ilba-2000-metric"]}
    assert (metric["cover"].value, metric["run"].value, metric["cover"].mark) == (
        65.0,
        300.0,
        MEMORY,
    )
    assert [RULES[f"winter-{k}"][0].value for k in (20, 30, 40)] == [100.0, 120.0, 140.0]
    assert RULES["half-diameter"][0].value == 0.5 and RULES["half-diameter"][0].share
    assert RULES["is-log-draft-2005"][0].mark == SECOND_HAND
    assert RULES["none"] == ()


def test_three_eighths_of_the_diameter_is_where_the_segment_table_has_it():
    """A cover of 3/8 D rises 0.036488 D over each log; a groove set to that is just that wide."""
    d = 300.0
    width = draws(25.0 + 0 * STATION, d, d).sections.groove_width(25.0 + 2 * 0.036488 * d)[0]
    (one,) = judge(RULES["ilba-2000"][2:3], joint(width=width, upper=d, u=0.5))
    assert one.limit_mm == 112.5
    assert one.found_mm == pytest.approx(112.5, abs=0.01)
    assert one.chance == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("off", [-2.0, -1.0, 0.0, 1.0, 3.0])
def test_chance_allows_for_the_uncertainty_of_both_sides(off):
    one = judged("width=0.25", width=75.0 + off, upper=300.0, u=1.0)
    assert one.chance == pytest.approx(norm.cdf(off / np.hypot(1.0, 0.25)))


@pytest.mark.parametrize(
    ("z", "verdict"),
    [(-2.0, "kept"), (-1.0, "maybe broken"), (1.0, "likely broken"), (2.0, "broken")],
)
def test_verdicts(z, verdict):
    assert judged("width=100", width=100.0 + z).verdict == verdict


def test_a_stretch_is_where_it_may_be_broken():
    width = np.where(np.abs(STATION) <= 100, 90.0, 130.0)
    one = judged("cover=100", width=width)
    assert (one.from_mm, one.to_mm, one.verdict) == (-100.0, 100.0, "broken")
    # Of two such stretches that round the worst place, not the first.
    worse = np.where(np.abs(STATION - 400) <= 50, 85.0, width)
    one = judged("cover=100", width=worse)
    assert (one.station_mm, one.from_mm, one.to_mm) == (350.0, 350.0, 450.0)
    kept = judged("cover=80", width=width)
    assert (kept.from_mm, kept.to_mm, kept.verdict) == (None, None, "kept")


def test_run_over_which_the_groove_may_be_narrow():
    rules = (parse_limit("cover=100"), parse_limit("run=300"))
    for reach, verdict in ((100, "kept"), (200, "broken")):
        width = np.where(np.abs(STATION) <= reach, 101.0, 130.0)
        run = judge(rules, joint(width=width, u=0.1))[1]
        assert run.found_mm == 2 * reach + 10.0 and run.verdict == verdict
    # With errors common along the log the run is over 300 mm where it is in doubt by 1 u.
    width = np.where(np.abs(STATION) <= 200, 100.0 + 25.4 / 16 + 1.0, 130.0)
    assert judge(rules, joint(width=width, u=1.0))[1].chance == pytest.approx(
        norm.cdf(-1), abs=0.02
    )
    assert judge(rules[1:], joint()) == ()  # without a least cover there is no such run


def test_smallest_log_is_of_both_logs():
    found = judge((parse_limit("log=8in"),), joint(upper=190.0, lower=320.0))
    assert [(j.log, j.verdict) for j in found] == [("upper", "broken"), ("lower", "kept")]


def test_deepest_groove():
    one = judged("depth=1/4", depth=np.where(STATION == 40.0, 80.0, 30.0))
    assert (one.station_mm, one.limit_mm, one.verdict) == (40.0, 75.0, "broken")


def test_own_limits_come_before_published_ones():
    own = (parse_limit("width=0.4"),)
    rules = in_force("ilba-2000", own)
    assert rules[0] == Rule("width", 0.4, True, "stated", OWN)
    assert [r.what for r in rules] == ["width", "cover", "run", "depth", "log"]
    assert in_force("none", ()) == ()


@pytest.mark.parametrize(
    ("text", "units", "value", "share"),
    [
        ("cover=60", "mm", 60.0, False),
        ("cover=2 1/2in", "in", 63.5, False),
        ("run=12in", "mm", 304.8, False),
        ("width=3/8", "in", 0.375, True),
        ("width=0.5", "mm", 0.5, True),
        ("depth=75mm", "mm", 75.0, False),
        (" Log = 200mm", "in", 200.0, False),
    ],
)
def test_limits_as_they_are_typed(text, units, value, share):
    rule = parse_limit(text, units)
    assert (rule.value, rule.share) == (pytest.approx(value), share)


@pytest.mark.parametrize(
    ("text", "units", "said"),
    [
        ("60", "mm", "is no limit"),
        ("gap=60", "mm", "is no limit"),
        ("width=", "mm", "is no limit"),
        ("width=0", "mm", "above zero"),
        ("run=1/0", "mm", "not a length"),
        ("cover=60", "in", "no unit"),
    ],
)
def test_limits_that_are_refused(text, units, said):
    with pytest.raises(ValueError, match=said):
        parse_limit(text, units)


def test_names_of_rules():
    assert rules_of(" ILBA-2000 ") == "ilba-2000"
    with pytest.raises(ValueError, match="none of none, ilba-2000"):
        rules_of("ilba")
