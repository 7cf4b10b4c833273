"""The plan of heights says which were taken and which is due, in the drawing and in words."""

import xml.etree.ElementTree as ET
from collections import Counter

import pytest

from gapvision.page.plan_view import HEIGHTS, Taken, plan_drawing, plan_words


@pytest.mark.parametrize("due", ["level", "above", "below"])
def test_what_is_due_is_marked_by_form(due):
    others = [h for h in HEIGHTS if h != due]
    drawing = ET.fromstring(str(plan_drawing(Taken(Counter(others), due))))
    kinds = Counter(e.get("class") for e in drawing.iter())
    assert (kinds["due"], kinds["due-mark"], kinds["taken"], kinds["tick"]) == (1, 1, 2, 2)
    y = {e.get("class"): float(e.get("y")) for e in drawing.iter() if e.get("class") == "due"}
    assert y["due"] == {"above": 23, "level": 61, "below": 99}[due]  # above is above


def test_words():
    words = plan_words(Taken({"level": 2}, "above"))
    assert words == "from above: now; level with the gap: taken; from below: not yet"
    assert f'aria-label="{words}"' in plan_drawing(Taken({"level": 2}, "above"))
