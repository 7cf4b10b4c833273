"""Cautions: each where its cause is, with the action it asks for, and none where nothing is wrong."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from helpers import simulator
from helpers.findings import (
    CLEAN,
    FAR,
    LONG,
    STATION,
    THREE_HEIGHTS,
    findings,
    heights,
    long_log,
    photo,
    showing_cards,
)
from helpers.simulator import PROTOCOLS, Fault, Protocol, draw_joint, fit

from gapvision.advice.blindspots import _likely
from gapvision.advice.cautions import find_cautions
from gapvision.advice.findings import Radii
from gapvision.answer.caution_text import caution_text
from gapvision.inputs.options import Cards, HandMeasured, MeasureOptions, Stretch
from gapvision.joint.by_hand import ByHand, LineWidth, compare
from gapvision.joint.disagreement import GapShift, gap_shifts
from gapvision.joint.drawn_off import DrawnOff
from gapvision.joint.gap import Profile, drawn_at, groove_at, profile_of, profile_over
from gapvision.joint.photo_results import (
    CardResult,
    Exposure,
    Lack,
    LineStep,
    PhotoResult,
)
from gapvision.joint.several import Suspicion
from gapvision.lengths import Reading, parse_diameter
from gapvision.photo.bent import Bend
from gapvision.photo.facts import CameraKey
from gapvision.quantity import Place, Quantity
from gapvision.scene.camera import Lens
from gapvision.scene.hung_card import HungCard
from gapvision.trace.outlines import HIDDEN, OUTSIDE, SEEN, SHUT, TracedOutline
from gapvision.trace.steps import SIDE, largest_step


def told_of(f):
    """The cautions of a joint, each with its sentence in the joint's units and from its cards."""
    return tuple(
        SimpleNamespace(
            code=c.code, from_mm=c.from_mm, to_mm=c.to_mm, doubtful=c.doubtful, facts=c.facts,
            text=caution_text(c, f.cards, f.options.units),
        )
        for c in find_cautions(f)
    )  # fmt: skip


def is_doubtful(f):
    return any(c.doubtful for c in find_cautions(f))


def codes(f):
    return [c.code for c in told_of(f)]


def only(f, code):
    """The one caution that there is."""
    (caution,) = told_of(f)
    assert caution.code == code
    assert caution.text.endswith(".") and "\n" not in caution.text
    return caution


def test_nothing_wrong_nothing_said():
    assert told_of(findings()) == ()
    assert not is_doubtful(findings())


# --- what was not seen ----------------------------------------------------------------------------


def test_long_stretch_not_seen_is_doubtful_and_asks_for_the_caliper_there():
    f = findings(unseen=[(100.0, 200.0)])
    caution = only(f, "not-seen")
    assert is_doubtful(f)
    assert "caliper" in caution.text and "from 100 to 200 mm right of card 1" in caution.text
    assert "lower bound" not in caution.text
    # Half a step of 5 mm beyond the last stations that lack.
    assert (caution.from_mm, caution.to_mm) == pytest.approx((97.5, 197.5))


@pytest.mark.parametrize(("length", "said"), [(60.0, False), (65.0, True)])
def test_stretches_longer_than_60_mm_count(length, said):
    f = findings(unseen=[(100.0, 100.0 + length)])
    assert ("not-seen" in codes(f)) == said == is_doubtful(f)


def test_every_unseen_stretch_is_named_also_at_the_ends():
    f = findings(unseen=[(-740.0, -600.0), (100.0, 300.0), (700.0, 900.0)])
    named = [(c.from_mm, c.to_mm) for c in told_of(f)]
    assert np.array(named) == pytest.approx(
        np.array([(-742.5, -602.5), (97.5, 297.5), (697.5, 862.5)])
    )


def test_bridged_stretch_is_named_but_not_doubtful():
    f = findings(bridged=[(100.0, 150.0)])
    caution = only(f, "bridged")
    assert not is_doubtful(f)
    assert (caution.from_mm, caution.to_mm) == pytest.approx((97.5, 147.5))
    assert codes(findings(bridged=[(100.0, 110.0)])) == []  # a strap's width of nothing


# --- photographs ----------------------------------------------------------------------------------


def test_outlines_that_contradict_the_logs_are_doubtful_and_name_the_photograph():
    photos = (*THREE_HEIGHTS[:2], photo("joint/below.jpg", -325.0, residual_px=7.4))
    f = findings(photos=photos)
    caution = only(f, "misfit")
    assert is_doubtful(f)
    assert caution.text.startswith("below.jpg:") and "7 px" in caution.text
    assert (caution.from_mm, caution.to_mm) == (-740.0, 860.0)  # what it shows of the joint


def test_card_of_which_no_photograph_reads_more_than_parts():
    torn = replace(THREE_HEIGHTS[0], unread_cards=(2, 9))
    text = only(findings(photos=(torn, *THREE_HEIGHTS[1:])), "card-unread").text
    assert text.startswith("level.jpg: card 9 is in the picture and cannot be read")
    read = replace(THREE_HEIGHTS[0], unread_cards=(2,))  # another photograph reads it
    assert codes(findings(photos=(read, *THREE_HEIGHTS[1:]))) == []


def test_stations_that_count_from_another_card():
    cards = (CardResult(3, "outside", 0.0, 1.0, ()), CardResult(4, "outside", 700, -2.4, ()))
    lost = (
        PhotoResult(
            "far.jpg", "", "outside", False, Lack("no-card", {"text": "Left out."}), cards=(1,)
        ),
    )
    found = told_of(findings(cards=cards, left_out=lost))
    assert [c.code for c in found] == ["left-out", "station-origin"]
    assert found[1].text.startswith(
        "What was typed for a place counts from card 3: card 1 is in no photograph"
    )
    nothing_stated = replace(
        CLEAN, stretch=Stretch(), upper_diameter=parse_diameter("320"), lower_diameter=None
    )
    unasked = findings(cards=cards, left_out=lost, options=nothing_stated)
    assert "station-origin" not in codes(unasked)


