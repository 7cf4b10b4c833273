"""Of long lists the one value that cannot be is found, though most are looked through at once."""

import pytest

from gapvision.answer.sound import check_sound

SOUND = [
    {"gap_mm": [1, None, 2.5, -1e9]},
    {"upper": [[1.5, 2], [None, 3], []], "upper_state": ["seen", "unsure"]},
    {"profile": {"gap_mm": []}, "cards": [{"number": 1}, {"number": 2}]},
    {"blocks": None, "any": [[[1]], [["word"]], [True]]},
]
ODD = {
    "gap_mm: no number that can be": [
        {"gap_mm": [1, 2e9, 3]},
        {"gap_mm": [1, float("nan"), 3]},
        {"gap_mm": [[1, 2], [3, float("-inf")]]},
        {"gap_mm": [1, 10**400]},
    ],
    "gap_mm: no number": [
        {"gap_mm": [1, "2"]},
        {"gap_mm": ["1", "2"]},
        {"gap_mm": [1, True]},
        {"gap_mm": [[1, 2], [3, {}]]},
        {"gap_mm": [[1, 2], 3, "4"]},
    ],
    "u_mm: no number": [{"u_mm": [1, 2]}],
    "file: no text": [{"file": ["a"]}, {"file": 3}],
    "profile: no group of values": [{"profile": [1, 2]}],
    "cards: no list": [{"cards": [{"cards": 3}]}],
}


@pytest.mark.parametrize("answer", SOUND)
def test_sound_answers_pass(answer):
    check_sound(answer)


@pytest.mark.parametrize(("said", "answer"), [(said, a) for said, of in ODD.items() for a in of])
def test_an_odd_value_among_others_is_refused(said, answer):
    with pytest.raises(ValueError, match=f"^{said}$"):
        check_sound(answer)
