"""Tracing: the cheapest line against brute force, and drawn joints whose outlines are known."""

from itertools import product

import cv2
import numpy as np
import pytest
from helpers.drawn_joint import (
    BOTTOM_MM,
    CAMERA,
    CENTRE_MM,
    EXPECTED_MM,
    PX_PER_MM,
    SIZE,
    STRETCH_MM,
    TOP_MM,
    draw,
    upper_mm,
)

from gapvision.photo.light import linear
from gapvision.trace import outlines
from gapvision.trace.looks import first_look, rows_of_lines, second_look
from gapvision.trace.network import BLOCK, FLOOR, FRONT, GAP, LOWER, UPPER
from gapvision.trace.outlines import HIDDEN, OUTSIDE, SEEN, SHUT, trace_outlines
from gapvision.trace.rectified import CELL_MM, Band, cut_band
from gapvision.trace.training.bands import IGNORE, _labels


def trace(picture, cards=(), guide=None):
    band, bgr = cut_band(picture, CAMERA, 0.0, STRETCH_MM, TOP_MM, BOTTOM_MM, list(cards))
    first = first_look(band, bgr, EXPECTED_MM)
    labels, limbs = second_look(
        picture, CAMERA, band, *first, list(cards), EXPECTED_MM, rows_of_lines(band, *first)
    )
    light = linear(picture)
    found = trace_outlines(lambda x0, y0, x1, y1: light[y0:y1, x0:x1], band, labels, limbs, guide)
    return found, (labels, limbs)


@pytest.fixture(scope="module")
def open_joint():
    return trace(draw(34.0))


# --- the cheapest line ----------------------------------------------------------------------------


def brute_force(cost, step_rows, step_cost):
    rows, n = cost.shape
    best = None
    for path in product(range(rows), repeat=n):
        steps = np.abs(np.diff(path))
        if n > 1 and steps.max() > step_rows:
            continue
        total = cost[list(path), range(n)].sum() + step_cost * steps.sum()
        if best is None or total < best[0]:
            best = total, path
    return best


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("step_rows", "step_cost"), [(1, 0.3), (2, 0.7), (3, 1.2)])
def test_best_path_is_the_cheapest_of_all(monkeypatch, seed, step_rows, step_cost):
    monkeypatch.setattr(outlines, "STEP_ROWS", step_rows)
    monkeypatch.setattr(outlines, "STEP_COST", step_cost)
    cost = np.random.default_rng(seed).normal(0, 2, (6, 5))
    total, path = brute_force(cost, step_rows, step_cost)
    found = outlines._best_paths(cost[None])[0]
    assert found.tolist() == list(path)  # no two of these random costs are equal
    steps = np.abs(np.diff(found))
    again = cost[found.astype(int), range(5)].sum() + step_cost * steps.sum()
    assert again == pytest.approx(total)


def test_best_path_climbs_no_faster_than_it_may():
    cost = np.full((40, 4), 100.0)
    cost[0, 0] = cost[39, 3] = -1000.0  # 39 rows apart in three steps of at most three
    steps = np.diff(outlines._best_paths(cost[None])[0])
    assert np.abs(steps).max() <= outlines.STEP_ROWS


def test_best_path_of_a_single_column():
    assert outlines._best_paths(np.array([[[3.0], [1.0], [2.0]]])).tolist() == [[1.0]]


# --- a drawn joint --------------------------------------------------------------------------------


