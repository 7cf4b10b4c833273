"""A measured length with its uncertainty, a place on the log, and runs of stations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STATION_SLACK_MM = 10.0  # of a station that a person names past the measured stretch
K95 = 1.96  # coverage factor of 95 % of a normal distribution, JCGM 100:2008 table G.1
SAFE_K = 1.65  # and one-sided, likewise


@dataclass(frozen=True, slots=True)
class Quantity:
    """A length, mm, its standard uncertainty, and the half-width that holds the truth 95 in 100 times."""

    value_mm: float
    u_mm: float
    U95_mm: float


@dataclass(frozen=True, slots=True)
class Place:
    """A place on the log: its station, and the way a person finds it from the nearest card's nail.

    ``offset_mm`` is positive to the right of card ``near_card``, seen from outside.
    """

    station_mm: float
    near_card: int | None
    offset_mm: float | None


def runs(mask: np.ndarray) -> list[slice]:
    """The unbroken runs of True in an array, shape (n,), in order."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8)))
    return [slice(a, b) for a, b in edges.reshape(-1, 2)]
