"""The answer in words for people, and as JSON for programs."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from gapvision.errors import MeasurementError
from gapvision.lengths import format_length
from gapvision.result import Measurement, Place, Quantity

WIDTH = 79
FORMAT, VERSION = "gapvision-measurement", 1
SAFETY = (
    "Logs on rough notches can roll: dog or chock both ends before anyone leans, reaches, nails or "
    "photographs; no hand in the gap; no step back while looking at a screen. Make a trial line "
    "before cutting. This is advice to a builder: local codes and licensed practice come first."
)
REMINDER = (
    "Set the points on the setting sheet, level the bubble at this setting against a plumb line, "
    "and try the points again after the last line."
)


def answer_text(m: Measurement, units: str = "mm") -> str:
    """The short answer, at most 79 columns, in the order in which a builder needs it."""

    def length(mm: float) -> str:
        return format_length(mm, units)

    def about(q: Quantity) -> str:
        return f"{length(q.value_mm)} +- {length(max(q.U95_mm, 0.05))}"

    lines = []
    if m.status == "doubtful":
        lines += _wrap(
            f"DOUBTFUL: {length(m.set_to_mm)} is only a lower bound; see the cautions before any line."
        )
    lines += _wrap(f"SET THE POINTS TO {length(m.set_to_mm)} for a cover of {length(m.cover_mm)}.")
    lines += _wrap(
        f"Needed: {about(m.setting)} (95 times in 100), decided {_where(m.deciding_place, units)}."
    )  # noqa: E501
    lines += _wrap(f"Widest gap: {about(m.widest_gap)}, {_where(m.widest_place, units)}.")
    lines += _wrap(
        f"Narrowest groove at that setting: {length(m.narrowest_groove.value_mm)} wide "
        f"(+- {length(m.narrowest_groove.U95_mm)}), {_where(m.narrowest_place, units)}."
    )
    if m.cautions:
        lines += ["", "Cautions:"]
        for c in m.cautions:
            lines += textwrap.wrap(c.text, WIDTH, initial_indent="- ", subsequent_indent="  ")
    lines += ["", "To crayon on the log:", f"  {crayon_line(m, units)}", ""]
    lines += _wrap(REMINDER)
    lines += [""] + _wrap(SAFETY)
    return "\n".join(lines)


def crayon_line(m: Measurement, units: str) -> str:
    """One line for the log: setting, cover, and the widest gap with its place."""
    p = m.widest_place
    side = "right" if (p.offset_mm or 0) >= 0 else "left"
    sign = ">=" if m.status == "doubtful" else ""
    return (
        f"SET {sign}{format_length(m.set_to_mm, units)}, COVER {format_length(m.cover_mm, units)}, "
        f"GAP {format_length(m.widest_gap.value_mm, units)} "
        f"{format_length(abs(p.offset_mm or 0), units)} {side} of {p.near_card}"
    )


def _wrap(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ")


def _where(p: Place, units: str) -> str:
    if p.near_card is None or p.offset_mm is None:
        return f"at station {p.station_mm:.0f} mm"
    if abs(p.offset_mm) < 3:
        return f"at card {p.near_card}"
    side = "right" if p.offset_mm > 0 else "left"
    distance = abs(p.offset_mm) if units == "in" else round(abs(p.offset_mm))
    return f"{format_length(distance, units)} {side} of card {p.near_card}, seen from outside"


def answer_json(m: Measurement) -> dict:
    """The answer as plain numbers in mm; what no photograph shows is None.

    Keys of version 1 stay as they are; more may come.
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": m.status,
        "widest_gap": _quantity(m.widest_gap) | _place(m.widest_place),
        "setting": {"cover_mm": m.cover_mm}
        | _quantity(m.setting)
        | {"set_to_mm": m.set_to_mm}
        | _place(m.deciding_place),
        "narrowest_groove": _quantity(m.narrowest_groove) | _place(m.narrowest_place),
        "profile": {
            name: _numbers(getattr(m.profile, name))
            for name in (
                "station_mm", "gap_mm", "gap_u_mm", "groove_width_mm", "groove_width_u_mm",
                "setting_needed_mm", "setting_needed_u_mm",
            )
        },
        "photos": [
            {
                "file": p.file, "sha256": p.sha256, "side": p.side, "used": p.used,
                "lacked": p.lacked, "height_mm": _number(p.height_mm),
                "distance_mm": _number(p.distance_mm), "from_mm": _number(p.from_mm),
                "to_mm": _number(p.to_mm), "cards": list(p.cards),
                "residual_px": _number(p.residual_px),
            }
            for p in m.photos
        ],
        "cards": [
            {
                "number": c.number, "side": c.side, "station_mm": _number(c.station_mm),
                "lean_deg": _number(c.lean_deg), "photos": list(c.photos),
            }
            for c in m.cards
        ],
        "cautions": [
            {"code": c.code, "text": c.text}
            | ({"from_mm": c.from_mm, "to_mm": c.to_mm} if c.from_mm is not None else {})
            for c in m.cautions
        ],
    }  # fmt: skip


def refusal_json(error: MeasurementError) -> dict:
    """The same frame where there is no number at all."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "refused",
        "cautions": [],
        "reason": {"code": error.code, "text": error.text},
    }


def _quantity(q: Quantity) -> dict:
    return {"value_mm": _number(q.value_mm), "u_mm": _number(q.u_mm), "U95_mm": _number(q.U95_mm)}


def _place(p: Place) -> dict:
    return {
        "station_mm": _number(p.station_mm),
        "near_card": p.near_card,
        "offset_mm": _number(p.offset_mm),
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), 3)


def _numbers(values: np.ndarray) -> list[float | None]:
    return [_number(v) for v in values]
