"""Photographs of several joints given as of one are refused, those of one joint never."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from helpers.demo import FOLDER, TRUTH

from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.joint import several
from gapvision.joint.several import (
    Suspicion,
    Untraced,
    check_agreement,
    check_doubt,
    check_one_joint,
    check_untraced,
    hours_between,
)
from gapvision.photo.facts import CameraKey
from gapvision.photo.wood import OTHER, PERHAPS_OTHER, SAME, UNKNOWN
from gapvision.spine import measure

KEY = CameraKey("Example", "EX-1", "", 4032, 3024, 26.0)


def photo(label, *cards, log="a", side="outside", unread=(), taken=None):
    """A photograph as the checks look at it; its wood is a word in place of a picture."""
    sightings = [SimpleNamespace(number=n, corner_id=np.arange(30)) for n in cards]
    return SimpleNamespace(
        label=label, rows=SimpleNamespace(side=side, sightings=sightings, lens=0, size=(4032, 3024)),
        unread_cards=tuple(unread), bent_cards=(), wood=dict.fromkeys(cards, log),
        facts=SimpleNamespace(key=KEY, taken=taken),
    )  # fmt: skip


@pytest.fixture(autouse=True)
def words_for_wood(monkeypatch):
    """Equal words are the same wood; one with a question mark is like no other for sure."""

    def told(one, other):
        if one == other:
            verdict = SAME
        elif "?" in one + other:
            verdict = PERHAPS_OTHER
        else:
            verdict = UNKNOWN if "" in (one, other) else OTHER
        return SimpleNamespace(verdict=verdict)

    monkeypatch.setattr(several, "flattened", lambda wood: wood)
    monkeypatch.setattr(several, "likeness", told)
    monkeypatch.setattr(several, "nail_between", lambda *_: 690.0)


def check(*photos, hung_on="upper"):
    return check_one_joint(photos, (None,), hung_on)


def refused(*photos, **more):
    with pytest.raises(JointNotFitted) as caught:
        check(*photos, **more)
    assert caught.value.code == "several-joints"
    assert "set to" not in caught.value.text and "gapvision sort" in caught.value.text
    return caught.value.text


# --- the wood -------------------------------------------------------------------------------------


def test_other_wood_beside_the_same_card_is_another_joint():
    text = refused(photo("a.jpg", 1, 2), photo("b.jpg", 1, 2, log="b"), photo("c.jpg", 1, 2))
    assert "These are two joints: A: a.jpg, c.jpg; B: b.jpg." in text
    assert "The wood beside cards 1 and 2 is not the same." in text


def test_three_joints_are_counted():
    text = refused(*(photo(f"{log}.jpg", 1, log=log) for log in "abc"))
    assert "These are 3 joints: A: a.jpg; B: b.jpg; C: c.jpg." in text


def test_of_which_one_is_it_is_said_where_nothing_tells():
    text = refused(photo("a.jpg", 1), photo("b.jpg", 1, log="b"), photo("c.jpg", 1, log=""))
    assert "A: a.jpg; B: b.jpg; of either: c.jpg." in text


def test_wood_parts_them_before_cards_do():
    """A joint of few cards beside a long log: what no card ties to either is named apart."""
    text = refused(photo("a.jpg", 1, 2), photo("b.jpg", 1, 2, log="b"), photo("c.jpg", 4, log="b"))
    assert "A: a.jpg; B: b.jpg; of either: c.jpg." in text


def test_one_joint_is_let_pass():
    assert check(photo("a.jpg", 1, 2), photo("b.jpg", 2, 3), photo("c.jpg", 3)) is None
    assert check(photo("a.jpg", 1)) is None


def test_a_photograph_that_is_like_one_of_a_joint_is_of_it():
    """Of two photographs in other light a third may tell that they are of one joint."""
    a, b, c = photo("a.jpg", 1, 2), photo("b.jpg", 1, 2, log="b"), photo("c.jpg", 1, 2)
    c.wood[2] = "b"
    assert check(a, b, c) is None


def test_no_grain_is_no_reason():
    assert check(photo("a.jpg", 1), photo("b.jpg", 1, log="")) is None


def untraced(label, *cards, log="a"):
    return Untraced(label, dict.fromkeys(cards, log), JointNotFitted("no-outlines", "None."))


def test_a_photograph_without_a_gap_that_shows_another_log_is_of_another_joint():
    with pytest.raises(JointNotFitted) as caught:
        check_untraced((photo("a", 1), photo("b", 1)), (untraced("c", 1, log="b"),), "upper")
    assert caught.value.code == "several-joints"
    assert "two joints: A: a, b; B: c." in caught.value.text


@pytest.mark.parametrize(("log", "cards"), [("a", (1,)), ("", (1,)), ("b", (2,))])
def test_a_photograph_without_a_gap_is_left_out_where_its_wood_tells_nothing_else(log, cards):
    assert check_untraced((photo("a", 1),), (untraced("c", *cards, log=log),), "upper") is None


def test_a_photograph_without_a_gap_that_shows_perhaps_another_log_is_a_suspicion():
    found = check_untraced((photo("a", 1),), (untraced("c", 1, log="b?"),), "upper")
    assert found.files == ("a", "c") and found.cards == (1,)
    assert check_untraced((photo("a", 1),), (untraced("c", 1, log="b"),), "free") is None


def test_beside_a_card_that_stands_free_there_need_be_no_wood():
    assert check(photo("a.jpg", 1), photo("b.jpg", 1, log="b"), hung_on="free") is None


def test_inside_and_outside_have_wood_of_their_own():
    assert (
        check(photo("a.jpg", 1), photo("b.jpg", 1), photo("c.jpg", 5, log="b", side="inside"))
        is None
    )
    text = refused(
        photo("a.jpg", 1),
        photo("c.jpg", 5, side="inside"),
        photo("d.jpg", 5, log="b", side="inside"),
    )
    assert "A: c.jpg; B: d.jpg; of either: a.jpg." in text


def hung(turned_deg):
    """A joint whose card turned by this between two photographs."""
    swing = {0: np.zeros(3), 1: np.radians([turned_deg, 0.0, 0.0])}
    return SimpleNamespace(cards=[SimpleNamespace(swing_rad=swing)])


# --- what supports a suspicion --------------------------------------------------------------------


def test_perhaps_another_log_alone_is_a_suspicion_and_no_refusal():
    found = check(photo("a.jpg", 1), photo("b.jpg", 1, log="b?"))
    assert found == Suspicion(("a.jpg", "b.jpg"), (1,))
    check_agreement(found, hung(0.0), disagrees=False)
    check_agreement(None, hung(9.0), disagrees=True)
    with pytest.raises(JointNotFitted, match="card 1 is not the same, and their gaps differ"):
        check_agreement(found, hung(0.0), disagrees=True)
    with pytest.raises(JointNotFitted, match="is not the same, and a card hangs otherwise"):
        check_agreement(found, hung(0.9), disagrees=False)


def test_perhaps_another_log_where_the_answer_is_doubtful_anyway_is_one():
    found = check(photo("a.jpg", 1), photo("b.jpg", 1, log="b?"))
    check_doubt(found, doubtful=False)
    check_doubt(None, doubtful=True)
    with pytest.raises(JointNotFitted, match="and together they show no joint for sure"):
        check_doubt(found, doubtful=True)


def test_perhaps_another_log_hours_later_is_one():
    morning, evening = "2026-05-14T09:12:33", "2026-05-14T18:40:00"
    text = refused(photo("a.jpg", 1, taken=morning), photo("b.jpg", 1, log="b?", taken=evening))
    assert "and 9 hours lie between them" in text
    minutes = "2026-05-14T09:15:00"
    assert check(photo("a.jpg", 1, taken=morning), photo("b.jpg", 1, log="b?", taken=minutes))


def test_perhaps_another_log_with_its_nails_elsewhere_is_one(monkeypatch):
    apart = {(1, 2): iter([690.0, 702.0])}
    monkeypatch.setattr(several, "nail_between", lambda a, b, *_: next(apart[a.number, b.number]))
    text = refused(photo("a.jpg", 1, 2), photo("b.jpg", 1, 2, log="b?"))
    assert "cards 1 and 2 hang 690 mm apart in one and 702 in the other" in text


def test_hours_alone_are_no_reason():
    assert check(
        photo("a.jpg", 1, taken="2026-05-14T09:00:00"), photo("b.jpg", 1, taken="2026-05-16T09:00:00")
    ) is None  # fmt: skip


def test_each_camera_has_its_own_clock():
    other = CameraKey("Example", "EX-2", "", 4032, 3024, 26.0)
    nine, ten, noon = (f"2026-05-14T{h}:00:00" for h in ("09", "10", "12"))
    assert hours_between([(KEY, nine), (KEY, noon), (KEY, ten)]) == 2.0
    assert hours_between([(KEY, nine), (other, noon)]) == 0.0
    assert hours_between([(KEY, None), (None, nine)]) == 0.0


# --- the cards ------------------------------------------------------------------------------------


def test_photographs_that_no_card_ties_together_are_two_joints_or_lack_one_between():
    text = refused(photo("a.jpg", 1, 2), photo("b.jpg", 2), photo("c.jpg", 5))
    assert "A: a.jpg, b.jpg (cards 1 and 2); B: c.jpg (card 5)" in text
    assert "or a photograph between is missing" in text
    assert "a joint's two faces (--inside names those from inside)" in text


def test_a_card_that_was_read_in_part_ties_them_too():
    assert check(photo("a.jpg", 1, 2), photo("b.jpg", 2), photo("c.jpg", 5, unread=[2])) is None


# --- photographs ----------------------------------------------------------------------------------


@pytest.fixture
def real_wood(monkeypatch):
    monkeypatch.undo()


WHOLE = FOLDER / "whole_log"


@pytest.mark.parametrize(
    ("of_one", "of_other"),
    [(["photo0.jpg"], ["photo0.jpg"]), (["photo0.jpg", "photo2.jpg"], ["photo1.jpg"])],
)
def test_two_rendered_joints_with_cards_of_the_same_numbers_get_no_answer(
    real_wood, of_one, of_other
):
    photos = tuple(FOLDER / f for f in of_one) + tuple(WHOLE / f for f in of_other)
    with pytest.raises(MeasurementError) as caught:
        measure(MeasureOptions(photos=tuple(Path(p) for p in photos)))
    assert caught.value.code == "several-joints"
    for p in photos:
        assert f"{p.parent.name}/{p.name}" in caught.value.text or p.name in caught.value.text


def test_the_photographs_of_one_joint_get_theirs(real_wood):
    found = measure(MeasureOptions(photos=tuple(FOLDER / f for f in TRUTH["files"])))
    assert all(p.used for p in found.photos)
    assert "perhaps-several" not in [c.code for c in found.cautions]