@pytest.mark.parametrize(("number", "said"), [(2, True), (3, False), (4, True)])
def test_stations_may_count_from_another_card(number, said):
    """The fellow of the lowest card on its sheet may hang there, unread: the stretch is another then."""
    cards = (
        CardResult(number, "outside", 0.0, 0.2, ()), CardResult(number + 1, "outside", 700, 0.1, ())
    )  # fmt: skip
    if said:
        caution = only(findings(cards=cards), "perhaps-origin")
        assert not caution.doubtful
        assert f"counts from card {number}, the lowest that is read" in caution.text
        assert f"If card {number - 1} hangs here too" in caution.text
    else:
        assert "perhaps-origin" not in codes(findings(cards=cards))
    untold = replace(
        CLEAN, stretch=Stretch(), upper_diameter=parse_diameter("320"), lower_diameter=None
    )
    assert "perhaps-origin" not in codes(findings(cards=cards, options=untold))


def test_photographs_that_contradict_each_other_by_centimetres():
    f = findings(contradict=True)
    assert is_doubtful(f)
    assert "cannot be told which" in only(f, "misfit").text


def test_photograph_left_out_says_why():
    out = PhotoResult(
        "joint/x.jpg",
        "",
        "outside",
        False,
        Lack("no-card", {"text": "x.jpg: no scale card was seen."}),
    )
    f = findings(left_out=(out,))
    assert only(f, "left-out").text == "x.jpg: no scale card was seen."
    assert not is_doubtful(f)


@pytest.mark.parametrize("height", [-300.0, 10.0, 330.0])
def test_one_height_says_what_two_more_would_gain(height):
    caution = only(findings(photos=(photo("level.jpg", height),), u95=3.4), "one-height")
    assert "3.4 mm" in caution.text
    assert "about ± 1.5 mm on usual logs" in caution.text
    # 0.22 of the distance, to go above and below, is 330 mm: nobody holds a phone so exactly.
    assert "350 mm" in caution.text


def test_nobody_is_promised_less_than_there_is():
    """After a level photograph with trial lines two more heights are a check, and no gain."""
    text = only(findings(photos=(photo("level.jpg", 10.0),), u95=1.4), "one-height").text
    assert "1.5" not in text and text.endswith("above and below the gap check it.")


def test_photographs_from_nearly_the_same_height_are_one():
    near = (photo("a.jpg", 0.0), photo("b.jpg", 0.1 * FAR))
    apart = (photo("a.jpg", 0.0), photo("b.jpg", 0.2 * FAR))
    caution = only(findings(photos=near), "heights-too-alike")
    assert caution.text.startswith("2 photographs, but from nearly one height, 150 mm apart")
    assert "350 mm above and below" in caution.text
    assert codes(findings(photos=apart)) == []


def test_a_level_sweep_is_one_height():
    sweep = (photo("a.jpg", 0.0), photo("b.jpg", 20.0), photo("c.jpg", -10.0))
    text = only(findings(photos=sweep), "one-height").text
    assert text.startswith("3 photographs, but all from one height")


def test_from_above_on_both_sides_are_two_slopes():
    """A line of sight that falls towards the inside, and one that falls towards the outside."""
    both = (photo("out.jpg", 330.0), photo("in.jpg", 330.0, side="inside"))
    assert codes(findings(photos=both)) == []


def test_wide_answer_from_several_heights():
    here = abs(STATION - 300.0) < 40.0
    need, u = np.where(here, 46.0, 30.0), np.full(len(STATION), 0.8)
    place = {"decides": here / 15, "profile": Profile(*[STATION] * 5, need, u)}
    caution = only(findings(u95=2.9, **place), "wide")
    assert "2.9 mm" in caution.text and "350 mm above and below" in caution.text
    assert caution.from_mm == pytest.approx(200.0, abs=20.0)  # a photograph's worth about the place
    assert caution.to_mm == pytest.approx(400.0, abs=20.0)
    assert only(findings(u95=2.9), "wide").from_mm == STATION[0]
    assert codes(findings(u95=2.4)) == []


# --- what was stated ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stretch", "words"),
    [
        (Stretch(to_mm=860.0), ["740 mm left of card 1", "on the left", "--from"]),
        (Stretch(from_mm=-740.0), ["160 mm right of card 2", "on the right", "--to"]),
    ],
)
def test_end_that_is_not_known_to_be_the_notch(stretch, words):
    caution = only(findings(options=replace(CLEAN, stretch=stretch)), "notch-not-confirmed")
    assert all(word in caution.text for word in words)


def test_both_ends():
    f = findings(options=replace(CLEAN, stretch=Stretch()))
    assert codes(f) == ["notch-not-confirmed"] * 2
    assert not is_doubtful(f)


@pytest.mark.parametrize(
    ("given", "logs"),
    [
        ({"upper_diameter": None}, "the upper log"),
        ({"lower_diameter": None}, "the lower log"),
        ({"upper_diameter": None, "lower_diameter": None}, "the upper and the lower log"),
    ],
)
def test_diameter_that_was_not_stated(given, logs):
    assert logs in only(findings(options=replace(CLEAN, **given)), "no-diameter").text


