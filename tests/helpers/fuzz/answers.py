"""A measurement's JSON read back: by `check`, by the report, and for a slip."""

from __future__ import annotations

import json
import math
from copy import deepcopy
from functools import cache
from pathlib import Path

from helpers.fuzz.entrance import Entrance, mutated, odd_values
from helpers.joints import joint
from hypothesis import strategies as st

from gapvision.answer.as_json import answer_json, measurement_of, read_json
from gapvision.answer.check import check_readings, load_answer
from gapvision.answer.check_text import check_json, check_text
from gapvision.answer.evidence_text import evidence_text
from gapvision.answer.report.html import joint_html
from gapvision.answer.report.sources import report_of_json
from gapvision.answer.text import answer_text
from gapvision.answer.verdict_text import crayon_line
from gapvision.errors import MeasurementError
from gapvision.inputs.joint_name import JointName
from gapvision.lengths import Reading

_READINGS = (Reading(38.0, 310.0, 0.5), Reading(36.0, None, 0.5))
_DEEP = (
    b"[" * 2000,
    b'{"a":' * 2000,
    b"1" * 6000,
    b'{"format": "gapvision-measurement", "version": 1}',
)


@cache
def _answer() -> dict:
    return json.loads(json.dumps(answer_json(joint(first=-300.0, last=400.0, deciding=-100.0))))


@st.composite
def _changed(draw) -> bytes:
    """The JSON with a few of its values odd, missing or exchanged; or its bytes damaged."""
    if draw(st.integers(0, 19)) == 0:
        return draw(st.sampled_from(_DEEP))
    answer = deepcopy(_answer())
    for _ in range(draw(st.integers(1, 3))):
        place = answer
        while True:
            keys = sorted(place) if isinstance(place, dict) else range(len(place))
            key = draw(st.sampled_from(keys))
            deeper = isinstance(place[key], dict | list) and len(place[key])
            if not deeper or draw(st.integers(0, 3)) == 0:
                break
            place = place[key]
        if draw(st.integers(0, 3)) == 0:
            del place[key]
        else:
            place[key] = draw(odd_values)
        if not answer:
            break
    text = json.dumps(answer, default=str).encode(errors="replace")
    return draw(mutated(text, edits=2)) if draw(st.integers(0, 3)) == 0 else text


def _check_answer(content: bytes, folder: Path) -> None:
    path = folder / "joint.json"
    path.write_bytes(content)
    try:
        answer = read_json(path)
    except MeasurementError as error:
        assert error.text
    else:
        if answer["status"] != "refused":
            _check_told(measurement_of(answer))
    for told in (_check_readings, _report):
        try:
            told(path)
        except MeasurementError as error:
            assert error.text


def _check_told(m) -> None:
    for units in ("mm", "in"):
        assert answer_text(m, units)
        evidence_text(m, units)
        crayon_line(m, units)
    assert 0 < m.cover_mm < math.inf and 0 < m.set_to_mm < math.inf
    assert m.set_to_mm >= m.setting.value_mm - 1e-3, "a setting below the estimate told"
    for q in (m.setting, m.widest_gap):
        assert math.isfinite(q.value_mm) and not q.u_mm < 0 and not q.U95_mm < 0, f"{q} told"


def _check_readings(path: Path) -> None:
    checked = check_readings(load_answer(path), path.name, _READINGS)
    assert check_text(checked)
    json.dumps(check_json(checked), allow_nan=False)


def _report(path: Path) -> None:
    assert joint_html(report_of_json(path, JointName("Barn", "north", "3")))


ENTRANCES = {"a measurement's JSON": Entrance(_changed(), _check_answer, 30)}
