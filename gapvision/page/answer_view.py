"""An answer as its screen shows it: the first line in parts, sentences, and what stands behind it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from gapvision.answer import by_hand_text
from gapvision.answer.as_json import measurement_of
from gapvision.answer.caution_text import caution_text
from gapvision.answer.corrected_text import TITLE, corrected_text
from gapvision.answer.decision_text import follow_rows
from gapvision.answer.evidence_text import NO_SETTING
from gapvision.answer.lack_text import lack_text
from gapvision.answer.spoken_text import said, spoken_text
from gapvision.answer.text import SAFE
from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import (
    READY,
    crayon_line,
    first_line,
    reason_text,
    set_to_text,
)
from gapvision.joint.photo_results import PhotoResult, place_at
from gapvision.measurement import Measurement
from gapvision.page.drafts import Draft
from gapvision.page.joint_head import joint_head
from gapvision.page.labels import answer_in_page_words, in_page_words
from gapvision.page.photographs import Photograph
from gapvision.page.profile_view import profile_view
from gapvision.phrases import joined, place_text, quantity_text, stand_text, stretch_text

_WITH_NUMBER = {"set": "SET", "at-least": "AT LEAST"}
REFUSED = "REFUSED"
READING_FIELDS = {"kind": "reading", "value": "", "card": "", "hand": "right"}
LEVEL_MM = 60.0  # nobody holds a phone more nearly level with the gap than that


@dataclass(frozen=True, slots=True)
class AnswerView:
    """An answer in the parts of its screen; a part is empty where there is none.

    ``value`` and ``unit`` are the setting, and empty where the program gives none; ``word`` stands
    before it, or is the answer itself, with what comes ``then``.
    """

    kind: str
    first_line: str
    word: str
    value: str = ""
    unit: str = ""
    then: str = ""
    reason: str = ""
    ready: str = ""
    crayon: str = ""
    steps: tuple[str, ...] = ()
    steps_title: str = ""
    spoken: str = ""
    safe: str = SAFE
    by_hand: tuple[str, ...] = ()


def answer_view(answer: dict[str, Any], units: str) -> AnswerView:
    """What the screen of a measurement's JSON says.

    Parameters
    ----------
    answer : dict
        Of `as_json.answer_json` or `as_json.refusal_json`.
    units : {"mm", "in"}
    """
    answer = answer_in_page_words(answer)
    if answer["status"] == "refused":
        sentence = answer["reason"]["text"]
        return AnswerView(
            "refused", REFUSED, REFUSED, reason=sentence, spoken=said(f"Refused. {sentence}")
        )
    m = measurement_of(answer)
    kind, first = m.verdict.kind, first_line(m, units)
    word, value, unit, then = _in_parts(m, first, units)
    steps = tuple(joined(to_do_text(step, m.cards, units)) for step in m.verdict.to_do)
    return AnswerView(
        kind, first, word, value, unit, joined(then),
        reason=joined(reason_text(m, units)),
        ready=f"{READY}." if m.verdict.ready else "",
        crayon=joined(crayon_line(m, units).removeprefix("CRAYON: ")),
        steps=steps,
        steps_title="Better first" if m.verdict.ready else "Next",
        spoken=spoken_text(m, units),
        by_hand=_corrected(m, units),
    )  # fmt: skip


def _corrected(m: Measurement, units: str) -> tuple[str, ...]:
    """What was changed by hand, in a sentence; nothing where nothing was."""
    text = corrected_text(m, units)
    return (f"{TITLE}: {text}.",) if text else ()


def _in_parts(m: Measurement, first: str, units: str) -> tuple[str, str, str, str]:
    """Word, value, unit and what comes then, of the first line."""
    if word := _WITH_NUMBER.get(m.verdict.kind):
        value, _, unit = set_to_text(m, units).rpartition(" ")
        return word, value, unit, ""
    word, _, then = first.partition(": ")
    return word, "", "", then


def answer_context(
    draft: Draft, answer: dict[str, Any], photographs: Iterable[Photograph]
) -> dict[str, Any]:
    """What the screen of a draft's answer shows."""
    units = draft.units
    context = {
        "joint": joint_head(draft), "answer": answer_view(answer, units), "profile": None,
        "has_answer": answer["status"] != "refused", "photographs": [], "cautions": [], "details": [],
        "by_hand": [], "cards": [], "fields": READING_FIELDS, "faults": {},
        "mode": "decimal" if units == "mm" else "text",
    }  # fmt: skip
    if not context["has_answer"]:
        return context
    used = photos_view(answer, photographs, units)
    profile = profile_view(measurement_of(answer), units)
    return context | behind(answer, draft) | {"profile": profile, "photographs": used}


