"""What was told later, and what it says of photographs against calipers over all joints."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from helpers.archives import keep, named, new_record
from scipy import stats

from gapvision.archive.learned_text import learned_json, learned_text
from gapvision.archive.learning import (
    FEWEST,
    Difference,
    differences,
    learn,
    learned,
    width_at,
)
from gapvision.archive.outcome import (
    Caliper,
    OpenPlace,
    Outcome,
    TrialLine,
    add_outcome,
    outcomes_of,
    together,
)
from gapvision.archive.query import Query, entries
from gapvision.archive.record import add_record
from gapvision.archive.store import open_archive
from gapvision.archive.verify import verify
from gapvision.errors import MeasurementError
from gapvision.inputs.options import HandMeasured, MeasureOptions
from gapvision.lengths import parse_reading, parse_trial
from gapvision.scene.sections import Sections

DAY = "2026-05-20"


@pytest.fixture
def archive(tmp_path):
    with open_archive(tmp_path / "kept", create=True) as opened:
        yield opened


def caliper(value, station=0.0, u=0.5):
    return Caliper(station, value, u)


def trial(width, setting=49.0, station=0.0):
    return TrialLine(station, width, 1.0, setting, 0.4)


# --- what is told ---------------------------------------------------------------------------------


def test_it_is_added_and_never_changed(archive):
    record = keep(archive)
    told = (
        Outcome(DAY, 49.0, None, "first", (caliper(30.0), OpenPlace(1.0, 9.0))),
        Outcome(DAY, None, 74.0, "", (caliper(31.0), caliper(28.0, 200.0), trial(77.0))),
    )
    for outcome in told:
        add_outcome(archive, record, outcome)
    assert [replace(o, added_at="") for o in outcomes_of(archive, record)] == list(told)
    whole = together(outcomes_of(archive, record))
    assert (whole.setting_used_mm, whole.narrowest_cover_mm, whole.remarks) == (49.0, 74.0, "first")
    assert whole.of_kind(Caliper) == [caliper(31.0), caliper(28.0, 200.0)]  # the later one at 0
    assert whole.of_kind(OpenPlace) and not verify(archive).faults


def test_what_was_wrong_counts_no_longer_and_stays_readable(archive):
    record = keep(archive)
    add_outcome(archive, record, Outcome(DAY, 94.0, None, "a slip", (caliper(300.0),)))
    add_outcome(archive, record, Outcome(DAY, 49.0, None, "", (), instead=True))
    whole = together(outcomes_of(archive, record))
    assert (whole.setting_used_mm, whole.values, whole.remarks) == (49.0, (), "")
    assert len(outcomes_of(archive, record)) == 2


def test_remarks_are_found_by_their_words(archive):
    first, second = keep(archive), keep(archive)
    add_outcome(archive, second, Outcome(DAY, remarks="A knot, right of the Butt"))
    assert [e.record for e in entries(archive, Query(text="butt knot"))] == [second]
    assert first != second


def test_of_a_record_that_is_not_there(archive):
    keep(archive)
    with pytest.raises(MeasurementError, match="no record 7"):
        add_outcome(archive, 7, Outcome(DAY, 49.0))


# --- what one joint tells -------------------------------------------------------------------------


@pytest.fixture
def kept():
    return new_record()


def test_caliper_beside_the_gap_at_its_station(kept):
    profile = kept.result["profile"]
    found = differences(kept.options, kept.result, Outcome(DAY, values=(caliper(29.0, 105.0),)))
    gap = np.interp(105.0, profile["station_mm"], profile["gap_mm"])  # numpy's own interpolation
    assert found["gap"].value_mm == pytest.approx(gap - 29.0)
    assert found["gap"].U95_mm == pytest.approx(1.96 * math.hypot(0.8, 0.5))
    assert set(found) == {"gap"}


def test_readings_of_one_joint_count_as_one(kept):
    told = Outcome(DAY, values=(caliper(30.0, -300.0), caliper(31.0, -200.0)))
    each = [
        differences(kept.options, kept.result, replace(told, values=(v,)))["gap"].value_mm
        for v in told.values
    ]
    both = differences(kept.options, kept.result, told)["gap"]
    assert both.value_mm == pytest.approx(np.mean(each))


def test_readings_that_the_measurement_was_given_are_no_check():
    options = MeasureOptions(
        photos=(),
        by_hand=HandMeasured((parse_reading("30@100"),), (parse_trial("49:78@-200"),)),
    )
    kept = new_record(options=options)
    told = Outcome(DAY, values=(caliper(30.0, 120.0), trial(78.0, station=-190.0)))
    assert not differences(kept.options, kept.result, told)
    told = Outcome(DAY, values=(caliper(30.0, 0.0), trial(78.0)))
    assert set(differences(kept.options, kept.result, told)) == {"gap", "trial"}


@pytest.mark.parametrize("station", [900.0, 5.0])
def test_nothing_is_compared_where_nothing_was_seen(station):
    kept = new_record(hidden=(-50.0, 50.0))
    assert not differences(
        kept.options, kept.result, Outcome(DAY, values=(caliper(30.0, station),))
    )


def test_a_cut_is_only_compared_where_the_setting_used_is_told(kept):
    assert not differences(kept.options, kept.result, Outcome(DAY, narrowest_cover_mm=78.0))
    found = differences(kept.options, kept.result, Outcome(DAY, 49.0, 78.0))
    assert found["cover"].value_mm == pytest.approx(80.0 - 78.0)


@pytest.mark.parametrize("used", [44.0, 49.0, 56.0])
def test_width_at_another_setting_beside_the_exact_groove_of_two_circles(used):
    """`Sections.groove_width` solves for the groove's edges; here only the root of the excess is used."""
    one = np.ones(1)
    sections = Sections(0 * one, 0 * one, 150 * one, 36 * one, 0 * one, 165 * one)
    exact = [float(sections.groove_width(s)[0]) for s in (49.0, used)]
    assert width_at(exact[0], 49.0, 36.0, used) == pytest.approx(exact[1], rel=0.01)
    assert width_at(80.0, 49.0, 36.0, 36.0) is None