# --- cards ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("lean", [3.1, -3.1])
def test_card_out_of_plumb_either_way(lean):
    cards = (CardResult(1, "outside", 0.0, 0.3, ()), CardResult(2, "outside", 700.0, lean, ()))
    text = only(findings(cards=cards), "card-leans").text
    assert text.startswith("Card 2") and "3 degrees" in text


@pytest.mark.parametrize(("left", "right", "said"), [(-2.0, 2.0, True), (-1.5, 1.5, False)])
def test_cards_that_lean_apart(left, right, said):
    """One of two that leans by 4 degrees is found as two that lean by 2, the camera's tilt between."""
    cards = (CardResult(1, "outside", 0.0, left, ()), CardResult(2, "outside", 700.0, right, ()))
    assert codes(findings(cards=cards)) == ["card-leans"] * said
    if said:
        assert only(findings(cards=cards), "card-leans").text.startswith(
            "Cards 1 and 2 hang 4 degrees"
        )


@pytest.mark.parametrize(
    ("hung_on", "said"),
    [
        ("upper", {"card-leans", "card-size"}),
        ("lower", {"card-leans", "card-size"}),
        ("free", set()),
    ],
)
def test_cards_that_stand_free_may_lean_and_turn(hung_on, said):
    """Both by 20 degrees, as two cards glued to one board that leans on the logs."""
    results = tuple(CardResult(n, "outside", 0.0, -20.0, ()) for n in (1, 2))
    tilt = np.radians([20.0, 20.0, 0.0])
    hung = [HungCard(n, "outside", hung_on, np.zeros(3), tilt) for n in (1, 2)]
    joint = showing_cards([{1: 0.1, 2: 0.1}] * 3, {1: 0.06, 2: 0.06}, cards=hung)
    f = findings(cards=results, joint=joint, options=replace(CLEAN, card_on=hung_on))
    assert set(codes(f)) == said


def test_card_that_moved_is_named_in_every_photograph_it_is_off_in():
    f = findings(corner_px=2.3)
    assert codes(f) == ["card-moved"] * 3
    first = told_of(f)[0].text
    assert first.startswith("level.jpg: card 2") and "2.3 px" in first


def test_a_shaken_card_has_not_moved():
    """What is badly read in its own plane too is off in the joint by as much."""
    f = findings(corner_px=0.6, u_px=0.4)
    assert "card-moved" not in codes(f)


def test_of_many_alike_the_last_says_how_many_more():
    photos = tuple(photo(f"{k}.jpg", 330.0 * (-1) ** k) for k in range(6))
    said = told_of(findings(photos=photos, corner_px=2.3))
    assert [c.code for c in said] == ["card-moved"] * 3
    assert said[-1].text.endswith("And 3 more photographs.")


def test_card_that_is_not_flat():
    f = findings(u_px=0.6, photos=THREE_HEIGHTS[1:])
    assert codes(f) == ["card-not-flat"] * 2
    assert told_of(f)[0].text.startswith("above.jpg: card 2")


def bent(x=0.0, y=0.0, u=1e-4, u_y=2e-4):
    """A card bent by curvatures (1/mm) along x and along y."""
    return Bend(np.array([x, y, 0.0]), np.diag([u, u_y, u]) ** 2, 0.08)


@pytest.mark.parametrize(
    ("bend", "line", "radius", "doubtful"),
    [
        (bent(y=1 / 300), "a level line", "300 mm", True),
        (bent(y=1 / 900), "a level line", "900 mm", False),
        (bent(x=-1 / 500), "an upright line", "500 mm", True),
        (bent(x=1 / 1500), "an upright line", "1500 mm", False),
    ],
)
def test_bent_card(bend, line, radius, doubtful):
    f = findings(bends={1: bent(), 2: bend}, u_px=0.6)  # its misfit is told once, as the bend
    caution = only(f, "card-bent")
    assert caution.text.startswith("Card 2 is bent") and "glue it" in caution.text
    assert line in caution.text and f"{radius} radius" in caution.text
    assert caution.doubtful == is_doubtful(f) == doubtful


@pytest.mark.parametrize(
    "bend",
    [bent(y=1 / 300, u_y=1 / 1200), bent(y=1 / 2000), bent(x=1 / 6000, u=1e-5)],
    ids=["not sure", "by little", "by little, upright"],
)
def test_card_that_is_hardly_bent(bend):
    assert told_of(findings(bends={2: bend})) == ()


def test_card_too_bent_to_be_used():
    """Another photograph that keeps it has its bend; where none does, it is named all the same."""
    f = findings(photos=(replace(THREE_HEIGHTS[0], bent_cards=(2, 9)), *THREE_HEIGHTS[1:]))
    caution = only(f, "card-bent")
    assert caution.text.startswith("Card 9 is bent so much that the answer does without it")
    assert not caution.doubtful


# --- something moved ------------------------------------------------------------------------------


def line_of(row, state=SEEN):
    n = len(row)
    sure = np.ones(n)
    return TracedOutline(
        np.asarray(row, float), np.zeros((n, 2)), np.ones(n), np.full(n, state), sure
    )


def step_of(row, state=SEEN, miss_px=0.0, others=0, by_hand=None):
    """The largest step of a line of half a millimetre a pixel."""
    n = len(row)
    miss = np.broadcast_to(miss_px, n)
    return largest_step(line_of(row, state), np.full(n, 0.5), miss, np.full(n, others), by_hand)


