"""What is known of a measured joint when its cautions are looked for, and how each looks at it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from gapvision.inputs.options import MeasureOptions
from gapvision.joint.by_hand import ByHand
from gapvision.joint.disagreement import GapShift
from gapvision.joint.drawn_off import DrawnOff
from gapvision.joint.gap import Profile
from gapvision.joint.model import Joint
from gapvision.joint.photo_results import CardResult, PhotoResult
from gapvision.joint.radii import Radii
from gapvision.joint.seen import near
from gapvision.joint.several import Suspicion
from gapvision.joint.stated import Contradicted
from gapvision.photo.bent import Bend
from gapvision.quantity import Quantity, runs
from gapvision.scene.camera import Lens
from gapvision.trace.outlines import HIDDEN, SEEN, SHUT

HEIGHTS_APART = 0.15  # slopes of sight, rad; under this two photographs count as one height
WIDE_U95_MM = 2.5
LONG_MM = 1600.0  # of joint; what is shorter one photograph sees whole
# Of the distance, above and below: where to photograph from, and past which a usual gap looks shut.
STEEPER, STEEPEST = 0.22, 0.3


@dataclass(frozen=True, eq=False, slots=True)
class Findings:
    """What the cautions are read from. ``shown`` and ``seen`` are by station, bool.

    ``decides`` is by station too: the share of Monte Carlo draws in which the largest setting needed
    is there. ``radii`` is by log, ``shifts`` holds the photographs whose gap disagrees, ``by_hand`` the
    caliper readings and trial lines, ``contradict`` that photographs do by centimetres, ``drawn_off`` the
    lines drawn by hand that the others contradict, ``bends`` how far from flat each card is, by number,
    ``suspicion`` that the photographs may be of two joints, ``contradicted`` the stated diameters that
    they show otherwise, ``lenses`` what was believed of each of the joint's lenses.
    """

    options: MeasureOptions
    station_mm: np.ndarray
    shown: np.ndarray
    seen: np.ndarray
    setting: Quantity
    photos: tuple[PhotoResult, ...]
    left_out: tuple[PhotoResult, ...]
    cards: tuple[CardResult, ...]
    joint: Joint
    profile: Profile
    decides: np.ndarray
    radii: Mapping[str, Radii]
    shifts: tuple[GapShift, ...] = ()
    by_hand: tuple[ByHand, ...] = ()
    contradict: bool = False
    drawn_off: tuple[DrawnOff, ...] = ()
    bends: Mapping[int, Bend] = field(default_factory=dict)
    suspicion: Suspicion | None = None
    contradicted: tuple[Contradicted, ...] = ()
    lenses: tuple[Lens, ...] = ()

    @property
    def length_mm(self) -> float:
        """Of the measured stretch."""
        return float(self.station_mm[-1] - self.station_mm[0])

    @property
    def distance_mm(self) -> float:
        """From which the joint was photographed, usually."""
        return float(np.median([p.distance_mm for p in self.photos]))


def slopes(photos: tuple[PhotoResult, ...]) -> np.ndarray:
    """Slope of sight of each photograph (n,), positive from above the outside.

    From the inside above is the other way: such a line runs down towards the outside.
    """
    return np.array(
        [(-1 if p.side == "inside" else 1) * p.height_mm / p.distance_mm for p in photos]
    )


def traced(f: Findings) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """By photograph and station (photos, n), bool: joint seen; gap shut; something in front."""
    seen, shut, hidden = (
        np.array([_by_state(f, p, s) for p in f.photos]) for s in (SEEN, SHUT, HIDDEN)
    )
    return seen, shut & ~seen, hidden & ~seen


def _by_state(f: Findings, photo: PhotoResult, state: int) -> np.ndarray:
    return near(
        f.station_mm,
        photo.outlines.axis_station_mm[: len(photo.outlines.axis_state)][
            photo.outlines.axis_state == state
        ],
    )


def slope_range(slope: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """How far apart (n,) the slopes of sight are of the photographs that see each station."""
    high = np.where(seen, slope[:, None], -np.inf).max(0)
    low = np.where(seen, slope[:, None], np.inf).min(0)
    return np.where(seen.any(0), high - low, 0.0)


def stretches(
    f: Findings, mask: np.ndarray, bridge_mm: float = 0.0, least_mm: float = 0.0
) -> list[tuple[float, float]]:
    """The stretches (from, to) of a mask by station, joined over short breaks."""
    half = 0.5 * float(f.station_mm[1] - f.station_mm[0])
    out: list[tuple[float, float]] = []
    for r in runs(mask):
        a, b = float(f.station_mm[r.start]) - half, float(f.station_mm[r.stop - 1]) + half
        if out and a - out[-1][1] < bridge_mm:
            a = out.pop()[0]
        out.append((a, b))
    return [(a, b) for a, b in out if b - a > least_mm]