# --- what all joints tell -------------------------------------------------------------------------


def test_mean_and_its_half_width_are_those_of_a_t_interval():
    values = [0.3, 1.1, -0.4, 0.9, 0.6, 0.2]
    x = learned([Difference(v, 1.0) for v in values])
    low, high = stats.t.interval(0.95, 5, np.mean(values), stats.sem(values))
    assert x.mean_mm - x.U95_mm == pytest.approx(low)
    assert x.mean_mm + x.U95_mm == pytest.approx(high)
    assert (x.n, x.held, x.u_mm) == (6, 5, pytest.approx(stats.sem(values)))


def test_expected_number_within_the_half_width_is_binomial():
    """docs/results.md: of 60 joints 88 to 100 % (53 to 60)."""
    assert learned([Difference(0.0, 1.0)] * 60).expected == (53, 60)
    assert learned([]).n == 0 and learned([Difference(1.0, 2.0)]).U95_mm is None


def tell(archive, offsets, setting=None):
    for n, offset in enumerate(offsets):
        new = named(new_record(), log=str(n))
        record = add_record(archive, new).record
        gap = new.result["profile"]["gap_mm"][50]  # at 0
        add_outcome(archive, record, Outcome(DAY, setting, values=(caliper(gap - offset),)))


def test_an_offset_is_offered_as_a_correction_and_nothing_is_changed(archive):
    tell(archive, [0.9, 1.1, 1.0, 0.8, 1.2, 1.0])
    keep(archive)  # without an outcome
    before = [e.set_to_mm for e in entries(archive, Query())]
    by_kind, joints = learn(archive, Query())
    text = learned_text(by_kind, joints)
    assert joints == 6 and by_kind["gap"].offset_mm == by_kind["gap"].mean_mm
    assert "read the gap 1.0 mm wider than your caliper" in " ".join(text.split())
    assert "Nothing is corrected by itself" in text
    assert [e.set_to_mm for e in entries(archive, Query())] == before


def test_chance_is_no_offset(archive):
    tell(archive, [0.9, -1.1, 0.3, -0.4, 1.2, -0.8])
    by_kind, joints = learn(archive, Query())
    assert by_kind["gap"].offset_mm is None
    assert "caliper. First" not in learned_text(by_kind, joints)


def test_few_joints_offer_nothing(archive):
    tell(archive, [1.0, 1.1, 0.9][: FEWEST - 1])
    text = learned_text(*learn(archive, Query()))
    assert "little can be said" in text and "wider" not in text


def test_half_widths_that_do_not_hold_are_named(archive):
    tell(archive, [4.0, -4.5, 5.0, -4.0, 3.9, -5.0])
    assert "fewer held than expected" in learned_text(*learn(archive, Query()))


@pytest.mark.parametrize("units", ["mm", "in"])
def test_summary_fits_a_terminal_and_json_is_in_mm(archive, units):
    offsets = [10.9, -11.1, 10.3, -10.4, 11.2, 12.0]
    tell(archive, offsets)
    by_kind, joints = learn(archive, Query())
    assert max(map(len, learned_text(by_kind, joints, units).splitlines())) <= 80
    said = learned_json(by_kind, joints)
    assert said["joints"] == 6 and said["differences"]["gap"]["n"] == 6
    assert said["differences"]["gap"]["mean_mm"] == pytest.approx(
        np.mean([10.9, -11.1, 10.3, -10.4, 11.2, 12.0])
    )
    assert said["differences"]["trial"]["mean_mm"] is None


def test_nothing_told_yet(archive):
    keep(archive)
    assert "Nothing was told yet" in learned_text(*learn(archive, Query()))


def test_profile_of_the_test_joint_is_evenly_spaced():
    """What `tell` counts on."""
    stations = new_record().result["profile"]["station_mm"]
    assert stations[50] == 0.0 and {b - a for a, b in pairwise(stations)} == {10.0}
