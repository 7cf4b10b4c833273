"""What caliper readings and trial lines say beside the photographs: lines for people, and JSON."""

from __future__ import annotations

from gapvision.joint.by_hand import ByHand
from gapvision.lengths import format_length
from gapvision.measurement import Measurement
from gapvision.phrases import distance_text, number_json, place_text, quantity_text, wrap

LEAD = 18  # columns before the text, as of the answer's other lines


def by_hand_lines(m: Measurement, units: str) -> list[str]:
    """A line for each, and the setting as it was without them; nothing where there are none."""
    lines = []
    for b in m.by_hand:
        lead, text = ("Caliper", _reading) if b.width_mm is None else ("Trial line", _trial)
        lines += wrap(f"{text(b, units)}: {verdict(b)}", f"{lead:{LEAD}}")
    if m.alone is not None:
        text = f"setting needed {quantity_text(m.alone.setting, units)}, not counting "
        text += "it" if sum(b.used for b in m.by_hand) == 1 else "these"
        lines += wrap(text, f"{'Photographs alone':{LEAD}}")
    return lines


def _reading(b: ByHand, units: str) -> str:
    said = format_length(round(b.setting_mm, 1), units)
    return f"{said} read {_place(b, units)}, expected {quantity_text(b.predicted, units)}"


def _trial(b: ByHand, units: str) -> str:
    setting = format_length(round(b.setting_mm, 1), units)
    width, expected = (distance_text(x, units) for x in (b.width_mm, b.predicted_width_mm))
    return f"{width} wide {_place(b, units)} when set to {setting}, expected {expected}"


def _place(b: ByHand, units: str) -> str:
    return place_text(b.place, units).partition(", seen from")[0]


def verdict(b: ByHand) -> str:
    """Whether the two agree; with E_n, which up to 1 says that they do."""
    e = f"(E_n {abs(b.e_number):.1f})" if abs(b.e_number) < 99 else ""
    if b.slip:
        return f"left out, see the cautions {e}".rstrip()
    return f"{'agrees' if b.agrees else 'DISAGREES'} {e}".rstrip()


def _agreement(b: ByHand) -> dict:
    return {
        "E_n": number_json(b.e_number),
        "agrees": b.agrees,
        "used": b.used,
        "looks_like": b.slip or None,
    }