def test_line_that_goes_over_to_a_shadow_s_edge():
    """11 mm down within 20 mm along; noise and single blocks far off are none."""
    rng = np.random.default_rng(2)
    along = np.arange(300)
    row = 60 + 5 * np.sin(along / 30) + rng.normal(0, 1, 300)
    row[rng.integers(0, 300, 12)] += 15
    assert step_of(row) is None
    row[180:] += 11
    step_mm, block = step_of(row)
    assert step_mm == pytest.approx(11, abs=3) and abs(block - 180) <= 5
    assert step_of(row, HIDDEN) is None
    assert step_of(row[:20]) is None


def test_step_that_two_other_photographs_show_too_is_the_log_s():
    """Two steps, of 12 and 9 mm: the joint of all has the first one, and not the second."""
    row = 60.0 + 12.0 * (np.arange(300) > 100) + 9.0 * (np.arange(300) > 200)
    joint = 60.0 + 12.0 * (np.arange(300) > 100)
    miss_px = (row - joint) / 0.5
    step_mm, block = step_of(row, miss_px=miss_px, others=2)
    assert step_mm == pytest.approx(9.0) and abs(block - 200) <= SIDE
    assert step_of(joint, miss_px=np.zeros(300), others=2) is None
    # With one other photograph it cannot be told which of the two is wrong.
    assert step_of(row, miss_px=miss_px, others=1)[0] == pytest.approx(12.0)


def test_step_that_a_person_drew_is_one():
    """But where the drawn line ends beside one that lies 12 mm off, that is told."""
    at = np.arange(300)
    row = 60.0 + 12.0 * (at > 100)
    assert step_of(row, by_hand=(at > 70) & (at < 130)) is None
    assert step_of(row, by_hand=(at > 100) & (at < 150))[0] == pytest.approx(12.0)
    assert step_of(row, by_hand=(at > 200) & (at < 280))[0] == pytest.approx(12.0)


def test_a_drawn_line_that_the_others_contradict_is_doubtful():
    f = findings(drawn_off=(DrawnOff(1, "upper", 120.0, 340.0, -8.2),))
    caution = only(f, "hand-disagrees")
    assert is_doubtful(f)
    assert caution.text.startswith(
        f"{THREE_HEIGHTS[1].name}: the upper log's line drawn by hand lies 8 mm off what the other "
        "photographs show from 120 to 340 mm right of card 1"
    )


def test_step_of_a_line_is_doubtful_and_named_with_its_place():
    def stepping(at):
        return (replace(THREE_HEIGHTS[0], steps=(LineStep("lower", at, 10.4),)), *THREE_HEIGHTS[1:])

    f = findings(photos=stepping(300.0))
    assert is_doubtful(f)
    text = only(f, "line-steps").text
    assert text.startswith("level.jpg: the lower log's line steps by 10 mm, 300 mm right of card 1")
    assert codes(findings(photos=stepping(5000.0))) == []


def test_photograph_whose_gap_is_not_the_others_is_doubtful():
    f = findings(shifts=(GapShift(2, -3.6, 0.4), GapShift(0, 1.9, 0.6)))
    caution = only(f, "log-moved")
    assert is_doubtful(f)
    assert caution.text.startswith("below.jpg shows the gap 3.6 mm narrower")
    assert "or another" not in caution.text
    assert (caution.from_mm, caution.to_mm) == (-740.0, 860.0)


def test_three_heights_cannot_tell_which():
    """One check among three photographs: all are as far off in u, and the least mm is likeliest."""
    f = findings(shifts=(GapShift(1, -9.2, 1.25), GapShift(0, 5.6, 0.77), GapShift(2, -12.7, 1.78)))
    text = only(f, "log-moved").text
    assert text.startswith("level.jpg shows the gap 5.6 mm wider") and "or another" in text


def test_a_small_disagreement_is_noise():
    f = findings(shifts=(GapShift(0, -1.4, 0.8),))
    assert codes(f) == [] and not is_doubtful(f)


def test_swinging_card_is_named_with_its_photograph():
    def cards(deg):
        swing = {0: np.zeros(3), 1: np.radians([deg, 0.0, 0.0]), 2: np.zeros(3)}
        return (SimpleNamespace(number=2, swing_rad=swing, side="outside", tilt_rad=np.zeros(3)),)

    joint = showing_cards([{1: 0.1, 2: 0.1}] * 3, {1: 0.06, 2: 0.06}, cards=cards(0.8))
    text = only(findings(joint=joint), "card-swung").text
    assert text.startswith("above.jpg: card 2 hung otherwise")
    joint.cards = cards(0.4)
    assert codes(findings(joint=joint)) == []


@pytest.mark.parametrize(("size", "said"), [(1.0, False), (0.92, True), (1.08, True)])
@pytest.mark.parametrize("protocol", ["level", "heights"])
def test_two_cards_of_two_sizes(protocol, size, said):
    """The second card's corners drawn together about their middle, as a smaller print shows them."""
    joint = draw_joint(np.random.default_rng(11), PROTOCOLS[protocol])

    def printed(s):
        middle = s.corner_px.mean(0)
        return replace(s, corner_px=middle + size * (s.corner_px - middle))

    joint.views[:] = [
        replace(v, sightings=tuple(printed(s) if s.number == 2 else s for s in v.sightings))
        for v in joint.views
    ]
    fitted = fit(joint)
    stub = showing_cards([{1: 0.1, 2: 0.1}] * 3, {1: 0.06, 2: 0.06}, cards=fitted.cards)
    found = [c.text for c in told_of(findings(joint=stub)) if c.code == "card-size"]
    assert bool(found) == said
    if said:
        assert found[0].startswith("Cards 1 and 2 all seem turned")


def simulated(fault, protocol=PROTOCOLS["heights"], seed=3):
    joint = draw_joint(np.random.default_rng([21, seed]), protocol, fault=fault)
    fitted = fit(joint)
    return fitted, gap_shifts(fitted, joint.beliefs())


