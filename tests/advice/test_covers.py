"""Other covers against the tables of circular segments."""

import csv
from pathlib import Path

import numpy as np
import pytest
from helpers.decisions import STATION, draws

from gapvision.advice.covers import default_covers, other_covers

with (Path(__file__).parents[1] / "truth" / "settings.csv").open(encoding="utf-8") as file:
    TABLE = list(csv.DictReader(file))
GAP = 21.0 + 0 * STATION


def rows(upper, lower, cover, others, units="mm", gap=GAP):
    d = draws(gap, upper, lower)
    return other_covers(d, cover, d.sections.setting_needed(cover), others, units)


@pytest.mark.parametrize(
    ("upper", "lower"),
    sorted({(float(r["diameter_upper"]), float(r["diameter_lower"])) for r in TABLE}),
)
def test_settings_of_the_worked_table(upper, lower):
    here = [
        r
        for r in TABLE
        if (float(r["diameter_upper"]), float(r["diameter_lower"])) == (upper, lower)
    ]
    covers = tuple(float(r["cover"]) for r in here)
    found = {r.cover_mm: r for r in rows(upper, lower, covers[0], covers).rows}
    for r in here:
        rise = found[float(r["cover"])].setting.value_mm - 21.0
        assert rise == pytest.approx(float(r["rise"]), abs=float(r["tolerance"]))


def test_what_a_step_of_the_points_buys():
    """2 / (tan a_L + tan a_U), sin a = w / D, of two 12 in logs: computed from the formula."""
    found = rows(304.8, 304.8, 76.2, (63.5, 101.6)).rows
    assert [round(r.per_setting, 2) for r in found] == [4.69, 3.87, 2.83]


def test_cost_of_more_cover():
    """Every mm of setting is a mm of depth where the gap is least."""
    found = rows(304.8, 304.8, 76.2, (63.5, 101.6), gap=21 + 10 * (STATION > 0))
    for r in found.rows:
        assert r.deepest.value_mm == pytest.approx(r.set_to_mm - 21.0, abs=1e-6)
        assert r.station_mm > 0
        assert r.set_to_mm >= r.setting.value_mm


def test_the_wanted_cover_is_always_there():
    assert [r.cover_mm for r in rows(300, 300, 76.0, (60.0, 90.0)).rows] == [60.0, 76.0, 90.0]
    covers = rows(300, 300, 76.0, ())
    assert not covers.asked
    assert [r.cover_mm for r in covers.rows] == [56.0, 66.0, 76.0, 86.0, 96.0]
    assert len(rows(300, 300, 76.0, (76.0 + 1e-12,)).rows) == 1


def test_default_covers_in_inches_are_half_inches_apart():
    assert np.diff(default_covers(76.2, "in")) == pytest.approx(12.7)
    assert default_covers(25.0, "mm") == (25.0, 35.0, 45.0)
