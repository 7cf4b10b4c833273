"""A caution's sentence: from its facts, in the units and from the cards of the joint."""

import ast
from pathlib import Path

import pytest

import gapvision.advice
from gapvision.advice.caution import Caution, capped, told
from gapvision.answer.caution_text import _SENTENCES, caution_text
from gapvision.joint.photo_results import CardResult

CARDS = tuple(CardResult(i + 1, "outside", 700.0 * i, 0.0, ()) for i in range(2))
STEPS = Caution(
    "line-steps", 300.0, 300.0, facts={"photo": "level.jpg", "log": "lower", "step_mm": 10.4}
)


def codes_in_advice():
    """The codes that stand as words in the calls of `Caution`; not those of limits."""
    for path in Path(gapvision.advice.__path__[0]).glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Caution"
            if called and isinstance(node.args[0], ast.Constant):
                yield node.args[0].value


def test_every_code_has_its_sentence():
    given = set(codes_in_advice()) - {"left-out"}  # which is told by what is left out
    assert len(given) > 20
    assert given <= set(_SENTENCES)


def test_the_joint_s_units_and_cards():
    assert "steps by 10 mm, 300 mm right of card 1, as" in caution_text(STEPS, CARDS, "mm")
    assert "steps by 7/16 in, 12 in right of card 1, as" in caution_text(STEPS, CARDS, "in")
    assert "steps by 10 mm, 300 mm along the log, as" in caution_text(STEPS, (), "mm")
    near = Caution("line-steps", 705.0, 705.0, facts=STEPS.facts)
    assert "steps by 10 mm, at card 2, as" in caution_text(near, CARDS, "mm")


@pytest.mark.parametrize(
    ("code", "facts", "more", "end"),
    [
        ("line-steps", STEPS.facts, 1, " And 1 more line."),
        ("hollow", {"log": "upper"}, 2, " And 2 more stretches."),
        ("hollow", {"log": "upper"}, 1, " And 1 more stretch."),
        ("card-swung", {"photo": "a.jpg", "card": 1}, 3, " And 3 more cards."),
        ("card-unread", {"photo": "a.jpg", "cards": [1]}, 2, " And 2 more photographs."),
    ],
)
def test_how_many_more_there_are(code, facts, more, end):
    alike = [Caution(code, 0.0, 10.0, facts=facts)] * (3 + more)
    *first, last = capped(alike)
    assert len(first) == 2 and all(c.more == 0 for c in first)
    assert caution_text(last, CARDS, "mm") == caution_text(alike[0], CARDS, "mm") + end
    assert capped(alike[:3]) == alike[:3]


def test_what_was_read_back_keeps_its_sentence():
    caution = told("hollow", "As it was told then.", 0.0, 100.0)
    assert caution_text(caution, CARDS, "in") == "As it was told then."
    assert caution.doubtful is None
    assert caution_text(told("of-tomorrow", "New."), (), "mm") == "New."


def test_a_fact_that_is_lacking_is_an_error_and_no_half_sentence():
    with pytest.raises(TypeError, match="step_mm"):
        caution_text(Caution("line-steps", 0.0, 0.0, facts={"photo": "a", "log": "b"}), (), "mm")
