"""What to do next: merged, at most three, in the order in which one walks."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from helpers.findings import CLEAN, FAR, THREE_HEIGHTS, findings, long_log, photo

from gapvision.advice.caution import Caution
from gapvision.advice.cautions import find_cautions
from gapvision.advice.to_do import Anew, ByHandStep, Spot, Thing, find_to_do
from gapvision.answer.to_do_text import to_do_text
from gapvision.inputs.options import Stretch
from gapvision.joint.photo_results import LineStep

HIGH = pytest.approx(0.22 * FAR)


def steps(f, kind="set", decision=None):
    return find_to_do(f, find_cautions(f), decision, kind)


def of(f, *cautions, kind="set"):
    return find_to_do(f, cautions, None, kind)


def said(f, *cautions, kind="set", units="mm"):
    return [to_do_text(s, f.cards, units) for s in of(f, *cautions, kind=kind)]


def unseen(a, b, hidden=False):
    return Caution("not-seen", a, b, doubtful=True, facts={"hidden": hidden})


def bent(card):
    return Caution("card-bent", facts={"card": card, "radius_mm": 400.0, "upright": True})


def one_height(gain=1.5):
    facts = {"photos": 1, "u95_mm": 3.4, "gain_u95_mm": gain, "height_mm": 330.0, "long_log": False}
    return Caution("one-height", facts=facts)


def test_nothing_wrong_nothing_to_do():
    assert steps(findings()) == ()


def test_in_the_order_in_which_one_walks_whatever_is_gravest():
    f = findings()
    (first, second, third) = of(
        f, unseen(700.0, 860.0, hidden=True), unseen(100.0, 200.0), bent(2), unseen(-300.0, -200.0)
    )
    assert [s.code for s in (first, second, third)] == ["prepare", "photograph", "read"]
    # Left to right along the log, and one stand serves both.
    assert second.facts["spots"] == (Spot(-300.0, 200.0, level=True, height_mm=0.0),)
    assert said(f, unseen(700.0, 860.0, hidden=True), unseen(100.0, 200.0), bent(2)) == [
        "Glue card 2 to something stiff and flat.",
        "Photograph level with the gap, standing 150 mm right of card 1.",
        "Put the caliper in from card 2 to 160 mm right of card 2 (--reading GAP@780).",
    ]


def test_things_of_one_kind_are_one():
    f = findings()
    (step,) = of(f, bent(2), bent(1), Caution("card-not-flat", facts={"card": 2}))
    assert step.facts["things"] == (Thing("glue-flat", (2, 1)),)
    assert said(f, bent(2), bent(1)) == ["Glue cards 1 and 2 to something stiff and flat."]


@pytest.mark.parametrize(
    ("code", "facts", "thing"),
    [
        ("station-origin", {"origin": 3, "lost": 1}, Thing("count-from", (3, 1))),
        ("perhaps-origin", {"origin": 2, "fellow": 1}, Thing("look-for", (2, 1))),
        ("diameter-contradicted", {"found": SimpleNamespace(log="lower")},
         Thing("correct-diameter", ("lower",))),
        ("reduced-copy", {"photo": "a.jpg"}, Thing("originals")),
        ("damaged", {"photo": "a.jpg", "where": "reaches"}, Thing("copy-again", ("a.jpg",))),
        ("lens-contradicted", {"photo": "a.jpg"}, Thing("main-lens")),
        ("card-leans", {"cards": (1, 2), "lean_deg": 4.0}, Thing("hang-free", (1, 2))),
        ("card-swung", {"photo": "a.jpg", "card": 2}, Thing("hang-free", (2,))),
        ("card-moved", {"photo": "a.jpg", "cards": [2]}, Thing("hang-free", (2,))),
        ("card-size", {"cards": [1, 2]}, Thing("check-bar", (1, 2))),
        ("odd-size", {"log": "upper"}, Thing("tape-logs", ("upper",))),
        ("no-diameter", {"logs": ["upper", "lower"]}, Thing("tape-logs", ("upper", "lower"))),
        ("wall-disagrees", {"stated_mm": 300.0}, Thing("tape-wall")),
        ("scriber-too-small", {"largest_mm": 40.0}, Thing("larger-scriber")),
        ("limit-cover", {}, Thing("limit")),
    ],
)  # fmt: skip
def test_what_is_wrong_has_its_cure(code, facts, thing):
    (step,) = of(findings(), Caution(code, doubtful=True, facts=facts))
    assert (step.code, step.facts["things"]) == ("prepare", (thing,))


def test_damage_away_from_the_joint_is_no_errand():
    assert of(findings(), Caution("damaged", facts={"photo": "a.jpg", "where": "apart"})) == ()


def test_lines_drawn_by_hand_that_the_others_contradict_are_looked_at_again():
    (step,) = of(findings(), Caution("hand-disagrees", 0.0, 100.0, doubtful=True))
    assert step.facts["places"] == (ByHandStep("lines", 0.0, 100.0),)


def test_far_stands_are_told_from_left_to_right_and_a_long_stretch_in_steps():
    f = long_log([(1500.0, 12.0)])
    far = unseen(5000.0, 5100.0), unseen(0.0, 100.0)
    (step,) = of(f, *far)
    assert [s.from_mm for s in step.facts["spots"]] == [0.0, 5000.0]
    (step,) = of(f, unseen(0.0, 4000.0))
    assert step.facts["spots"][0].step_mm == FAR
    assert said(f, unseen(0.0, 4000.0)) == [
        "Photograph level with the gap, standing from card 1 to 3300 mm right of card 2 in steps of "
        "1500 mm."
    ]


def test_only_the_gravest_few_are_named_and_the_others_counted():
    f = long_log([(1500.0, 12.0)])
    many = [unseen(x, x + 100.0) for x in (3000.0, 0.0, 6000.0, 9000.0, 12000.0)]
    (step,) = of(f, *many)
    assert [s.from_mm for s in step.facts["spots"]] == [0.0, 3000.0, 6000.0] and step.more == 2
    assert to_do_text(step, f.cards, "mm").endswith("(2 more in the details.)")


def test_all_of_it_from_other_heights_swallows_what_it_serves():
    f = findings()
    crown = {"logs": ["upper"], "within_mm": 20.0, "half_cover_mm": 38.0, "height_mm": 373.0,
             "untaped": False}  # fmt: skip
    near = Caution("near-crown", 0.0, 300.0, facts=crown)
    (step,) = of(f, near, one_height())
    assert step.facts["spots"] == (Anew(level=False, height_mm=330.0),)
    (step,) = of(f, unseen(-300.0, -200.0), one_height())
    assert step.facts["spots"][1] == Spot(-300.0, -200.0, level=True, height_mm=0.0)
    assert said(f, unseen(-300.0, -200.0), one_height()) == [
        "Photograph from 350 mm above and below the gap, from where you stood; and level with the "
        "gap, standing 250 mm left of card 1. That brings it to about ± 1.5 mm."
    ]


def test_no_gain_is_promised_of_a_contradiction():
    f = findings(contradict=True, photos=(photo("level.jpg", 10.0),), u95=3.4)
    told = [to_do_text(s, f.cards, "mm") for s in steps(f, "measure-again")]
    assert told == [
        "Make the logs fast; hang a plain cloth behind the gap.",
        "Photograph level and from 350 mm above and below the gap, from where you stood.",
    ]


def test_a_line_that_steps_asks_for_a_cloth():
    torn = replace(THREE_HEIGHTS[0], steps=(LineStep("lower", 300.0, 12.0),))
    f = findings(photos=(torn, *THREE_HEIGHTS[1:]))
    first, second = steps(f, "measure-again")
    assert first.facts["things"] == (Thing("cloth"),)
    assert second.facts["spots"] == (Spot(300.0, 300.0, level=True, height_mm=HIGH),)


def test_notches_that_nobody_stated():
    f = findings(options=replace(CLEAN, stretch=Stretch()))
    (step,) = steps(f)
    assert step.facts["things"] == (Thing("state-ends", ("left", "right")),)
    assert to_do_text(step, f.cards, "mm") == (
        "State where the notches are by --from and --to, taped from card 1's nail."
    )


def test_what_is_seen_to_by_hand_another_way_is_another_errand():
    shut = Caution("gap-shut", 0.0, 60.0, facts={"photos": ["a.jpg"]})
    flat = Caution("hollow", 0.0, 60.0, facts={"log": "lower"})
    end = Caution("crossing", 800.0, 860.0)
    (step,) = of(findings(), shut, flat, end)
    assert step.facts["places"] == (
        ByHandStep("caliper", 0.0, 60.0),
        ByHandStep("straightedge", 0.0, 60.0),
        ByHandStep("caliper", 800.0, 860.0),
    )


def test_readings_next_to_each_other_are_one():
    shut = [Caution("gap-shut", a, a + 60.0, facts={"photos": ["a.jpg"]}) for a in (0.0, 120.0)]
    (step,) = of(findings(), *shut)
    assert step.facts["places"] == (ByHandStep("caliper", 0.0, 180.0),)


def entry(mistake=None):
    return SimpleNamespace(
        place=SimpleNamespace(station_mm=310.0), width=None, setting_mm=30.0, mistake=mistake
    )


def test_where_a_caliper_disagrees_it_is_measured_again_there():
    f = findings()
    off = Caution("reading-disagrees", doubtful=True, facts={"entry": entry()})
    assert said(f, off, kind="measure-again") == ["Measure again by hand 310 mm right of card 1."]
    moved = {"photo": "a.jpg", "wider_mm": 3.0, "or_another": False}
    pulled = Caution("log-moved", -740.0, 860.0, doubtful=True, facts=moved)
    told = said(f, pulled, off, kind="measure-again")
    assert told == ["Measure again by hand 310 mm right of card 1."]
    assert said(f, pulled, kind="measure-again")[0] == "Make the logs fast."
    mistaken = entry(SimpleNamespace(code="inches-as-mm", meant=None))
    off = replace(off, facts={"entry": mistaken})
    (text,) = said(f, off, kind="measure-again")
    assert text.startswith("The caliper reading looks like inches entered as mm: ")


def test_photographs_that_may_be_of_two_joints_are_parted_and_nothing_else():
    several = Caution("perhaps-several", doubtful=True, facts={"groups": (), "cards": ()})
    (told,) = said(findings(), several, unseen(0.0, 100.0), one_height(), kind="measure-again")
    assert told.startswith("Look whether these photographs are of two joints")


def test_what_was_given_wrongly_is_corrected():
    wrong = Caution(
        "diameter-contradicted", doubtful=True, facts={"found": SimpleNamespace(log="lower")}
    )
    copies = [Caution("reduced-copy", facts={"photo": name}) for name in ("a.jpg", "b.jpg")]
    assert said(findings(), wrong, *copies, kind="measure-again") == [
        "Correct --lower-diameter; take the phone's own files, not a messenger's copies."
    ]


def test_photographs_of_another_lens_are_replaced():
    facts = {"photo": "level.jpg", "longer": 0.9, "told_by": "exif"}
    wrong = Caution("lens-contradicted", doubtful=True, facts=facts)
    assert said(findings(), wrong, kind="measure-again") == [
        "Take the phone's own files, by its main lens without zoom."
    ]


def test_lower_first_says_the_notch_and_to_photograph_anew():
    notches = SimpleNamespace(left_mm=0.0, right_mm=11.0)
    decision = SimpleNamespace(lowering=SimpleNamespace(notches=notches))
    f = findings(photos=(photo("level.jpg", 10.0),), u95=3.4)
    told = [to_do_text(s, f.cards, "mm") for s in steps(f, "lower-first", decision)]
    assert told == [
        "Deepen the right notch by 11 mm, and make the log fast.",
        "Photograph level and from 350 mm above and below the gap, from where you stood.",
    ]


def test_inches():
    told = said(findings(), unseen(-300.0, -200.0), one_height(), unseen(700.0, 860.0, hidden=True),
                units="in")  # fmt: skip
    assert told == [
        "Photograph from 12 in above and below the gap, from where you stood; and level with the "
        "gap, standing 10 in left of card 1. That brings it to about ± 1/16 in.",
        'Put the caliper in from card 2 to 6 1/2 in right of card 2 (--reading "GAP@30 1/2in").',
    ]