def test_a_log_that_sank_is_found_and_measured():
    """With five heights the others outvote the photograph before which the log sank by 4 mm."""
    five = Protocol((-0.22, -0.1, 0.0, 0.1, 0.22))
    _, shifts = simulated(Fault(3, sunk_mm=4.0), five)
    assert shifts[0].photo == 3 and shifts[0].size > 3.5
    assert shifts[0].gap_mm == pytest.approx(-4.0, abs=3 * shifts[0].u_mm)
    _, shifts = simulated(None, five)
    assert all(s.size < 3.5 for s in shifts)


def test_a_log_that_sank_before_the_level_one_of_three():
    _, shifts = simulated(Fault(1, sunk_mm=4.0))
    text = only(findings(shifts=shifts), "log-moved").text
    assert text.startswith("above.jpg")  # the stub's second photograph
    assert "narrower" in text
    _, shifts = simulated(None)
    assert "log-moved" not in codes(findings(shifts=shifts))


def corners_of(fitted):
    """Of a fitted joint what its cards' corners miss by."""
    return showing_cards([p.corner_px for p in fitted.photos], {1: 0.06, 2: 0.06})


def test_a_card_moved_along_the_log_shows_in_its_corners():
    """By 8 mm, of 480 between two cards: some 15 px, most of which the camera's place takes up."""
    fitted, _ = simulated(Fault(1, 1, moved_mm=(8.0, 0.0, 0.0)))
    joint = corners_of(fitted)
    first = told_of(findings(joint=joint))[0]
    assert first.code == "card-moved" and first.text.startswith("above.jpg")
    fitted, _ = simulated(None)
    assert codes(findings(joint=corners_of(fitted))) == []


@pytest.mark.parametrize(("wrong_mm", "said"), [(0.3, False), (6.0, True), (-6.0, True)])
def test_a_caliper_reading_that_the_photographs_contradict(wrong_mm, said):
    joint = draw_joint(np.random.default_rng([22, 1]), PROTOCOLS["heights"])
    k = int(np.argmax(joint.truth.gap_mm))
    at = joint.truth.station_mm[k : k + 1]
    reading = Reading(float(joint.truth.gap_mm[k]) + wrong_mm, float(at[0]), 0.5)
    asked = MeasureOptions(photos=(), by_hand=HandMeasured((reading,)))
    told = findings(by_hand=compare(asked, simulator.fit(joint), at, np.zeros(1)))
    assert ("reading-disagrees" in codes(told)) == said
    assert is_doubtful(told) == said


@pytest.mark.parametrize(("off_u", "said", "doubtful"), [(2.4, 0, 0), (2.6, 1, 0), (3.1, 1, 1)])
@pytest.mark.parametrize("width_mm", [None, 77.0])
def test_an_entry_far_off_is_said_first_and_doubtful_later(off_u, said, doubtful, width_mm):
    width = None if width_mm is None else LineWidth(width_mm, 1.0, width_mm)
    entry = ByHand(
        Place(0.0, None, None), 30.0, 0.5, width, 0.5, Quantity(28.0, 0.5, 1.0), -off_u / 2
    )
    f = findings(by_hand=(entry,))
    code = "reading-disagrees" if width_mm is None else "trial-disagrees"
    assert codes(f) == [code] * said
    assert is_doubtful(f) == doubtful


# --- what the photographs cannot tell -------------------------------------------------------------


def test_after_a_level_sweep_the_places_that_may_decide_are_named():
    said = told_of(long_log([(1500.0, 12.0), (4200.0, 12.0)]))
    assert [c.code for c in said] == ["one-height", "could-decide", "could-decide"]
    for caution, at in zip(said[1:], (1500.0, 4200.0), strict=True):
        assert caution.from_mm < at < caution.to_mm
        assert 190.0 < caution.to_mm - caution.from_mm < 400.0
        assert "350 mm above and below the gap, standing" in caution.text
    assert "standing 800 mm right of card 2" in said[1].text


def test_places_photographed_from_above_and_below_are_known():
    raised = tuple(photo(f"{h}.jpg", h, span=(900.0, 2300.0)) for h in (330.0, -330.0))
    f = long_log([(1500.0, 12.0), (4200.0, 12.0)])
    photos = f.photos + raised
    more = {
        "joint": showing_cards([{}] * 7),
    }
    said = told_of(replace(f, photos=photos, **more))
    named = [(c.from_mm, c.to_mm) for c in said if c.code == "could-decide"]
    assert len(named) == 1 and named[0][0] < 4200.0 < named[0][1]


def test_place_that_decides_is_named_though_two_heights_show_it():
    """Nine draws in ten have it at 1500, which is seen from below too, and is badly known all the same."""
    f = long_log([(1500.0, 12.0), (4200.0, 12.0)])
    decides = np.where(LONG == 1500.0, 0.9, np.where(LONG == 4200.0, 0.1, 0.0))
    photos = (*f.photos, photo("low.jpg", -330.0, span=(900.0, 2300.0)))
    more = {
        "joint": showing_cards([{}] * 6),
    }
    said = {c.code: c for c in told_of(replace(f, photos=photos, decides=decides, **more))}
    assert said["could-decide"].from_mm < 4200.0 < said["could-decide"].to_mm
    assert said["wide"].from_mm < 1500.0 < said["wide"].to_mm < 2000.0


