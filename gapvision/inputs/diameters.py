"""What the builder states, in the card's millimetres: lengths as printed, half diameters by station."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gapvision.inputs.options import HandMeasured, MeasureOptions, Stretch
from gapvision.lengths import Diameter, Reading, Trial


def in_card_mm(options: MeasureOptions, scale: float) -> MeasureOptions:
    """The same options with all lengths in the card's own millimetres, as printed.

    Everything is fitted in those and brought to true millimetres at the end.
    """

    def shrink(value):
        return None if value is None else value / scale

    def shrink_diameter(d):
        return d and Diameter(tuple((shrink(at), v / scale) for at, v in d.points))

    return replace(
        options,
        cover_mm=options.cover_mm / scale,
        upper_diameter=shrink_diameter(options.upper_diameter),
        lower_diameter=shrink_diameter(options.lower_diameter),
        stretch=Stretch(shrink(options.stretch.from_mm), shrink(options.stretch.to_mm)),
        cards=replace(
            options.cards, wall_thickness_mm=shrink(options.cards.wall_thickness_mm)
        ),
        by_hand=HandMeasured(
        tuple(
            Reading(r.value_mm / scale, shrink(r.station_mm), r.u_mm / scale)
            for r in options.by_hand.readings
        ),
        tuple(
            Trial(
                t.setting_mm / scale, t.width_mm / scale, shrink(t.station_mm),
                t.u_setting_mm / scale, t.u_width_mm / scale,
            )
            for t in options.by_hand.trials
        )),
    )  # fmt: skip


def stated_radii(options: MeasureOptions, stretch: tuple[float, float]) -> dict:
    """``"upper"``/``"lower"`` -> stated radius (n,) mm at stations (n,) mm, or None."""
    return {
        "upper": radius_along(options.upper_diameter, stretch),
        "lower": radius_along(options.lower_diameter, stretch),
    }


def radius_along(diameter: Diameter | None, stretch: tuple[float, float]):
    """Half diameter (n,) mm at stations (n,), straight along the log; None where none is stated."""
    if diameter is None:
        return None
    points = list(diameter.points)
    if len(points) == 1:
        at, value = [0.0], [points[0][1]]
    elif points[0][0] is None:
        at, value = list(stretch), [p[1] for p in points]
    else:
        points = sorted(points)
        at, value = [p[0] for p in points], [p[1] for p in points]
    slope, level = np.polyfit(at, value, 1) if len(at) > 1 else (0.0, value[0])
    return lambda station: (level + slope * np.asarray(station, float)) / 2


def true_half(half, scale: float):
    """A stated half diameter by station, both in true mm; None where none is stated."""
    return None if half is None else lambda station: half(station / scale) * scale
