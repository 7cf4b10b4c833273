"""Joints without a fit: two round logs that stand as they are told, or with some noise."""

import numpy as np
from helpers.options import options_with

from gapvision.advice.decision import decide
from gapvision.advice.draws import Draws
from gapvision.joint.gap import Groove, drawn_at
from gapvision.quantity import Quantity
from gapvision.scene.sections import Sections

STATION = np.arange(-500.0, 501.0, 10.0)


class Stacked:
    """Stands for a `Joint`: axes one above the other, a gap by station, diameters from end to end."""

    def __init__(self, gap_mm, upper_mm=304.8, lower_mm=304.8, noise_mm=0.0):
        self.gap_mm, self.upper_mm, self.lower_mm = gap_mm, upper_mm, lower_mm
        self.noise_mm = noise_mm

    def draws(self, station_mm, n, rng):
        """As a joint's; a common error of the gap in each draw."""
        at = np.asarray(station_mm, float)
        one = np.ones((n, len(at)))
        noise = self.noise_mm * rng.standard_normal((n // 2, 1))
        gap = self.gap_mm(at) + np.concatenate([noise, -noise]) * one
        upper, lower = (np.interp(at, STATION[[0, -1]], np.broadcast_to(d, 2)) / 2 * one
                        for d in (self.upper_mm, self.lower_mm))  # fmt: skip
        h_l = -160.0 * one
        return Sections(h_l, 0 * one, lower, h_l + gap, 0 * one, upper)


def draws(gap_mm, upper_mm=304.8, lower_mm=304.8, noise_mm=0.0):
    """`Draws` of such a joint, nothing beside them unknown; ``gap_mm`` by station or a function."""
    joint = Stacked(gap_mm if callable(gap_mm) else lambda x: np.interp(x, STATION, gap_mm),
                    upper_mm, lower_mm, noise_mm)  # fmt: skip
    sections = joint.draws(STATION, 40, np.random.default_rng(3))
    nothing = np.zeros(len(STATION))
    return Draws(STATION, sections, sections.gap(), nothing, nothing)


def decided(joint, set_to_mm=60.0, cover_mm=76.2, half=None, **options):
    """The whole decision of such a joint, whose notches are stated."""
    ends = {"from_mm": -500.0, "to_mm": 500.0}
    asked = options_with(**(ends | {"cover_mm": cover_mm} | options))
    drawn = joint.draws(STATION, 40, np.random.default_rng(3))
    width = drawn.groove_width(set_to_mm).mean(0)
    k = int(np.argmin(width))
    narrowest = Quantity(width[k], 0.02 * width[k], 0.04 * width[k])
    groove = Groove(set_to_mm, width, 0.02 * width, narrowest, float(STATION[k]))
    return decide(
        joint, drawn_at(joint, STATION, cover_mm), np.zeros(len(STATION)), asked, (-500.0, 500.0),
        half or {"upper": None, "lower": None}, groove,
    )  # fmt: skip
