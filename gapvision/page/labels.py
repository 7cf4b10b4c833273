"""What the fields of the page are called, and sentences that name options told by those names."""

from __future__ import annotations

import re
from dataclasses import replace

from gapvision.advice.to_do import Step
from gapvision.answer.to_do_text import to_do_text
from gapvision.measurement import Measurement

LABELS = {
    "building": "Building",
    "wall": "Wall",
    "log": "Log",
    "cover": "Cover",
    "units": "Lengths in",
    "upper_diameter": "Upper log's diameter",
    "lower_diameter": "Lower log's diameter",
    "notches": "Notches",
    "from_": "left notch",
    "to": "right notch",
    "card_on": "The card hangs on the",
    "inside_cards": "Cards inside the wall",
    "camera": "Camera, where photographs do not tell it",
    "wall_thickness": "Wall's thickness",
    "printed_bar": "Check bar of the print",
}

# Options of `measure` that its sentences name, and what a person finds on the page instead.
_OPTIONS = {
    "--from": "the left notch",
    "--to": "the right notch",
    "--upper-diameter": "the upper log's diameter",
    "--lower-diameter": "the lower log's diameter",
    "--cover": "the cover",
    "--card-on": "what the card hangs on",
    "--printed-bar": "the check bar",
    "--inside-cards": "the cards inside",
    "--inside": "the photographs from inside",
    "--wall-thickness": "the wall's thickness",
    "--reading": "the caliper",
    "--trial": "the trial line",
    "--camera": "the camera's file",
    "--units": "the unit",
}
_OPTION = r"--[a-z][a-z-]*"
_DROPPED = (
    re.compile(rf" \((?:{_OPTION})(?:, {_OPTION})*\)"),  # (--upper-diameter, --lower-diameter)
    re.compile(r" \(--reading [^)]*\)"),  # how a reading is typed
    re.compile(r" by --from and --to|" rf" by (?:{_OPTION})"),
    re.compile(r" \(gapvision [^)]*\)"),
    re.compile(r"; gapvision sort parts them by their slips"),
)
_NAMED = re.compile(_OPTION)


def in_page_words(text: str) -> str:
    """A sentence of the command line as the page says it: no options, the fields' names instead.

    Examples
    --------
    >>> in_page_words("State where the notches are by --from and --to, taped from card 1's nail.")
    "State where the notches are, taped from card 1's nail."
    >>> in_page_words("Exchange --upper-diameter and --lower-diameter.")
    "Exchange the upper log's diameter and the lower log's diameter."
    """
    for pattern in _DROPPED:
        text = pattern.sub("", text)
    return _NAMED.sub(lambda found: _OPTIONS.get(found[0], found[0]), text)


def answer_in_page_words(answer: dict) -> dict:
    """A measurement's JSON whose sentences of what to do and beware of are the page's."""

    def told(items: list[dict]) -> list[dict]:
        return [item | {"text": in_page_words(item["text"])} for item in items]

    changed = {key: told(answer[key]) for key in ("to_do", "cautions") if key in answer}
    if "reason" in answer:
        changed["reason"] = answer["reason"] | {"text": in_page_words(answer["reason"]["text"])}
    return answer | changed


def to_do_in_page_words(measurement: Measurement) -> Measurement:
    """A measurement whose things to do are told in the page's words, as its picture draws them."""
    m = measurement
    told = (in_page_words(to_do_text(step, m.cards, m.units)) for step in m.to_do)
    steps = zip(m.to_do, told, strict=True)
    return replace(m, to_do=tuple(Step(step.code, {"text": text}) for step, text in steps))
