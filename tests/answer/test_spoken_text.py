"""The answer for a voice."""

import pytest
from helpers.answers import joint

from gapvision.answer.spoken_text import said, spoken_text


@pytest.mark.parametrize(
    "written, spoken",
    [
        ("SET 54 mm", "SET 54 millimetres"),
        ("needs 51.3 ± 2.9 mm", "needs 51.3 plus or minus 2.9 millimetres"),
        ("SET 2 1/8 in", "SET 2 and 1/8 inches"),
        ("5/8 in", "5/8 inches"),
        ("1 in", "1 inch"),
        ("95 times in 100", "95 times in 100"),
        ("known. (± holds 95 times in 100.) Then", "known. Then"),
    ],
)
def test_signs_and_units_are_written_out(written, spoken):
    assert said(written) == spoken


def test_the_verdict_comes_first():
    text = spoken_text(joint(), "mm")
    assert text.startswith("Set 58 millimetres. Decided 440 millimetres left of card 1")
    assert "±" not in text and " mm" not in text
