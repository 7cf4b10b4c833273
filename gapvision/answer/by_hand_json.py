"""Caliper readings, trial lines, and what photographs tell without them: JSON, both ways."""

from __future__ import annotations

from gapvision.inputs.mistakes import Mistake
from gapvision.joint.agreement import e_number
from gapvision.joint.by_hand import ByHand, LineWidth
from gapvision.measurement import Alone
from gapvision.phrases import (
    mistake_code,
    mistake_text,
    number_json,
    number_read,
    place_json,
    quantity_json,
    quantity_read,
)
from gapvision.quantity import K95, Place, Quantity


def readings_json(by_hand: tuple[ByHand, ...]) -> list[dict]:
    """The caliper readings; ``difference_mm`` is read less predicted."""
    return [
        {"value_mm": number_json(b.setting_mm), "u_mm": number_json(b.u_mm)}
        | place_json(b.place)
        | {
            "predicted_mm": number_json(b.predicted.value_mm),
            "predicted_u_mm": number_json(b.predicted.u_mm),
            "difference_mm": number_json(b.difference_mm),
        }
        | _agreement(b)
        for b in by_hand
        if b.width is None
    ]


def trials_json(by_hand: tuple[ByHand, ...]) -> list[dict]:
    """The trial lines; ``difference_mm`` is of the width, ``setting_difference_mm`` of the setting."""
    return [
        {
            "setting_mm": number_json(b.setting_mm),
            "u_setting_mm": number_json(b.u_setting_mm),
            "width_mm": number_json(w.value_mm),
            "u_width_mm": number_json(w.u_mm),
        }
        | place_json(b.place)
        | {
            "predicted_width_mm": number_json(w.predicted_mm),
            "difference_mm": number_json(w.value_mm - w.predicted_mm),
            "predicted_setting_mm": number_json(b.predicted.value_mm),
            "predicted_setting_u_mm": number_json(b.predicted.u_mm),
            "setting_difference_mm": number_json(b.difference_mm),
            "setting_u_mm": number_json(b.u_mm),
        }
        | _agreement(b)
        for b in by_hand
        if (w := b.width)
    ]


def alone_json(alone: Alone | None) -> dict | None:
    """Setting and widest gap by the photographs alone."""
    if alone is None:
        return None
    return {
        "setting": quantity_json(alone.setting),
        "widest_gap": quantity_json(alone.widest_gap),
    }


def _agreement(b: ByHand) -> dict:
    return {
        "E_n": number_json(b.e_number),
        "agrees": b.agrees,
        "used": b.used,
        "looks_like": b.mistake and mistake_text(b.mistake.code),
    }


# --- the way back ---------------------------------------------------------------------------------


def by_hand_read(answer: dict) -> tuple[ByHand, ...]:
    """The readings and trial lines of a measurement's JSON, NaN for what it does not tell.

    What was meant by a mistaken one is in the caution of then only.
    """
    readings, trials = (answer.get(key) or () for key in ("readings", "trials"))
    return (*map(_reading_read, readings), *map(_trial_read, trials))


def alone_read(alone: dict | None) -> Alone | None:
    """What `alone_json` wrote."""
    if alone is None:
        return None
    return Alone(quantity_read(alone["widest_gap"]), quantity_read(alone["setting"]))


def _reading_read(d: dict) -> ByHand:
    setting, u, predicted, u_predicted = _numbers(
        d, "value_mm", "u_mm", "predicted_mm", "predicted_u_mm"
    )
    return _entry(d, setting, u, u, Quantity(predicted, u_predicted, K95 * u_predicted))


def _trial_read(d: dict) -> ByHand:
    setting, u_setting, u, predicted, u_predicted, width, u_width, predicted_width = _numbers(
        d, "setting_mm", "u_setting_mm", "setting_u_mm", "predicted_setting_mm",
        "predicted_setting_u_mm", "width_mm", "u_width_mm", "predicted_width_mm",
    )  # fmt: skip
    expected = Quantity(predicted, u_predicted, K95 * u_predicted)
    return _entry(d, setting, u_setting, u, expected, LineWidth(width, u_width, predicted_width))


def _numbers(d: dict, *keys: str) -> tuple[float, ...]:
    return tuple(number_read(d.get(key)) for key in keys)


def _entry(
    d: dict,
    setting_mm: float,
    u_setting_mm: float,
    u_mm: float,
    predicted: Quantity,
    width: LineWidth | None = None,
) -> ByHand:
    e = d.get("E_n")
    if e is None:  # of a record before there was one
        e = e_number(setting_mm - predicted.value_mm, u_mm, predicted.u_mm)
    looks = d.get("looks_like")
    return ByHand(
        Place(number_read(d.get("station_mm")), d.get("near_card"), d.get("offset_mm")),
        setting_mm, u_setting_mm, width, u_mm, predicted, float(e),
        mistake=Mistake(mistake_code(looks)) if looks else None,
    )  # fmt: skip
