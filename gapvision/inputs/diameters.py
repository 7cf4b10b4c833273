"""The logs' half diameters along the wall, as the builder states them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import Diameter

Along = Callable[[np.ndarray], np.ndarray]  # half diameter (n,) mm at stations (n,) mm


def stated_radii(options: MeasureOptions, stretch: tuple[float, float]) -> dict[str, Along | None]:
    """``"upper"``/``"lower"`` -> stated radius (n,) mm at stations (n,) mm, or None."""
    return {
        "upper": radius_along(options.upper_diameter, stretch),
        "lower": radius_along(options.lower_diameter, stretch),
    }


def radius_along(diameter: Diameter | None, stretch: tuple[float, float]) -> Along | None:
    """Half diameter by station, straight along the log; None where none is stated."""
    if diameter is None:
        return None
    value = [mm for _, mm in diameter.points]
    placed = sorted((at, mm) for at, mm in diameter.points if at is not None)
    if len(value) == 1:
        at = [0.0]
    elif placed:
        at, value = [at for at, _ in placed], [mm for _, mm in placed]
    else:
        at = list(stretch)
    slope, level = np.polyfit(at, value, 1) if len(at) > 1 else (0.0, value[0])
    return lambda station: (level + slope * np.asarray(station, float)) / 2
