"""The second network's strips: where they are cut, and where their answers lie in the band."""

import numpy as np
import pytest

from gapvision.trace import limbs as lines
from gapvision.trace.labels import GAP, LOWER, UPPER
from gapvision.trace.limbs import COLUMNS, FLOOR, STRIP_ROWS, by_columns, cut_strip, line_places
from gapvision.trace.training import vary
from gapvision.trace.training.limbs import examples
from gapvision.trace.training.samples import Sample

ROWS, WIDTH, BLOCK = 150, 96, 4


def planes():
    """A band whose first plane is its row and whose second is its column."""
    row, column = np.mgrid[:ROWS, :WIDTH].astype(np.float32)
    rest = np.zeros((3, ROWS, WIDTH), np.float32)
    return np.concatenate([row[None], column[None], rest, np.full((1, ROWS, WIDTH), 0.2)])


@pytest.mark.parametrize(("sign", "log_first"), [(1.0, True), (-1.0, False)])
def test_a_strip_runs_from_the_log_across_its_line_into_the_gap(sign, log_first):
    base = 70.0 + 0.05 * np.arange(WIDTH)
    strip = cut_strip(planes(), base, sign)
    assert strip.shape == (6, STRIP_ROWS, WIDTH // COLUMNS)
    down = np.diff(strip[0], axis=0)
    assert (np.sign(down) == sign).all()
    middle = 0.5 * (strip[0][STRIP_ROWS // 2 - 1] + strip[0][STRIP_ROWS // 2])
    np.testing.assert_allclose(middle, by_columns(base), atol=0.03)
    np.testing.assert_allclose(
        strip[1], np.broadcast_to(by_columns(np.arange(WIDTH)), strip[1].shape)
    )
    np.testing.assert_allclose(strip[4], sign * 0.2)
    np.testing.assert_allclose(strip[5], sign)


class OneRow:
    """A network that is sure of one row of each strip: the upper log's first, the lower log's then."""

    def __init__(self, rows):
        self.rows = rows

    def setInput(self, x):
        self.width = x.shape[3]

    def forward(self):
        score = np.zeros((2, STRIP_ROWS, self.width), np.float32)
        for k, row in enumerate(self.rows):
            score[k, row] = 9.0
        return score


def test_answers_lie_where_their_strips_were_cut(monkeypatch):
    monkeypatch.setattr(lines, "network", lambda file: OneRow((40, 20)))
    upper, lower = np.full(WIDTH, 60.0), 95.0 + 0.1 * np.arange(WIDTH)
    places = line_places(planes(), [upper, lower], BLOCK)
    assert places.shape == (2, ROWS + 1, WIDTH // BLOCK)
    edge = np.arange(ROWS + 1) - 0.5  # of each of its rows, between two of the band's
    found = edge[places.argmax(1)]
    np.testing.assert_allclose(found[0], 60.0 + (40 - 31.5), atol=0.51)
    middle = lower.reshape(-1, BLOCK).mean(1)
    np.testing.assert_allclose(found[1], middle - (20 - 31.5), atol=0.51)
    far = np.abs(edge[:, None] - 60.0) > STRIP_ROWS / 2
    assert (places[0][np.broadcast_to(far, places[0].shape)] == FLOOR).all()


def test_rows_share_one_chance_in_each_block(monkeypatch):
    """No row of a flat answer is likelier than another, and together they are certain."""
    monkeypatch.setattr(lines, "network", lambda file: OneRow(()))
    level = np.full(WIDTH, 70.0)
    places = line_places(planes(), [level - 10, level + 10], BLOCK)
    inside = places > FLOOR
    np.testing.assert_allclose(places[inside], -np.log(STRIP_ROWS), atol=1e-5)
    assert inside.sum(1).min() >= STRIP_ROWS - 1


def test_what_training_takes_for_the_true_row_is_the_outline_s(monkeypatch):
    """A drawn band, black logs and a white gap: the row told of each column lies on the change."""
    monkeypatch.setattr(vary, "CHANGED", 0.0)
    rows, width, upper, lower = 384, 700, 150.5, 190.5
    row = np.arange(rows)[:, None] + np.zeros(width)
    label = np.where(row < upper, UPPER, np.where(row > lower, LOWER, GAP)).astype(np.uint8)
    picture = np.repeat(np.where(label == GAP, 255, 0).astype(np.uint8)[..., None], 3, -1)
    blind = np.zeros((rows, width), bool)
    flat = [np.full(width, r, np.float32) for r in (upper, lower)]
    sample = Sample(picture, blind, ~blind, label, *flat, 120.0, np.zeros(rows, np.float32))
    rng = np.random.default_rng(3)
    strips = [s for _ in range(6) for s in examples(sample, [sample], rng)]
    assert len(strips) > 8
    for strip, true, known in strips:
        j = np.flatnonzero(known & (true > 4) & (true < STRIP_ROWS - 5))
        level = strip[0] / strip[0].max()
        low = np.floor(true[j]).astype(int)
        assert np.median(level[low - 1, j]) < 0.2  # on the log
        assert np.median(level[low + 2, j]) > 0.8  # in the gap