def photos_view(
    answer: dict[str, Any], photographs: Iterable[Photograph], units: str
) -> list[dict[str, str]]:
    """Each photograph of an answer: what it is called, and what it showed or lacked."""
    m = measurement_of(answer)
    numbers = {p.sha256: p.number for p in photographs}
    shown = sorted((p for p in m.photos if p.sha256 in numbers), key=lambda p: numbers[p.sha256])
    return [
        {"sha256": p.sha256, "name": f"photo-{numbers[p.sha256]}", "text": _photo_text(m, p, units)}
        for p in shown
    ]


def _photo_text(m: Measurement, p: PhotoResult, units: str) -> str:
    if not p.used:
        return in_page_words(f"Not used: {lack_text(p, units)}")
    first, last = (place_at(m.cards, mm) for mm in (p.from_mm, p.to_mm))
    height = stand_text(abs(p.height_mm), units)
    level = abs(p.height_mm) < LEVEL_MM
    stood = "Level" if level else f"{height} {'above' if p.height_mm > 0 else 'below'} the gap"
    return joined(f"{stood}; joint seen {stretch_text(first, last, units)}.")


def behind(answer: dict[str, Any], draft: Draft) -> dict[str, Any]:
    """What stands behind an answer: ``cautions``, ``details``, ``by_hand``, ``cards``.

    ``by_hand`` are texts with their verdicts, readings before trial lines, as they were entered.
    """
    units, m = draft.units, measurement_of(answer_in_page_words(answer))
    return {
        "cautions": [joined(in_page_words(caution_text(c, m.cards, units))) for c in m.cautions],
        "details": [(name, joined(text)) for name, text in _details(m, units)],
        "by_hand": _by_hand(m, units, draft),
        "cards": [c.number for c in m.cards if c.side == "outside"],
    }


def _details(m: Measurement, units: str) -> list[tuple[str, str]]:
    warning = NO_SETTING[m.verdict.kind]
    rows = [("Beware", warning)] if warning else []
    widest, needed, groove = (
        quantity_text(q, units) for q in (m.widest_gap, m.setting, m.narrowest_groove)
    )
    rows.append(("Widest gap", f"{widest}, {place_text(m.widest_place, units)}"))
    if m.verdict.has_setting:
        rows += [
            ("Setting needed", f"{needed}, decided {place_text(m.deciding_place, units)}"),
            (
                f"Narrowest groove when set to {set_to_text(m, units)}",
                f"{groove}, {place_text(m.narrowest_place, units)}",
            ),
            *follow_rows(m, units),
        ]
    return rows + by_hand_text.alone_rows(m, units)


def _by_hand(m: Measurement, units: str, draft: Draft) -> list[dict[str, str]]:
    """What was measured by hand: as it was entered, ``entry``, where it is in the answer."""
    readings, trials = (
        table(m, units)[1:] for table in (by_hand_text.reading_table, by_hand_text.trial_table)
    )
    rows = [
        (f"Caliper {read}, {place}", f"{verdict}; photographs {photos}")
        for place, read, photos, verdict in readings
    ]
    rows += [
        (
            f"Trial line {width} wide, points at {setting}, {place}",
            f"{verdict}; photographs {photos}",
        )
        for place, setting, width, photos, verdict in trials
    ]
    entered = [("reading", e) for e in draft.readings] + [("trial", e) for e in draft.trials]
    if len(entered) != len(rows):  # one was entered or removed since: told as they stand
        return [{"kind": k, "entry": e, "text": e, "verdict": "measure again"} for k, e in entered]
    return [
        {"kind": kind, "entry": entry, "text": text, "verdict": verdict}
        for (kind, entry), (text, verdict) in zip(entered, rows, strict=True)
    ]