@pytest.mark.parametrize(("stated", "said"), [(None, []), (310.0, []), (360.0, ["wall-disagrees"])])
def test_wall_that_the_photographs_make_another(stated, said):
    def card(side, mm):
        return SimpleNamespace(
            side=side, nail_mm=np.array([0.0, 0.0, mm]), tilt_rad=np.zeros(3), swing_rad={}
        )

    cards = [card("outside", 4.0), card("outside", 8.0), card("inside", -310.0)]
    joint = showing_cards([{1: 0.2, 2: 0.1}] * 3, {1: 0.06, 2: 0.06}, cards=cards)
    f = findings(joint=joint, options=replace(CLEAN, cards=Cards(wall_thickness_mm=stated)))
    assert codes(f) == said
    if said:
        assert (
            "360 mm were stated; photographs and diameters still make it 316 mm"
            in only(f, "wall-disagrees").text
        )


def test_a_handful_of_places_and_then_how_many_more():
    said = told_of(long_log([(600.0 + 1100.0 * k, 12.0) for k in range(5)]))
    assert [c.code for c in said] == ["one-height"] + ["could-decide"] * 3
    assert said[-1].text.endswith("And 2 more stretches.")


def test_an_even_log_may_be_decided_anywhere():
    f = long_log([(3000.0, 0.1)])
    said = [c for c in told_of(f) if c.code == "could-decide"]
    assert (
        len(said) == 1 and "nearly anywhere from card 1 to 5300 mm right of card 2" in said[0].text
    )


def test_a_short_joint_is_all_in_one_photograph():
    decides = np.zeros(len(STATION))
    decides[100] = 1.0
    level = (photo("level.jpg", 0.0),)
    assert codes(findings(photos=level, decides=decides, u95=3.4)) == ["one-height"]


def test_likely_places_hold_the_one_that_decides():
    """Over simulated level photographs; 95 % is aimed at, the binomial limit for 12 is 10."""
    held, share = 0, []
    for seed in range(12):
        joint = draw_joint(np.random.default_rng([31, seed]), PROTOCOLS["level"])
        at, need = joint.truth.station_mm[2:-2], joint.truth.needed_mm(76.0)[2:-2]
        fitted = fit(joint)
        drawn = drawn_at(fitted, at, 76.0)
        p = profile_of(drawn)
        assert p.decides.sum() == pytest.approx(1.0)
        shown = np.ones(len(at), bool)
        profile = profile_over(at, shown, p, groove_at(drawn, p.setting.value_mm))
        likely = _likely(
            SimpleNamespace(station_mm=at, decides=p.decides, profile=profile, shown=shown)
        )
        held += likely[np.argmax(need)]
        share.append(likely.mean())
    assert held >= 10
    assert np.median(share) < 0.35


def test_of_a_joint_shorter_than_one_place_all_may_decide():
    """Where draws within 200 mm of each other mean one place, 150 mm of joint are one."""
    at = np.arange(0.0, 151.0, 10.0)
    shown = at < 120.0
    decides = np.where(at == 50.0, 1.0, 0.0)
    f = findings(station_mm=at, shown=shown, seen=shown, decides=decides, u95=2.9)
    np.testing.assert_array_equal(_likely(f), shown)
    caution = next(c for c in told_of(f) if c.code == "wide")
    assert (caution.from_mm, caution.to_mm) == (0.0, 150.0)


def radii(lower=160.0, upper=155.0, u=9.0, stated=(160.0, 155.0)):
    ones = np.ones(len(STATION))
    return {
        log: Radii(fitted * ones, u * ones, None if told is None else told * ones)
        for log, fitted, told in (("lower", lower, stated[0]), ("upper", upper, stated[1]))
    }


@pytest.mark.parametrize(("radius", "odd"), [(60.0, True), (80.0, False), (320.0, True)])
def test_a_log_that_comes_out_as_thick_as_none_is_must_be_taped(radius, odd):
    """Of unstated diameter only: who states 120 mm has taped it."""
    f = findings(radii=radii(upper=radius, stated=(160.0, None)))
    said = [c.text for c in told_of(f) if c.code == "odd-size"]
    assert is_doubtful(f) == odd == bool(said)
    for text in said:
        assert f"the upper log {2 * radius:.0f} mm thick" in text and "--upper-diameter" in text
    assert not is_doubtful(findings(radii=radii(upper=radius, stated=(160.0, radius))))


def test_lines_of_sight_that_stay_near_the_crown():
    """Slopes to 0.15 touch a log of radius 160 within 24 mm; the groove reaches to 38."""
    flat = (photo("a.jpg", 0.15 * FAR), photo("b.jpg", -0.1 * FAR))
    f = findings(photos=flat, radii=radii(stated=(None, None)))
    caution = only(f, "near-crown")
    assert "within 24 mm" in caution.text and "cover is 38 mm" in caution.text
    # By 38 / sqrt(157.5^2 - 38^2) = 0.249 of the distance, told to 50 mm.
    assert caution.facts["height_mm"] == pytest.approx(373.0, abs=1.0)
    assert "from 350 mm above and below" in caution.text and "tape" in caution.text
    assert (caution.from_mm, caution.to_mm) == pytest.approx((STATION[0], STATION[-1]), abs=3.0)
    assert codes(findings(photos=flat, radii=radii())) == []  # the stated diameters serve


def test_only_the_stretch_without_a_steep_sight_is_near_the_crown():
    gone = [(OUTSIDE, 200.0, 900.0)]
    flat = (photo("c.jpg", 0.15 * FAR), photo("d.jpg", -0.1 * FAR))
    steep = photo("steep.jpg", 0.3 * FAR, other=gone)
    f = findings(photos=(*flat, steep), radii=radii(stated=(None, None)))
    caution = next(c for c in told_of(f) if c.code == "near-crown")
    assert (caution.from_mm, caution.to_mm) == pytest.approx((212.5, 862.5), abs=8.0)


