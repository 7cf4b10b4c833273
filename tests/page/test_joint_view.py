"""Photographs and joints in lists."""

import pytest
from helpers.answers import joint

from gapvision.answer.as_json import answer_json
from gapvision.page.drafts import ANSWERED, COLLECTING, MEASURING, REFUSED, Draft
from gapvision.page.form_view import joined_ends, parted_ends
from gapvision.page.joint_view import joint_row, photo_item, progress_text

SEEN = {"cards": [1], "unread": [], "off_mm": 0, "from_mm": -9, "to_mm": 9}


def photo(verdict, dropped=False):
    return {
        "sha256": "0" * 64,
        "number": 2,
        "name": "IMG_1.jpg",
        "dropped": dropped,
        "verdict": verdict,
    }


@pytest.mark.parametrize(
    "verdict, kind",
    [
        (None, "busy"),
        ({"ok": True, "text": "card 1 found.", "details": SEEN}, "good"),
        ({"ok": True, "text": "too high.", "details": SEEN | {"off_mm": 40}}, "warn"),
        ({"ok": True, "text": "no edge.", "details": {"cards": [1]}}, "bad"),
        ({"ok": False, "text": "no card.", "details": {"code": "no-card"}}, "bad"),
        ({"ok": True, "text": "a slip.", "details": {"code": "slip"}}, "keep"),
    ],
)
def test_a_photograph_is_told_by_sign_and_word(verdict, kind):
    item = photo_item(photo(verdict))
    assert (item.kind, item.title) == (kind, "photo-2")
    assert item.word


def test_a_refusal_does_not_begin_with_the_photograph_s_own_name():
    refused = {"ok": False, "text": "photo-2.jpg: no card.", "details": {"code": "no-card"}}
    assert photo_item(photo(refused)).text == "No card."


def test_one_left_out_is_told_as_that():
    assert photo_item(photo({"ok": False, "text": "", "details": {}}, True)).word == "Left out"


@pytest.mark.parametrize(
    "state, sign",
    [(COLLECTING, "camera"), (MEASURING, "busy"), (REFUSED, "bad"), (ANSWERED, "good")],
)
def test_a_joint_at_work_shows_its_setting_only_once_answered(state, sign):
    draft = Draft("0" * 12, "Barn", "north", "3", state=state)
    row = joint_row(draft, (), answer_json(joint()))
    assert row.sign == sign
    assert row.number == ("58 mm" if state == ANSWERED else "")


def test_progress():
    assert progress_text({"done": 0, "total": 0}) == "Waiting for its turn."
    assert progress_text({"done": 1, "total": 3}) == "1 of 3 photographs looked at."
    assert "fitting" in progress_text({"done": 3, "total": 3})


@pytest.mark.parametrize(
    "left, right, told",
    [("290", "310", "290,310"), ("290", "", "290"), ("", "310", "310"), ("", "", None)],
)
def test_diameters_of_both_ends(left, right, told):
    joined = joined_ends({"upper_left": left, "upper_right": right, "log": "3"})
    assert joined.get("upper_diameter") == told
    if left and right:
        assert parted_ends(joined)["upper_right"] == right
