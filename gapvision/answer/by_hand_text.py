"""What caliper readings and trial lines say beside the photographs: lines of the answer, tables."""

from __future__ import annotations

import math

from gapvision.joint.by_hand import ByHand, LineWidth
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.phrases import (
    distance_text,
    mistake_text,
    place_text,
    quantity_text,
    where_text,
    wrap,
)

LEAD = 18  # columns before the text, as of the answer's other lines


def by_hand_lines(m: Measurement, units: str) -> list[str]:
    """A line for each, and the setting as it was without them; nothing where there are none."""
    lines = []
    for b in m.by_hand:
        lead = "Caliper" if b.width is None else "Trial line"
        told = _reading(b, units) if b.width is None else _trial(b, b.width, units)
        lines += wrap(f"{told}: {verdict(b)}", f"{lead:{LEAD}}")
    if m.alone is not None:
        text = f"setting needed {quantity_text(m.alone.setting, units)}, not counting "
        text += "it" if sum(b.used for b in m.by_hand) == 1 else "these"
        lines += wrap(text, f"{'Photographs alone':{LEAD}}")
    return lines


def _reading(b: ByHand, units: str) -> str:
    said = format_length(round(b.setting_mm, 1), units)
    return f"{said} read {_place(b, units)}, expected {quantity_text(b.predicted, units)}"


def _trial(b: ByHand, w: LineWidth, units: str) -> str:
    setting = format_length(round(b.setting_mm, 1), units)
    width, expected = (distance_text(x, units) for x in (w.value_mm, w.predicted_mm))
    return f"{width} wide {_place(b, units)} when set to {setting}, expected {expected}"


def _place(b: ByHand, units: str) -> str:
    return where_text(b.place, units)


def verdict(b: ByHand) -> str:
    """Whether the two agree, or by how much more than both leave open they do not."""
    if math.isnan(b.e_number):
        return "unknown"
    if b.mistake:
        return "left out, see the cautions"
    return "agrees" if b.agrees else f"DISAGREES{beyond_text(b.e_number)}: measure again there"


def beyond_text(e_number: float) -> str:
    """How a disagreement compares with both half-widths together: `agreement.e_number` in words."""
    size = abs(e_number)
    return f", {size:.1f} times what both leave open" if 1 < size < 99 else ""


# --- tables, the first row of which holds the headings --------------------------------------------


def reading_table(m: Measurement, units: str) -> tuple[tuple[str, ...], ...]:
    """Caliper readings beside the photographs; empty where there are none."""
    rows = [
        (place_text(b.place, units), format_length(b.setting_mm, units),
         quantity_text(b.predicted, units), _loud_verdict(b))
        for b in m.by_hand
        if b.width is None
    ]  # fmt: skip
    return (("Caliper at", "Read", "By the photographs", "Verdict"), *rows) if rows else ()


def trial_table(m: Measurement, units: str) -> tuple[tuple[str, ...], ...]:
    """Trial lines beside the photographs; empty where there are none."""
    head = ("Trial line at", "Points set to", "Width", "Width by the photographs", "Verdict")
    rows = [
        (place_text(b.place, units),
         *(format_length(x, units) for x in (b.setting_mm, w.value_mm, w.predicted_mm)),
         _loud_verdict(b))
        for b in m.by_hand
        if (w := b.width)
    ]  # fmt: skip
    return (head, *rows) if rows else ()


def _loud_verdict(b: ByHand) -> str:
    """The verdict where no caution stands below it: with what a mistake looks like."""
    return f"LEFT OUT: {mistake_text(b.mistake.code)}" if b.mistake else verdict(b)


def alone_rows(m: Measurement, units: str) -> list[tuple[str, str]]:
    """What the photographs tell without calipers and trial lines."""
    if m.alone is None:
        return []
    told = (("Setting needed", m.alone.setting), ("Widest gap", m.alone.widest_gap))
    return [(f"{name}, by the photographs alone", quantity_text(q, units)) for name, q in told]