@pytest.mark.parametrize(("apart_mm", "told"), [(100.0, 1), (200.0, 2)])
def test_stretches_near_each_other_are_one(apart_mm, told):
    flat = (photo("c.jpg", 0.15 * FAR), photo("d.jpg", -0.1 * FAR))
    steep = photo(
        "steep.jpg", 0.3 * FAR, other=[(OUTSIDE, -900.0, 100.0), (OUTSIDE, 100.0 + apart_mm, 900.0)]
    )
    f = findings(photos=(*flat, steep), radii=radii(stated=(None, None)))
    near = [c for c in told_of(f) if c.code == "near-crown"]
    assert len(near) == told
    assert near[0].from_mm == pytest.approx(-740.0, abs=8.0)
    assert near[-1].to_mm == pytest.approx(860.0, abs=8.0)


def test_steep_sights_and_one_height_say_nothing_of_the_crown():
    assert codes(findings(radii=radii(stated=(None, None)))) == []
    level = (photo("level.jpg", 10.0),)
    assert codes(findings(photos=level, radii=radii(stated=(None, None)))) == ["one-height"]


def test_stretch_that_one_of_several_photographs_shows():
    gone = [(OUTSIDE, 500.0, 900.0)]
    caution = only(findings(photos=heights(level=gone, below=gone)), "one-photo")
    assert caution.text.startswith("Only above.jpg")
    assert (caution.from_mm, caution.to_mm) == pytest.approx((512.5, 862.5), abs=8.0)
    short = [(OUTSIDE, 500.0, 580.0)]
    assert codes(findings(photos=heights(level=short, below=short))) == []
    assert codes(findings(photos=heights(level=gone))) == []  # two are left


def test_gap_shut_from_above_and_below_asks_for_the_caliper():
    shut = [(SHUT, -200.0, 100.0)]
    caution = only(findings(photos=heights(above=shut, below=shut)), "gap-shut")
    assert "above.jpg and below.jpg" in caution.text and "caliper" in caution.text
    assert (caution.from_mm, caution.to_mm) == pytest.approx((-187.5, 87.5), abs=8.0)
    assert codes(findings(photos=heights(above=shut))) == []  # level and below see it


def test_gap_shut_where_it_cannot_decide_is_of_no_matter():
    shut = [(SHUT, -200.0, 100.0)]
    need = np.where(STATION < 200.0, 25.0, 46.0)
    profile = Profile(*[STATION] * 5, need, np.full(len(STATION), 0.8))
    f = findings(photos=heights(above=shut, below=shut), profile=profile)
    assert codes(f) == []


def test_a_log_flatter_than_stated_may_hide_a_hollow():
    r = radii()
    bump = np.where(np.abs(STATION - 300.0) < 150.0, 40.0, 0.0)
    r["lower"] = replace(r["lower"], fitted_mm=r["lower"].fitted_mm + bump)
    caution = only(findings(radii=r), "hollow")
    assert "The lower log" in caution.text and "straightedge" in caution.text
    assert (caution.from_mm, caution.to_mm) == pytest.approx((150.0, 450.0), abs=8.0)


def test_no_hollow_is_invented():
    r = radii(lower=200.0)
    one = (photo("level.jpg", 0.0),)
    assert "hollow" not in codes(findings(photos=one, radii=r))  # one height
    assert "hollow" not in codes(findings(radii=radii(lower=200.0, stated=(None, 155.0))))
    assert "hollow" not in codes(findings(radii=radii(lower=172.0)))  # within ovality
    moved = findings(radii=r, shifts=(GapShift(0, 4.0, 0.5),))
    assert codes(moved) == ["log-moved"]


@pytest.mark.parametrize("depth_mm", [5.0, 0.0])
def test_hollow_in_a_simulated_log_is_suspected_where_it_is(depth_mm, monkeypatch):
    """5 mm deep, 35 mm across and 250 mm along (sd): the sights of three heights meet on a flat."""
    draw_log = simulator._draw_log

    def with_hollow(rng, shape, middle, outside):
        log = draw_log(rng, shape, middle, outside)
        if outside > 0:
            log.bumps = [(-depth_mm, middle + 100.0, 250.0, 0.0, 35.0 / log.radius_mm)]
        return log

    monkeypatch.setattr(simulator, "_draw_log", with_hollow)
    joint = draw_joint(np.random.default_rng([9, 2]), PROTOCOLS["heights"])
    fitted, at = fit(joint), joint.truth.station_mm
    drawn = fitted.draws(at, 400, np.random.default_rng(1))
    lower = Radii(fitted.sections(at).r_l, drawn.r_l.std(0), joint.stated["lower"](at))
    ones = np.ones(len(at), bool)
    f = findings(station_mm=at, shown=ones, seen=ones, radii={"lower": lower})
    said = [c for c in told_of(f) if c.code == "hollow"]
    assert len(said) == (depth_mm > 0)
    assert all(c.from_mm < 340.0 < c.to_mm for c in said)


# --- the ends -------------------------------------------------------------------------------------


def test_end_behind_a_crossing_log_asks_for_the_caliper_there():
    hidden = [(HIDDEN, -900.0, -690.0)]
    f = findings(
        unseen=[(-740.0, -700.0)], photos=heights(level=hidden, above=hidden, below=hidden)
    )
    caution = only(f, "crossing")
    assert not is_doubtful(f)
    assert "caliper here" in caution.text and "from 700 to 740 mm left of card 1" in caution.text
    assert codes(findings(unseen=[(-740.0, -700.0)])) == []  # nothing in front