def test_labels_are_probabilities_in_order(open_joint):
    labels, _ = open_joint[1]
    assert labels.shape[0] == 4
    np.testing.assert_allclose(labels.sum(0), 1.0, atol=1e-4)
    column = labels[:, :, labels.shape[2] // 2].argmax(0)
    changes = column[np.flatnonzero(np.diff(column, prepend=-1))]
    assert list(changes[:1]) == [UPPER] and changes[-1] == LOWER and GAP in changes


def test_limbs_are_distributions_over_the_rows_of_a_column(open_joint):
    """Each sums to one but for its floor; its peak lies within 2 mm of the drawn limbs, 34 mm apart.

    Nearer the limb model takes over, in linear light; the drawing is of no kind that training had.
    """
    _, limbs = open_joint[1]
    total = np.exp(limbs).sum(1)
    floor = np.exp(FLOOR) * limbs.shape[1]
    assert np.all(total > 0.99) and np.all(total < 1.01 + floor)
    peak = limbs.argmax(1)
    assert np.median(np.abs(peak[1] - peak[0] - 34.0)) <= 4.0


@pytest.mark.parametrize(("gap_mm", "least"), [(34.0, 0.9), (20.0, 0.9), (12.0, 0.75), (10.0, 0.9)])
def test_both_outlines_within_one_cell(gap_mm, least, open_joint):
    """At 12 mm some of the streaks that are drawn beside the gap might be limbs as well."""
    found = open_joint[0] if gap_mm == 34.0 else trace(draw(gap_mm))[0]
    for line, below in ((found.upper, 0.0), (found.lower, gap_mm)):
        seen = line.state == SEEN
        assert seen.mean() > least
        assert set(line.state[~seen]) <= {OUTSIDE, outlines.UNSURE}
        x = CAMERA.plane_point(line.xy_px, 0.0)
        miss = (x[:, 1] - (upper_mm(x[:, 0]) - below))[seen]
        assert np.abs(miss).max() < CELL_MM
        # Half a pixel is what outlines of photographs are asked to keep to, in the median.
        assert abs(np.median(miss)) * PX_PER_MM < 0.5


def test_points_lie_at_their_rows_and_stations(open_joint):
    found = open_joint[0]
    assert np.diff(found.station_mm) == pytest.approx(BLOCK * CELL_MM)
    for line in (found.upper, found.lower):
        at = CAMERA.plane_point(line.xy_px, 0.0)
        np.testing.assert_allclose(at[:, 0], found.station_mm, atol=1e-6)
        np.testing.assert_allclose(TOP_MM - line.row * CELL_MM, at[:, 1], atol=1e-6)
    assert found.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=1e-6)


def test_clear_points_are_known_better_than_a_pixel(open_joint):
    for line in (open_joint[0].upper, open_joint[0].lower):
        u = line.u_px[line.state == SEEN]
        assert np.median(u) < 1.0 and u.min() >= 0.25


def test_guide_far_from_the_outlines_does_not_bend_clear_ones(open_joint):
    found = open_joint[0]
    near = found.upper.row + 1.0, found.lower.row - 1.0
    again = trace(draw(34.0), guide=near)[0]
    for a, b in ((found.upper, again.upper), (found.lower, again.lower)):
        both = (a.state == SEEN) & (b.state == SEEN)
        assert both.mean() > 0.85
        assert np.abs(a.row - b.row)[both].max() < 0.5


# --- shut, hidden, outside ------------------------------------------------------------------------


