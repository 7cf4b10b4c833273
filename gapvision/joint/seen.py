"""At which stations both outlines are seen, and which unseen runs are short enough to bridge."""

from __future__ import annotations

import numpy as np

from gapvision.joint.model import Joint, residuals
from gapvision.quantity import runs
from gapvision.scene.view import View

LONGEST_UNSEEN_MM = 60.0

NEAR_MM = 15.0  # a station is seen where a traced point lies this near


def near(station_mm: np.ndarray, traced_mm: np.ndarray) -> np.ndarray:
    """Which stations (n,) have a traced point within `NEAR_MM`."""
    at = np.r_[-np.inf, np.sort(traced_mm), np.inf]
    after = np.clip(np.searchsorted(at, station_mm), 1, len(at) - 1)
    return np.minimum(station_mm - at[after - 1], at[after] - station_mm) < NEAR_MM


STATION_STEP_MM = 10.0


def _seen_stations(views: list[View], joint: Joint, station: np.ndarray) -> np.ndarray:
    seen = {}
    for log in ("lower", "upper"):
        at = [
            residuals(c, o, joint)[1]
            for v, c in zip(views, joint.cameras, strict=True) for o in v.outlines if o.log == log
        ]  # fmt: skip
        seen[log] = near(station, np.concatenate([*at, np.empty(0)]))
    return seen["lower"] & seen["upper"]


def _short_runs(unseen: np.ndarray, station: np.ndarray) -> np.ndarray:
    out = np.zeros_like(unseen)
    for run in runs(unseen):
        length = (run.stop - run.start) * STATION_STEP_MM
        if length <= LONGEST_UNSEEN_MM and run.start > 0 and run.stop < len(station):
            out[run] = True
    return out
