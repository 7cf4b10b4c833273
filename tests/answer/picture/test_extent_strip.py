"""The bars of the photographs: where they saw the joint, in rows by height."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from helpers.joints import joint, photo, whole_log

from gapvision.answer.picture.drawing import BLUE, GREY
from gapvision.answer.picture.extent_strip import LANE_PX, ROW_GAP_PX, extent_strip
from gapvision.answer.picture.raster import pixels_of
from gapvision.trace.outlines import SHUT


def columns(station):
    return 340 + 0.2 * np.asarray(station, float)


def drawn(*args):
    """The bars as pixels."""
    return pixels_of(extent_strip(*args))


def bar(strip, colour):
    """Where a colour is in the uppermost bar that has it, in a row above the names."""
    is_colour = cv2.inRange(strip, colour[::-1], colour[::-1]) > 0
    return is_colour[np.argmax(is_colour.any(axis=1)) + 3]


def ends(bar):
    """Columns at which a bar's pieces begin and end."""
    return np.flatnonzero(np.diff(bar.astype(int)))


def test_bars_reach_as_far_as_the_joint_was_seen_and_are_hatched_where_not():
    hidden = (200.0, 500.0)
    pair = photo("a.jpg", -900.0, 900.0, hidden), photo("b.jpg", 1500.0, 3000.0)
    strip = drawn(joint(photos=pair, deciding=5000.0), columns, None)
    wanted = columns([-900.0, 200.0, 500.0, 900.0, 1500.0, 3000.0])
    np.testing.assert_allclose(ends(bar(strip, GREY)), wanted, atol=2)  # px: whole ones
    start, stop = np.round(columns(hidden)).astype(int)
    field = strip[10 : LANE_PX - 10, start + 3 : stop - 2]
    assert 0.05 < (field == 120).all(axis=-1).mean() < 0.4


def test_a_photograph_that_shows_one_outline_alone_is_hatched_all_along(said):
    steep = photo("b.jpg", 1000.0, 3000.0)
    steep = replace(
        steep,
        outlines=replace(
            steep.outlines, axis_state=np.full(len(steep.outlines.axis_station_mm), SHUT)
        ),
    )
    strip = drawn(joint(photos=(photo("a.jpg", -900.0, 900.0), steep)), columns, None)
    start, stop = np.round(columns([1000.0, 3000.0])).astype(int)
    field = strip[10 : LANE_PX - 10, start + 3 : stop - 2]
    assert 0.05 < (field == 120).all(axis=-1).mean() < 0.4
    assert "b" in said


def test_a_photograph_that_shows_both_outlines_for_a_few_mm_only_is_named_too(said):
    steep = photo("steep.jpg", 1000.0, 3000.0)
    few = np.abs(steep.outlines.axis_station_mm - 2000.0) < 8.0
    steep = replace(
        steep,
        outlines=replace(steep.outlines, axis_state=np.where(few, steep.outlines.axis_state, SHUT)),
    )
    drawn(joint(photos=(photo("a.jpg", -900.0, 900.0), steep)), columns, None)
    assert few.any() and "steep" in said


def test_the_photograph_shown_is_dark_and_named(said):
    log = whole_log()
    shown = next(p for p in log.photos if p.file == "level-6.jpg")
    dark = bar(drawn(log, columns, shown), BLUE)  # crossed by the deciding place's line
    wanted = columns([shown.from_mm, shown.to_mm])
    np.testing.assert_allclose(ends(dark)[[0, -1]], wanted, atol=2)
    assert "level-6 (shown)" in said
    assert "level-5" in said


def test_rows_by_height_and_lanes_for_those_that_overlap(said):
    strip = drawn(whole_log(), columns, None)
    # 8 level photographs every 730 mm, 1900 mm wide, need three lanes, each from left to right.
    assert said == [
        "above-1", "above-2", "above",
        "level-1", "level-4", "level-7", "level", "level-2", "level-5", "level-8", "level-3",
        "level-6", "below-1", "below-2", "below",
    ]  # fmt: skip
    assert len(strip) == 5 * LANE_PX + 3 * ROW_GAP_PX


@pytest.mark.parametrize(
    ("height", "row"), [(300.0, "above"), (150.0, "level"), (-150.0, "level"), (-300.0, "below")]
)
def test_rows_are_parted_at_half_the_slope_asked_for(said, height, row):
    # 0.11 of a distance of 1500 mm is 165 mm.
    drawn(joint(photos=2 * (photo(height_mm=height),)), columns, None)
    assert said == ["joint", row, "joint"]


def test_long_names_keep_their_end(said):
    log = whole_log()
    photos = [replace(p, file="snaps_of_a_log_at_the_lake_" + p.file) for p in log.photos]
    drawn(replace(log, photos=tuple(photos)), columns, None)
    names = [t for t in said if t.startswith("..")]
    assert len(names) == 12
    assert all(t[-1].isdigit() for t in names)


def test_both_sides_are_told_apart(said):
    inside = photo("in.jpg", side="inside")
    drawn(joint(photos=(inside, photo("out.jpg"))), columns, None)
    assert said == ["from outside:", "out", "level", "from inside:", "in", "level"]


def test_what_is_left_out_has_no_bar_and_one_photograph_needs_none(said):
    left_out = replace(photo("dark.jpg"), used=False)
    assert not len(drawn(joint(photos=(photo(), left_out)), columns, None))
    assert not said
