"""The two looks at the joint: brought to the band's cells, and the second one nearer to the truth."""

import numpy as np
import pytest
from helpers.drawn_joint import BOTTOM_MM, CAMERA, EXPECTED_MM, STRETCH_MM, TOP_MM, draw, upper_mm

from gapvision.trace.looks import (
    MOST_ROWS,
    _bettered,
    _brought_to,
    first_look,
    rows_of_lines,
    second_look,
)
from gapvision.trace.network import BLOCK, CLOSER, FLOOR, GAP, TRACER, UPPER
from gapvision.trace.rectified import CELL_MM, Band, cut_band

GAP_MM = 34.0


def strip_of(band, down_rows, cell_mm, rows):
    """A strip of these cells that begins at the top edge of the band's row ``down_rows``."""
    columns = int(band.seen.shape[1] * CELL_MM / cell_mm)
    seen = np.ones((rows, columns), bool)
    off = 0.5 * (CELL_MM - cell_mm)
    top = band.top_mm - CELL_MM * down_rows + off
    return Band(seen, ~seen, CAMERA, band.left_mm - off, top, band.z_mm, cell_mm)


@pytest.fixture
def band():
    seen = np.ones((120, 160), bool)
    return Band(seen, ~seen, CAMERA, -100.0, 0.0, 0.0)


def answers(rows, blocks, limb_rows):
    """Labels of an upper log above a gap, limbs on a triangle about these rows (blocks,)."""
    labels = np.zeros((4, rows, blocks), np.float32)
    r = np.arange(rows)[:, None]
    labels[UPPER], labels[GAP] = r + 0.5 <= limb_rows, r + 0.5 > limb_rows
    # Index k is of limbs between the middles of rows k - 1 and k, the edge of row k in between.
    away = np.abs(np.arange(rows + 1)[:, None] - limb_rows)
    p = np.maximum(1 - away / 3, 0)
    p /= p.sum(0)
    limbs = np.maximum(np.log(np.maximum(p, 1e-9)), FLOOR).astype(np.float32)
    return labels, np.stack([limbs, limbs])


def middle_of(limbs):
    """Mean place (blocks,) of each limb, in rows from the band's upper edge."""
    p = np.maximum(np.exp(limbs) - np.exp(FLOOR), 0)
    return (p * np.arange(limbs.shape[0])[:, None]).sum(0) / p.sum(0)


def blocks_of(strip, look):
    """How many blocks a look has of a strip."""
    return strip.seen.shape[1] // (look.along * BLOCK)


@pytest.mark.parametrize("cell_mm", [0.5, 0.625])
def test_a_limb_seen_closer_is_brought_back_to_where_it_lies(band, cell_mm):
    blocks = band.seen.shape[1] // BLOCK
    first, rows = 40, int(48 / cell_mm)
    strip = strip_of(band, first, cell_mm, rows)
    near_blocks = blocks_of(strip, CLOSER)
    true = 60.0 + 8.0 * np.linspace(0, 1, near_blocks) + 0.3  # rows of the band
    near = answers(rows, near_blocks, (true - first) * CELL_MM / cell_mm)
    before = answers(band.seen.shape[0], blocks, np.full(blocks, 55.0))
    labels, limbs = _bettered(*before, _brought_to(band, strip, CLOSER, *near))
    expected = np.interp(np.arange(blocks), np.linspace(0, blocks - 1, near_blocks), true)
    # Half a millimetre's rows meet the band's in their middle: a quarter of a row at most is lost.
    np.testing.assert_allclose(middle_of(limbs[0]), expected, atol=0.25)
    assert abs(np.mean(middle_of(limbs[0]) - expected)) < 0.05
    edge = (labels[UPPER] > 0.5).sum(0)
    np.testing.assert_allclose(edge, expected, atol=1.0)
    assert (labels[:, :first] == before[0][:, :first]).all()  # above the strip nothing is new
    assert (limbs[:, :first] == before[1][:, :first]).all()


@pytest.mark.parametrize("size", [(120, 160), (119, 157)])
def test_a_limb_seen_in_large_cells_is_brought_to_where_it_lies(size):
    seen = np.ones(size, bool)
    band = Band(seen, ~seen, CAMERA, -100.0, 0.0, 0.0)
    blocks = size[1] // BLOCK
    wide = -(-size[1] // (TRACER.along * BLOCK))
    true = 50.0 + 6.0 * np.arange(wide) / wide  # rows of the band
    found = _brought_to(band, band, TRACER, *answers(60, wide, true / TRACER.down))
    assert found.rows.all() and found.limb_rows.all()
    assert found.labels.shape == (4, size[0], blocks)
    np.testing.assert_allclose(found.places.sum(1), 1.0, atol=0.01)
    expected = np.repeat(true, TRACER.along)[:blocks]
    np.testing.assert_allclose(middle_of(np.log(found.places[0] + 1e-9)), expected, atol=0.05)
    np.testing.assert_allclose((found.labels[UPPER] > 0.5).sum(0), expected, atol=1.01)


def test_what_the_first_look_holds_likely_beside_the_strip_stays_so(band):
    """The second look tells where in the strip a limb lies, not whether it lies there at all."""
    blocks = band.seen.shape[1] // BLOCK
    labels, limbs = answers(band.seen.shape[0], blocks, np.full(blocks, 20.0))  # outside the strip
    strip = strip_of(band, 40, 0.5, 96)
    near = answers(96, blocks, np.full(blocks, 48.0))
    seen = _brought_to(band, strip, CLOSER, *near)
    np.testing.assert_allclose(seen.places.sum(1), 1.0, atol=0.01)
    _, after = _bettered(labels, limbs, seen)
    np.testing.assert_allclose(middle_of(after[0]), 20.0, atol=0.01)


def test_the_second_look_is_nearer_to_the_drawn_outlines():
    picture = draw(GAP_MM)
    band, bgr = cut_band(picture, CAMERA, 0.0, STRETCH_MM, TOP_MM, BOTTOM_MM, [])
    first = first_look(band, bgr, EXPECTED_MM)
    within = rows_of_lines(band, *first)
    second = second_look(picture, CAMERA, band, *first, [], EXPECTED_MM, within)
    columns = (np.arange(first[0].shape[2]) + 0.5) * BLOCK - 0.5
    upper = upper_mm(band.left_mm + CELL_MM * columns)
    errors = []
    for _, limbs in (first, second):
        rows = [(band.top_mm - y) / CELL_MM for y in (upper, upper - GAP_MM)]
        found = [middle_of(limb) - 0.5 for limb in limbs]
        errors.append(np.abs(np.subtract(found, rows)).mean())
    assert errors[1] < 0.8 * errors[0]
    assert errors[1] < 0.5


def test_lines_too_far_apart_for_a_strip_are_left_as_they_are():
    rows, blocks = int(MOST_ROWS * CLOSER.most_mm) + 80, 40
    seen = np.ones((rows, blocks * BLOCK), bool)
    band = Band(seen, ~seen, CAMERA, -80.0, 0.0, 0.0)
    labels, upper = answers(rows, blocks, np.full(blocks, 20.0))
    _, lower = answers(rows, blocks, np.full(blocks, rows - 20.0))
    limbs = np.stack([upper[0], lower[0]])
    picture = np.zeros((760, 1300, 3), np.uint8)
    within = rows_of_lines(band, labels, limbs)
    after = second_look(picture, CAMERA, band, labels, limbs, [], None, within)
    assert after[0] is labels and after[1] is limbs