def by_hand(upper_row, lower_row, front=None):
    """A trace from labels and limbs that say clearly where the two lines are (rows by column)."""
    rows, columns = 120, 240
    whole = np.ones((rows, columns), bool)
    band = Band(whole, ~whole, CAMERA, -60.0, -120.0, 0.0)
    row = np.arange(rows)[:, None]
    upper, lower = (np.broadcast_to(r, columns)[None] for r in (upper_row, lower_row))
    masks = {UPPER: row < upper, GAP: (row >= upper) & (row < lower), LOWER: row >= lower}
    cells = np.full((4, rows, columns), 0.01, np.float32)
    for kind, mask in masks.items():
        cells[kind][mask] = 0.97
    if front is not None:
        cells[:, :, front] = 0.01
        cells[FRONT, :, front] = 0.97
    flat = np.full((*SIZE[::-1], 3), 0.3, np.float32)
    labels = cells.reshape(4, rows, -1, BLOCK).mean(-1)
    limbs = np.full((2, rows + 1, columns // BLOCK), FLOOR, np.float32)
    for limb, line in zip(limbs, (upper, lower), strict=True):
        at = np.ceil(line[0, BLOCK // 2 :: BLOCK]).astype(int)[: columns // BLOCK]
        limb[at, np.arange(len(at))] = 0.0
    found = trace_outlines(lambda a, b, c, d: flat[b:d, a:c], band, labels, limbs)
    return found, (np.arange(columns // BLOCK) + 0.5) * BLOCK


def test_shut_and_too_narrow_are_said_to_be_so():
    """Open on the left, shut in the middle, and open by 2.5 px, under the 3 that count, at last."""
    lower = np.r_[np.full(80, 70), np.full(80, 50), np.full(80, 51)]  # rows of 1 mm
    found, column = by_hand(50, lower)
    for line in (found.upper, found.lower):
        assert (line.state[column < 65] == SEEN).all()
        assert (line.state[column > 95] == SHUT).all()


def test_touching_logs_have_no_gap_that_is_seen():
    found = trace(draw(0.0))[0]
    both = (found.upper.state == SEEN) & (found.lower.state == SEEN)
    assert both.mean() < 0.05


def test_gap_that_closes_along_the_log():
    """From station -200 on a hump closes the gap, and right of 200 it is 1.1 mm, 2 px, of which nothing
    can be measured: it may be called open here and there, but not wide."""
    x = CENTRE_MM[0] + (np.arange(SIZE[0]) - (SIZE[0] - 1) / 2) / PX_PER_MM
    risen = np.clip((x + 200.0) / 400.0, 0, 1)
    found = trace(draw(1.1 + 28.9 * (0.5 + 0.5 * np.cos(np.pi * risen))))[0]
    both = (found.upper.state == SEEN) & (found.lower.state == SEEN)
    assert both[found.station_mm < 80].mean() > 0.9  # 7.0 mm there
    wide = both & ((found.lower.row - found.upper.row) * CELL_MM > 3.0)
    assert wide[found.station_mm > 200].mean() < 0.1


def test_lines_never_cross():
    """Also where the network sees nothing but noise."""
    rng = np.random.default_rng(9)
    noise = rng.integers(0, 255, (SIZE[1] // 8, SIZE[0] // 8, 3), np.uint8)
    noise = cv2.resize(noise, SIZE, interpolation=cv2.INTER_CUBIC)
    for picture in (draw(0.0), draw(2.0), noise):
        found = trace(picture)[0]
        both = (found.upper.state == SEEN) & (found.lower.state == SEEN)
        assert np.all(found.lower.row[both] >= found.upper.row[both])


def test_card_is_hidden_and_its_edge_is_not_traced():
    """A card whose foot hangs over the upper outline between stations 0 and 120."""
    picture = draw(34.0)
    card = np.array([[0.0, -60.0, 0.0], [120.0, -60.0, 0.0], [120.0, -165.0, 0.0], [0, -165.0, 0]])
    cv2.fillPoly(picture, [np.rint(CAMERA.project(card)).astype(np.int32)], (205, 205, 205))
    found = trace(picture, [card])[0]
    under = (found.station_mm > 6) & (found.station_mm < 114)
    assert (found.upper.state[under] == HIDDEN).all()
    away = (found.station_mm < -20) | (found.station_mm > 140)
    assert (found.upper.state[away] == SEEN).mean() > 0.9
    assert (found.lower.state[under] == SEEN).mean() > 0.9


def test_beyond_the_picture_s_edge_nothing_is_seen():
    band, bgr = cut_band(draw(34.0), CAMERA, 0.0, (300.0, 560.0), TOP_MM, BOTTOM_MM, [])
    light = linear(draw(34.0))
    labels, limbs = first_look(band, bgr, None)
    found = trace_outlines(lambda a, b, c, d: light[b:d, a:c], band, labels, limbs)
    edge = CENTRE_MM[0] + SIZE[0] / 2 / PX_PER_MM
    beyond = found.station_mm > edge
    assert beyond.sum() > 10
    for line in (found.upper, found.lower):
        assert not (line.state[beyond] == SEEN).any()


def test_something_in_front_is_not_taken_for_an_outline():
    found, column = by_hand(40, 70, front=slice(100, 140))
    front = (column > 100) & (column < 140)
    for line in (found.upper, found.lower):
        assert (line.state[front] == HIDDEN).all()
        assert (line.state[~front] == SEEN).all()


@pytest.mark.parametrize(
    ("slope", "overlap"),
    [(0.2, UPPER), (-0.2, LOWER), (0.0, IGNORE)],
    ids=["above", "below", "level"],
)
def test_training_labels_a_shut_gap_as_the_nearer_log(slope, overlap):
    """By the geometry of two circles: from above the upper log's limb is the nearer one."""
    upper, lower = np.array([10.0, 14.0]), np.array([14.0, 10.0])  # open, shut
    label = _labels(upper, lower, np.full(30, slope))
    assert (label[:10] == UPPER).all() and (label[15:] == LOWER).all()
    assert (label[11:14, 0] == GAP).all()
    assert (label[10:15, 1] == overlap).all()
