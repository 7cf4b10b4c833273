"""Sentences of the command line as the page says them."""

import ast
import re
from pathlib import Path

import pytest
from helpers.answers import joint

import gapvision
from gapvision.advice.to_do import Step
from gapvision.page.labels import answer_in_page_words, in_page_words, to_do_in_page_words

PACKAGE = Path(gapvision.__file__).parent
# Whatever of these names an option may be told by a refusal, a caution or a thing to do.
TELLING = [
    *PACKAGE.glob("answer/*_text.py"), *PACKAGE.glob("joint/*.py"), *PACKAGE.glob("photo/*.py"),
    PACKAGE / "inputs/options.py", PACKAGE / "lengths.py",
]  # fmt: skip
# What is only told by commands that the page does not have, or behind options that it does not take.
ELSEWHERE = {"check_text.py", "decision_text.py", "field_test_text.py", "corrected_text.py"}
NOT_ON_THE_PAGE = ("--lower-to", "--limit", "--rules", "--first", "--underscribe", "--outlines")


def sentences():
    for path in TELLING:
        if path.name in ELSEWHERE:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            text = getattr(node, "value", None) if isinstance(node, ast.Constant) else None
            if isinstance(text, str) and "\n" not in text and "--" in text:
                yield text


def test_no_sentence_of_the_page_names_an_option():
    told = [text for text in sentences() if not any(o in text for o in NOT_ON_THE_PAGE)]
    assert len(told) > 15
    assert not [text for text in map(in_page_words, told) if re.search(r"--[a-z]", text)]


@pytest.mark.parametrize(
    "typed, said",
    [
        ("tape both logs at both ends (--upper-diameter, --lower-diameter).",
         "tape both logs at both ends."),
        ("Put the caliper in at card 1 (--reading GAP@-30).", "Put the caliper in at card 1."),
        ("measure each by itself (gapvision sort parts them).", "measure each by itself."),
        ("correct --upper-diameter", "correct the upper log's diameter"),
        ("add --scriber-step", "add --scriber-step"),
    ],
)  # fmt: skip
def test_options_become_fields(typed, said):
    assert in_page_words(typed) == said


def test_the_picture_s_things_to_do_are_the_page_s():
    m = joint(to_do=(Step("prepare", {"text": "Tape the upper log (--upper-diameter)."}),))
    (step,) = to_do_in_page_words(m).to_do
    assert step.facts["text"] == "Tape the upper log."


def test_a_whole_answer_changes_its_sentences_alone():
    answer = {
        "status": "refused", "cautions": [{"code": "a", "text": "correct --cover"}], "to_do": [],
        "reason": {"code": "b", "text": "correct --from and --to"},
    }  # fmt: skip
    changed = answer_in_page_words(answer)
    assert changed["cautions"] == [{"code": "a", "text": "correct the cover"}]
    assert changed["reason"]["text"] == "correct the left notch and the right notch"
    assert answer["reason"]["text"] == "correct --from and --to"
