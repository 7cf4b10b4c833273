"""Other covers at a glance: what each takes to set, what a step of the points buys and costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.advice.draws import Draws
from gapvision.lengths import INCH_MM, round_up
from gapvision.quantity import SAFE_K, Quantity
from gapvision.scene.sections import Sections

STEPS = (-2, -1, 0, 1, 2)  # about the wanted cover
STEP_MM, STEP_IN = 10.0, 0.5
SAME_MM = 0.01  # a cover that went through another scale and back
SMALLEST_MM = 20.0  # of the covers shown where none is asked for


@dataclass(frozen=True, slots=True)
class CoverRow:
    """One cover: its setting, where that is decided, and what it costs.

    ``per_setting`` is mm of cover for each mm of setting, at the deciding station; ``deepest`` the
    groove's depth where the gap is least.
    """

    cover_mm: float
    setting: Quantity
    set_to_mm: float
    station_mm: float
    per_setting: float
    deepest: Quantity


@dataclass(frozen=True, slots=True)
class Covers:
    """Rows by cover, the wanted one among them; ``asked`` where the builder chose them."""

    rows: tuple[CoverRow, ...]
    asked: bool


def other_covers(
    draws: Draws,
    cover_mm: float,
    needed_mm: np.ndarray,
    asked_mm: tuple[float, ...],
    units: str,
    scriber_step_mm: float | None = None,
) -> Covers:
    """The wanted cover beside others; ``needed_mm`` (d, n) are the draws of its settings needed."""
    least, _ = draws.least()
    others = asked_mm or default_covers(cover_mm, units)
    rows = []
    for cover in sorted({cover_mm, *(c for c in others if abs(c - cover_mm) > SAME_MM)}):
        needed = needed_mm if cover == cover_mm else draws.sections.setting_needed(cover)
        setting, at = draws.setting(needed)
        k = int(np.argmin(np.abs(draws.station_mm - at)))
        there = Sections(*(getattr(draws.sections, name)[:, k] for name in Sections.__slots__))
        set_to = round_up(setting.value_mm + SAFE_K * setting.u_mm, units, scriber_step_mm)
        rows.append(
            CoverRow(
                cover, setting, set_to, at, float(there.cover_per_setting(cover).mean()),
                Quantity(set_to - least.value_mm, least.u_mm, least.U95_mm),
            )
        )  # fmt: skip
    return Covers(tuple(rows), bool(asked_mm))


def default_covers(cover_mm: float, units: str) -> tuple[float, ...]:
    """Covers about the wanted one, in steps of 10 mm or half an inch."""
    step = STEP_MM if units == "mm" else STEP_IN * INCH_MM
    return tuple(c for k in STEPS if (c := cover_mm + k * step) >= SMALLEST_MM or k == 0)
