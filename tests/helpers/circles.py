"""Readings and trial lines beside photographs of exact circles."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from helpers.joints import joint as measured

from gapvision.inputs.options import HandMeasured, MeasureOptions, check_options
from gapvision.joint.by_hand import compare
from gapvision.lengths import parse_reading, parse_trial
from gapvision.measurement import Alone
from gapvision.quantity import Quantity
from gapvision.scene.sections import Sections

# Logs of 12 and 14 in, crowns above each other 30 mm apart.
R_L, R_U, GAP = 177.8, 152.4, 30.0
SPREAD_MM = 0.6  # of the photographs' heights


def photographs(spread_mm=SPREAD_MM):
    """Stands for a joint of those logs that photographs know to a spread."""

    def draws(station_mm, n, rng):
        high = np.repeat(spread_mm * rng.standard_normal((n // 2, 1)), len(station_mm), 1)
        flat = np.zeros((n, len(station_mm)))
        return Sections(flat, flat, flat + R_L, flat + GAP + np.r_[high, -high], flat, flat + R_U)

    return SimpleNamespace(draws=draws)


def needed(width):
    """Closed form: the gap and both circles' sagittas over the width."""
    return GAP + sum(r - (r**2 - width**2 / 4) ** 0.5 for r in (R_L, R_U))


def beside(*typed, units="mm", spread_mm=SPREAD_MM, readings=()):
    """Trial lines as typed, compared with the photographs of exact circles."""
    asked = MeasureOptions(
        photos=(),
        by_hand=HandMeasured(
            tuple(parse_reading(r, units) for r in readings),
            tuple(parse_trial(t, units) for t in typed),
        ),
        units=units,
    )
    check_options(asked)
    n = len(typed) + len(readings)
    return compare(asked, photographs(spread_mm), np.zeros(n), np.zeros(n))


SET_TO = round(needed(78.0), 1)


def told(*typed, readings=(), units="mm"):
    """A measured joint with trial lines beside it."""
    by_hand = beside(*typed, readings=readings, units=units)
    alone = Alone(Quantity(38.5, 1.0, 2.0), Quantity(47.6, 1.5, 3.0)) if by_hand else None
    return replace(measured(), by_hand=by_hand, alone=alone)