def test_long_hidden_end_is_not_seen_and_told_why():
    hidden = [(HIDDEN, -900.0, -590.0)]
    f = findings(
        unseen=[(-740.0, -600.0)], photos=heights(level=hidden, above=hidden, below=hidden)
    )
    text = only(f, "not-seen").text
    assert is_doubtful(f)
    assert "caliper here" in text and "crossing log" in text


def test_view_that_ends_at_a_crossing_log():
    hidden = [(HIDDEN, 860.0, 1000.0)]
    cards = (CardResult(1, "outside", 0.0, 1.0, ()),)
    photos = heights(level=hidden, above=hidden, below=hidden)
    open_end = replace(CLEAN, stretch=Stretch(from_mm=-740.0))
    text = only(findings(photos=photos, cards=cards, options=open_end), "crossing").text
    assert "860 mm" in text and "right" in text and "--to" in text
    # A card that hangs at the end hides it as well, and is no crossing log.
    at_end = (CardResult(1, "outside", 800.0, 1.0, ()),)
    f = findings(photos=photos, cards=at_end, options=open_end)
    assert codes(f) == ["notch-not-confirmed"]


def test_many_unseen_stretches_are_told_together():
    f = findings(unseen=[(-700.0 + 180.0 * k, -600.0 + 180.0 * k) for k in range(8)])
    said = told_of(f)
    assert [c.code for c in said] == ["not-seen"] * 5
    assert "4 more stretches" in said[-1].text
    assert said[-1].from_mm == pytest.approx(17.5) and said[-1].to_mm == pytest.approx(
        657.5, abs=3.0
    )


# --- together -------------------------------------------------------------------------------------


def test_gravest_first():
    f = findings(
        unseen=[(100.0, 300.0)],
        bridged=[(400.0, 450.0)],
        photos=(photo("level.jpg", 0.0, residual_px=9.0),),
        left_out=(
            PhotoResult(
                "x.jpg", "", "outside", False, Lack("no-card", {"text": "x.jpg: no card."})
            ),
        ),
        options=MeasureOptions(photos=(Path("level.jpg"),)),
    )
    said = codes(f)
    assert said[:3] == ["not-seen", "misfit", "left-out"]
    assert set(said[3:]) == {"one-height", "notch-not-confirmed", "bridged", "no-diameter"}


# --- what was given -------------------------------------------------------------------------------


def taken(name, height_mm, time, **key):
    of = CameraKey(**({"make": "Example", "model": "EX-1", "lens": "", "width_px": 4032,
                       "height_px": 3024, "focal35_mm": 26.0} | key))  # fmt: skip
    return replace(photo(name, height_mm), exposure=Exposure("", of, time))


def test_photographs_hours_apart():
    heights = (("a.jpg", 0.0), ("b.jpg", 340.0), ("c.jpg", -325.0))
    at_once = tuple(taken(*h, f"2026-05-14T09:0{k}:00") for k, h in enumerate(heights))
    assert codes(findings(photos=at_once)) == []
    late = (*at_once[:2], replace(at_once[2], exposure=Exposure("", at_once[2].exposure.camera,
                                                                "2026-05-16T08:00:00")))  # fmt: skip
    caution = only(findings(photos=late), "hours-apart")
    assert caution.text.startswith("47 hours lie between the photographs") and not caution.doubtful


def of_a_lens(times, told_by="exif"):
    """Three heights by one lens of 2900 px, u 2 %, that the fit has so many times as long."""
    f = findings(photos=tuple(replace(p, exposure=Exposure(told_by)) for p in THREE_HEIGHTS))
    for fitted in f.joint.photos:
        fitted.rows.lens = 0
    f.joint.lenses = (Lens(2900.0 * times, 58.0, 0.0, 0.01),)
    return replace(f, lenses=(Lens(2900.0, 58.0, 0.0, 0.01),))


@pytest.mark.parametrize(
    ("times", "told_by", "said"),
    [
        (
            0.9,
            "exif",
            "level.jpg fits a focal length 10 % shorter than it tells itself: it was cropped",
        ),
        (1.08, "exif", "level.jpg fits a focal length 8 % longer than it tells itself"),
        (0.9, "calibration own-26mm", "than its calibration own-26mm tells"),
        (0.9, "exif: calibration own cannot be read", "than it tells itself"),
    ],
)
def test_a_focal_length_that_the_photographs_contradict(times, told_by, said):
    caution = only(of_a_lens(times, told_by), "lens-contradicted")
    assert said in caution.text and caution.doubtful


@pytest.mark.parametrize("times", [0.95, 1.0, 1.05])
def test_a_focal_length_as_far_off_as_chance_has_it_is_not_told(times):
    assert codes(of_a_lens(times)) == []


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ({"make": "", "model": "", "focal35_mm": None, "width_px": 1600, "height_px": 1200}, True),
        ({"make": "", "model": "", "focal35_mm": None}, False),
        ({"width_px": 1600, "height_px": 1200}, False),
    ],
)
def test_a_messenger_s_copy(key, said):
    photos = (taken("a.jpg", 0.0, None, **key), *THREE_HEIGHTS[1:])
    if said:
        caution = only(findings(photos=photos), "reduced-copy")
        assert "Send it as a file, not as a picture" in caution.text and not caution.doubtful
    else:
        assert codes(findings(photos=photos)) == []


def test_perhaps_two_joints_is_doubtful_and_names_both():
    caution = only(
        findings(suspicion=Suspicion(("a.jpg, b.jpg", "c.jpg"), (1,))), "perhaps-several"
    )
    assert caution.doubtful
    assert (
        "These may be two joints, A: a.jpg, b.jpg; B: c.jpg: the wood beside card 1" in caution.text
    )
