"""Lines drawn by hand over a drawn joint whose outlines are known, where the network is made to be wrong."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.drawn_joint import BOTTOM_MM, CAMERA, EXPECTED_MM, STRETCH_MM, TOP_MM, draw, upper_mm
from helpers.misled import misled

from gapvision.errors import OutlinesNotFound
from gapvision.inputs.corrections import Correction
from gapvision.photo.light import linear
from gapvision.trace.drawn import PIN_BLOCKS, drawn_in
from gapvision.trace.looks import first_look, rows_of_lines, second_look
from gapvision.trace.network import BLOCK, FLOOR
from gapvision.trace.outlines import HIDDEN, SEEN, UNSURE, trace_outlines
from gapvision.trace.rectified import cut_band

GAP_MM = 34.0
WRONG = slice(60, 100)  # blocks in which the network takes another edge for the lower log's
OFF_ROWS = 10  # so much lower


class Scene:
    """A drawn photograph, what the network says of it, and that made wrong."""

    def __init__(self):
        picture = draw(GAP_MM)
        self.band, bgr = cut_band(picture, CAMERA, 0.0, STRETCH_MM, TOP_MM, BOTTOM_MM, [])
        first = first_look(self.band, bgr, EXPECTED_MM)
        self.labels, self.limbs = second_look(
            picture, CAMERA, self.band, *first, [], EXPECTED_MM, rows_of_lines(self.band, *first)
        )
        self.light = linear(picture)
        self.blocks = self.labels.shape[2]
        self.station = STRETCH_MM[0] + (np.arange(self.blocks) + 0.5) * BLOCK - 0.5

    def wrong(self):
        return misled(self.labels, self.limbs, "lower", WRONG, OFF_ROWS)

    def trace(self, correction=None, guide=None, said=None, light=None):
        labels, limbs = said or self.wrong()
        drawn = correction and drawn_in(self.band, self.blocks, correction, "level.jpg")
        light = self.light if light is None else light
        return trace_outlines(
            lambda x0, y0, x1, y1: light[y0:y1, x0:x1], self.band, labels, limbs, guide, drawn
        )

    def px(self, station, log="lower"):
        """The true outline at stations, px."""
        station = np.asarray(station, float)
        height = upper_mm(station) - (GAP_MM if log == "lower" else 0.0)
        return CAMERA.project(np.stack([station, height, 0 * station], -1))

    def stroke(self, first, last, off_px=0.0, log="lower", step=8):
        """The true outline from block to block, off by so many px, as a person draws it."""
        points = self.px(self.station[first:last:step], log) + [0.0, off_px]
        return tuple(map(tuple, points.tolist()))

    def miss_mm(self, trace, log="lower"):
        line = getattr(trace, log)
        return (line.xy_px[:, 1] - self.px(self.station, log)[:, 1]) * trace.mm_per_px


@pytest.fixture(scope="module")
def scene():
    return Scene()


def test_the_network_s_wrong_line_is_claimed(scene):
    """Or nothing below would prove anything."""
    trace = scene.trace()
    inside = slice(WRONG.start + 6, WRONG.stop - 6)
    assert np.all(trace.lower.state[inside] == SEEN)
    assert np.all(scene.miss_mm(trace)[inside] > 7.0)


@pytest.mark.parametrize("off_px", [-2.5, 0.0, 2.5])
def test_a_drawn_line_puts_it_right_and_is_claimed(scene, off_px):
    """Also drawn 1.4 mm beside the edge, which it then snaps to."""
    stroke = scene.stroke(WRONG.start - 4, WRONG.stop + 5, off_px)
    trace = scene.trace(Correction(lower=(stroke,)))
    assert np.all(trace.lower.state[WRONG] == SEEN)
    assert np.abs(scene.miss_mm(trace)[WRONG]).max() < 1.6
    assert np.median(np.abs(scene.miss_mm(trace)[WRONG])) < 0.5


def test_what_it_may_be_off_by_is_stated(scene):
    """Of a hand's line 12 mm rows are not independent: each is believed as to several mm, and less where
    no edge lies beside it."""
    stroke = scene.stroke(WRONG.start, WRONG.stop)
    at_edge = scene.trace(Correction(lower=(stroke,)))
    u_mm = (at_edge.lower.u_px * at_edge.mm_per_px)[WRONG.start + 4 : WRONG.stop - 8]
    assert np.all(u_mm > 3.0)
    careful = scene.trace(Correction(lower=(stroke,), u_mm=0.75))
    assert np.median(careful.lower.u_px[WRONG] / at_edge.lower.u_px[WRONG]) == pytest.approx(0.5)
    fog = np.full_like(scene.light, 0.4)
    alone = scene.trace(Correction(lower=(stroke,)), light=fog)
    assert np.median(alone.lower.u_px[WRONG] / at_edge.lower.u_px[WRONG]) == pytest.approx(2.0)


def test_elsewhere_nothing_changes(scene):
    before, after = scene.trace(), scene.trace(Correction(lower=(scene.stroke(20, 40),)))
    far = np.r_[0:12, 48 : scene.blocks]
    # All blocks' colours are weighed together: what is left is under 0.01 mm.
    np.testing.assert_allclose(after.lower.row[far], before.lower.row[far], atol=0.01)
    np.testing.assert_array_equal(after.lower.state[far], before.lower.state[far])
    np.testing.assert_allclose(after.upper.row, before.upper.row, atol=0.01)


def test_the_second_look_does_not_undo_it(scene):
    """A guide along the wrong line, as a joint bent to it would predict."""
    wrong = scene.trace()
    guide = wrong.upper.row, wrong.lower.row
    trace = scene.trace(Correction(lower=(scene.stroke(WRONG.start, WRONG.stop),)), guide)
    inside = slice(WRONG.start, WRONG.stop - 8)
    assert np.abs(scene.miss_mm(trace)[inside]).max() < 1.6


def test_what_was_unsure_counts_as_seen_where_it_was_drawn(scene):
    labels, limbs = scene.labels.copy(), scene.limbs.copy()
    limbs[1][:, WRONG] = FLOOR
    labels[:, :, WRONG] = 0.25
    unsure = scene.trace(said=(labels, limbs))
    assert np.mean(unsure.lower.state[WRONG] == UNSURE) > 0.9
    stroke = scene.stroke(WRONG.start, WRONG.stop + 8)
    drawn = scene.trace(Correction(lower=(stroke,)), said=(labels, limbs))
    assert np.all(drawn.lower.state[WRONG] == SEEN)
    assert np.abs(scene.miss_mm(drawn)[WRONG]).max() < 1.6
    assert np.mean(drawn.upper.state[WRONG] == UNSURE) > 0.9  # nothing was drawn of that log


def test_the_lower_line_gives_way_to_the_upper_one_drawn_through_it(scene):
    """And is not claimed there."""
    through = scene.stroke(WRONG.start, WRONG.stop, off_px=40.0)  # below the true lower outline
    trace = scene.trace(Correction(upper=(through,)), said=(scene.labels, scene.limbs))
    assert np.all(trace.lower.row >= trace.upper.row)
    assert not np.any(trace.lower.state[WRONG.start + 6 : WRONG.stop - 12] == SEEN)


def test_a_card_stays_in_front_of_what_is_drawn_over_it(scene):
    hidden = np.zeros_like(scene.band.hidden)
    hidden[:, BLOCK * 30 : BLOCK * 36] = True
    labels, limbs = scene.labels, scene.limbs
    drawn = drawn_in(scene.band, scene.blocks, Correction(lower=(scene.stroke(20, 50),)), "a.jpg")
    trace = trace_outlines(
        lambda x0, y0, x1, y1: scene.light[y0:y1, x0:x1],
        replace(scene.band, hidden=hidden), labels, limbs, None, drawn,
    )  # fmt: skip
    assert np.all(trace.lower.state[30:36] == HIDDEN)
    assert np.all(trace.lower.state[22:28] == SEEN)


def test_two_strokes_the_later_one_counts(scene):
    high, low = scene.stroke(20, 60, off_px=-30.0), scene.stroke(20, 60)
    trace = scene.trace(Correction(lower=(high, low)))
    assert np.abs(scene.miss_mm(trace)[24:50]).max() < 1.6


def test_a_stroke_may_be_drawn_from_right_to_left(scene):
    stroke = scene.stroke(WRONG.start, WRONG.stop)
    one, other = (scene.trace(Correction(lower=(s,))) for s in (stroke, stroke[::-1]))
    np.testing.assert_array_equal(one.lower.row, other.lower.row)


def test_where_a_drawn_line_ends_beside_the_traced_one_that_is_claimed_no_more(scene):
    """Half of the wrong stretch is drawn: the other half is not believed, and what ends on it is."""
    half = scene.stroke(WRONG.start - 6, WRONG.start + 22)
    trace = scene.trace(Correction(lower=(half,)))
    claimed = trace.lower.state == SEEN
    assert not np.any(claimed & (np.abs(scene.miss_mm(trace)) > 3.0))
    assert (
        np.mean(claimed[6 : WRONG.start - 8]) > 0.95
    )  # left of it, where it ends on the traced line
    assert np.mean(claimed[WRONG.start + 70 : scene.blocks - 3]) > 0.95


# --- pins -----------------------------------------------------------------------------------------


def pinned(scene, *blocks):
    pins = tuple((tuple(scene.px(scene.station[b : b + 1])[0].tolist()),) for b in blocks)
    return Correction(lower=pins)


def test_the_limb_goes_through_a_pin(scene):
    trace = scene.trace(pinned(scene, 80))
    assert np.all(trace.lower.state[79:82] == SEEN)
    assert np.abs(scene.miss_mm(trace)[80]) < 1.6


def test_the_line_that_a_pin_proves_wrong_is_claimed_no_more(scene):
    trace = scene.trace(pinned(scene, 80))
    claimed = trace.lower.state == SEEN
    assert not np.any(claimed & (np.abs(scene.miss_mm(trace)) > 3.0))
    far = np.r_[0:30, 125 : scene.blocks - 3]
    assert np.mean(claimed[far]) > 0.95  # but far from it


def test_a_pin_on_the_line_changes_nothing_but_itself(scene):
    said = scene.labels, scene.limbs
    before, after = scene.trace(said=said), scene.trace(pinned(scene, 80), said=said)
    away = np.abs(np.arange(scene.blocks) - 80) > 6
    np.testing.assert_array_equal(after.lower.state[away], before.lower.state[away])
    np.testing.assert_allclose(after.lower.row[away], before.lower.row[away], atol=0.3)


def test_a_pin_leads_to_the_other_candidate(scene):
    """Where the network thinks both lines possible the pin decides, for as far as a pin reaches."""
    labels, limbs = scene.wrong()
    both = np.logaddexp(limbs[1], scene.limbs[1] - 2.0)
    limbs[1] = both - np.log(np.exp(both).sum(0))
    trace = scene.trace(pinned(scene, 80), said=(labels, limbs))
    near = slice(80 - PIN_BLOCKS + 3, 80 + PIN_BLOCKS - 2)
    claimed = trace.lower.state[near] == SEEN
    assert np.abs(scene.miss_mm(trace)[near][claimed]).max() < 1.6
    assert np.abs(scene.miss_mm(trace)[near]).max() < 3.0


# --- what cannot have been drawn ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lines", "match"),
    [
        ({"lower": (((-3.0, 400.0), (300.0, 420.0)),)}, "outside the picture of 1300 x 760 px"),
        ({"upper": (((300.0, 760.0),),)}, "outside the picture"),
        ({"upper": (((300.0, 20.0), (400.0, 30.0)),)}, "by the card the joint cannot be"),
    ],
)
def test_lines_that_are_nowhere(scene, lines, match):
    with pytest.raises(OutlinesNotFound, match=match) as refused:
        drawn_in(scene.band, scene.blocks, Correction(**lines), "level.jpg")
    assert refused.value.code == "bad-correction" and refused.value.text.startswith("level.jpg: ")


def test_lines_that_cross_are_refused(scene):
    exchanged = Correction(
        upper=(scene.stroke(20, 50, log="lower"),), lower=(scene.stroke(30, 60, log="upper"),)
    )
    with pytest.raises(OutlinesNotFound, match="upper log lies below that for the lower log"):
        drawn_in(scene.band, scene.blocks, exchanged, "level.jpg")


def test_an_edge_that_the_line_was_drawn_away_from_does_not_draw_it_back(scene):
    """2.5 mm beside the limb that the network rightly found: whoever draws there means something else."""
    said = scene.labels, scene.limbs
    beside = scene.stroke(40, 90, off_px=4.5)
    trace = scene.trace(Correction(lower=(beside,)), said=said)
    miss = scene.miss_mm(trace)[42:80]
    assert np.median(miss) == pytest.approx(2.5, abs=0.6) and miss.min() > 0.9
    near = scene.stroke(40, 90, off_px=2.0)  # 1.1 mm: as a finger has it, and back on the limb
    trace = scene.trace(Correction(lower=(near,)), said=said)
    assert np.median(np.abs(scene.miss_mm(trace)[42:80])) < 0.4
