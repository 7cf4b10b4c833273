"""Which stations of a joint its photographs show."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.joint.model import FittedPhoto, Joint, residuals
from gapvision.quantity import runs

STATION_STEP_MM = 10.0
NEAR_MM = 15.0  # a station is seen where a traced point lies this near
LONGEST_UNSEEN_MM = 60.0  # and is bridged
LEAST_SHOWN = 5  # stations


def near(station_mm: np.ndarray, traced_mm: np.ndarray) -> np.ndarray:
    """Which stations (n,) have a traced point within `NEAR_MM`."""
    at = np.r_[-np.inf, np.sort(traced_mm), np.inf]
    after = np.clip(np.searchsorted(at, station_mm), 1, len(at) - 1)
    return np.minimum(station_mm - at[after - 1], at[after] - station_mm) < NEAR_MM


def seen_stations(joint: Joint, station_mm: np.ndarray) -> np.ndarray:
    """Which stations (n,) have rows of both outlines near, in any photograph."""
    seen = [
        near(
            station_mm,
            np.concatenate([np.empty(0), *(traced(p, log, joint) for p in joint.photos)]),
        )
        for log in ("lower", "upper")
    ]
    return seen[0] & seen[1]


def traced(photo: FittedPhoto, log: str, joint: Joint) -> np.ndarray:
    """Stations (n,) mm of a photograph's rows of one outline."""
    at = [residuals(photo.camera, o, joint)[1] for o in photo.rows.outlines if o.log == log]
    return np.concatenate([np.empty(0), *at])


@dataclass(frozen=True, eq=False, slots=True)
class Stations:
    """Stations (n,) mm along the measured stretch; which are ``seen``, and which ``shown`` (bool).

    Shown are those seen and short unseen runs between them.
    """

    station_mm: np.ndarray
    seen: np.ndarray
    shown: np.ndarray

    @property
    def shown_mm(self) -> np.ndarray:
        """The stations shown."""
        return self.station_mm[self.shown]


def stations_of(joint: Joint, stretch_mm: tuple[float, float]) -> Stations:
    """The stations of a stretch, `STATION_STEP_MM` apart.

    Raises
    ------
    JointNotFitted
        ``nothing-seen`` where hardly any is shown.
    """
    station = np.arange(math.ceil(stretch_mm[0]), stretch_mm[1] + 0.01, STATION_STEP_MM)
    seen = seen_stations(joint, station)
    shown = seen | bridged(seen)
    if shown.sum() < LEAST_SHOWN:
        raise JointNotFitted(
            "nothing-seen",
            "Of the stretch asked for hardly anything of both outlines is seen; photograph it "
            "level with the gap, with something plain behind it.",
        )
    return Stations(station, seen, shown)


def bridged(seen: np.ndarray) -> np.ndarray:
    """Which of stations (n,) `STATION_STEP_MM` apart lie in a short unseen run between seen ones."""
    out = np.zeros_like(seen)
    for run in runs(~seen):
        length = (run.stop - run.start) * STATION_STEP_MM
        if length <= LONGEST_UNSEEN_MM and run.start > 0 and run.stop < len(seen):
            out[run] = True
    return out
