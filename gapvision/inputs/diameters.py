"""The logs' half diameters along the wall, as the builder states them."""

from __future__ import annotations

import numpy as np

from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import Diameter


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
