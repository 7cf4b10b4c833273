"""The two sides are tied by the logs' own outlines, or not at all."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from gapvision.errors import JointNotFitted
from gapvision.joint.placed import PlacedPhoto, Placement
from gapvision.joint.sides import connect_sides, side_of
from gapvision.trace.outlines import SEEN

THICK_MM = 320.0


@dataclass(frozen=True)
class Flat:
    """A camera whose picture is the wall itself: its points are stations and heights, mm."""

    centre_mm: np.ndarray

    def plane_point(self, xy, z):
        return np.asarray(xy, float)


@dataclass(frozen=True)
class Card:
    number: int
    side: str
    nail_mm: np.ndarray


def wavy(x, seed):
    rng = np.random.default_rng(seed)
    return sum(
        rng.normal(0, 2.0) * np.sin(2 * np.pi * x / length + rng.uniform(0, 7))
        for length in (150.0, 260.0, 400.0, 700.0)
    )


def sight(side, x, slid, seed, rise=0.0, noise_mm=0.5, lean=0.0):
    """A photograph of the logs of a seed, its own origin ``slid`` to the right of the outside's."""
    rng = np.random.default_rng(9)

    def line(log, height):
        y = height + wavy(x, seed + log) + rise + lean * x + rng.normal(0, noise_mm, len(x))
        xy = np.stack([x - slid, y], 1)
        return SimpleNamespace(state=np.full(len(x), SEEN), xy_px=xy)

    trace = SimpleNamespace(lower=line(0, -180.0), upper=line(1, -150.0))
    return SimpleNamespace(trace=trace, rows=SimpleNamespace(side=side))


def tied(sights, heights):
    """Where the inside's camera comes to lie, station and height, mm."""
    out = {"outside": 1500.0, "inside": -1500.0 - THICK_MM}
    placed = Placement(
        tuple(
            PlacedPhoto(s, Flat(np.array([0.0, h, out[s.rows.side]])))
            for s, h in zip(sights, heights, strict=True)
        ),
        {
            1: Card(1, "outside", np.zeros(3)),
            2: Card(2, "inside", np.array([0.0, 0.0, -THICK_MM])),
        },
    )
    moved = connect_sides(placed, 160.0, THICK_MM)
    return moved.photos[-1].camera.centre_mm[:2] - [0, heights[-1]]


X = np.arange(-800.0, 801, 4.0)
LEVEL, HIGH = -165.0, 250.0


@pytest.mark.parametrize("slid", [-700.0, -45.0, 0.0, 380.0])
def test_the_inside_comes_where_its_outlines_are_the_outsides(slid):
    inside = sight("inside", X[np.abs(X - slid) < 800], slid, 3, 12.0, 0.7, 0.01)
    at = tied([sight("outside", X, 0.0, 3), inside], [LEVEL, LEVEL])
    assert at[0] == pytest.approx(slid, abs=10)
    assert at[1] == pytest.approx(-12.0, abs=5 + abs(0.01 * slid))


def test_a_raised_photograph_does_not_spoil_what_level_ones_show():
    raised = sight("outside", X, 0.0, 50, rise=40.0)  # other lines of the logs
    sights = [sight("outside", X, 0.0, 3), raised, sight("inside", X, 200.0, 3)]
    assert tied(sights, [LEVEL, HIGH, LEVEL])[0] == pytest.approx(200, abs=10)


def test_a_stretch_of_wrong_line_does_not_spoil_it():
    inside = sight("inside", X, 200.0, 3)
    wrong = inside.trace.lower
    inside.trace.lower = replace_xy(wrong, wrong.xy_px + [0, 45.0] * (X > 500)[:, None])
    assert tied([sight("outside", X, 0.0, 3), inside], [LEVEL] * 2)[0] == pytest.approx(200, abs=10)


def replace_xy(line, xy):
    return SimpleNamespace(state=line.state, xy_px=xy)


@pytest.mark.parametrize("seed", range(5))
def test_other_logs_are_not_tied(seed):
    with pytest.raises(JointNotFitted, match="too little of the joint alike"):
        tied([sight("outside", X, 0.0, 3), sight("inside", X, 0.0, 60 + 2 * seed)], [LEVEL] * 2)


def test_too_short_a_stretch_is_not_tied():
    short = sight("inside", X[np.abs(X) < 150], 0.0, 3)
    with pytest.raises(JointNotFitted, match="two sides"):
        tied([sight("outside", X, 0.0, 3), short], [LEVEL] * 2)


def test_one_side_alone_stays_where_it_is():
    camera = Flat(np.zeros(3))
    alone = PlacedPhoto(sight("outside", X, 0.0, 3), camera)
    placed = Placement((alone,), {1: Card(1, "outside", np.zeros(3))})
    assert connect_sides(placed, 160.0, None) is placed


@pytest.mark.parametrize(
    ("given", "inside", "side"),
    [("outside", (), "outside"), ("outside", (5, 6), "outside"), ("outside", (2,), "inside"),
     ("inside", (), "inside"), ("inside", (5,), "inside")],
)  # fmt: skip
def test_a_photograph_is_from_inside_where_it_shows_a_card_that_hangs_there(given, inside, side):
    assert side_of([SimpleNamespace(number=n) for n in (1, 2)], given, inside) == side
