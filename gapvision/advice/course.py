"""What follows from a setting: how far the log drops, how deep the groove, how high the course.

The scriber's points stand plumb above each other, a setting s apart. Groove and notches scribed at s
and cut to the line, the upper log comes down by s, and the groove's edges lie on the lower log.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gapvision.advice.draws import Draws
from gapvision.errors import JointNotFitted
from gapvision.joint.gap import spread
from gapvision.lengths import format_length
from gapvision.quantity import K95, Quantity
from gapvision.scene.priors import Half
from gapvision.scene.sections import Sections

# Of a log's height against its stated diameter, or twice its crown's radius: the two differ where
# the log is no circle. A judgement, as `u_face_mm` of `gapvision.scene.priors` is.
U_HEIGHT_MM = 6.0


@dataclass(frozen=True, slots=True)
class Height:
    """The course at a station once the log is down: its top over the lower log's, and over the nail.

    The nail is that of the lowest-numbered outside card, where it was when photographed.
    """

    station_mm: float
    course: Quantity
    over_nail: Quantity


@dataclass(frozen=True, eq=False, slots=True)
class Course:
    """What follows. ``depth_mm`` and ``depth_u_mm`` (n,) are by the station of the draws.

    The groove's depth is the wood taken away, plumb, where the logs are nearest: from the upper log's
    underside to the lower log's surface copied s above itself. Hollowing the groove adds to it.
    ``notch_mm`` is the notches' setting: the groove then stands ``underscribe_mm`` open until the
    notches have given way. ``heights`` are at the measured stretch's ends and at stated stations;
    ``rise`` is the log's top at the right end over that at the left.
    """

    notch_mm: float
    underscribe_mm: float
    depth_mm: np.ndarray
    depth_u_mm: np.ndarray
    deepest: Quantity
    deepest_station_mm: float
    heights: tuple[Height, ...]
    rise: Quantity
    diameter_stated: bool

    @property
    def drop_mm(self) -> float:
        """By how much the log comes down: what the notches are scribed at."""
        return self.notch_mm


def follow(
    draws: Draws,
    sections_at: Callable[[np.ndarray], Sections],
    set_to_mm: float,
    underscribe_mm: float,
    heights_at_mm: tuple[float, ...],
    half: Half | None,
    units: str = "mm",
) -> Course:
    """What follows from setting the points to ``set_to_mm``.

    Parameters
    ----------
    draws : Draws
    sections_at : callable
        Draws (d, n) of both logs at any true stations.
    heights_at_mm : stations within the measured stretch, besides its ends.
    half : the upper log's stated half diameter, or None: then by the crown's radius.

    Raises
    ------
    JointNotFitted
        ``bad-underscribe`` where nothing would be left of the notches' setting.
    """
    notch = set_to_mm - underscribe_mm
    if notch <= 0:
        raise JointNotFitted(
            "bad-underscribe",
            f"An underscribe of {format_length(underscribe_mm, units)} was stated and the groove's "
            f"setting is {format_length(set_to_mm, units)}: it must be smaller, correct it.",
        )
    least, at = draws.least()
    ends = float(draws.station_mm[0]), float(draws.station_mm[-1])
    stations = np.array(sorted({*ends, *heights_at_mm}))
    logs = sections_at(stations)
    size = 2 * (logs.r_u if half is None else np.broadcast_to(half(stations), logs.r_u.shape))
    top = logs.h_u + size - notch
    rise = _quantity(top[:, -1] - top[:, 0], np.hypot(U_HEIGHT_MM, U_HEIGHT_MM))
    return Course(
        notch_mm=notch,
        underscribe_mm=underscribe_mm,
        depth_mm=np.maximum(set_to_mm - draws.gap_mm.mean(0), 0.0),
        depth_u_mm=np.hypot(spread(draws.gap_mm), draws.rough_mm),
        deepest=Quantity(set_to_mm - least.value_mm, least.u_mm, least.U95_mm),
        deepest_station_mm=at,
        heights=tuple(
            Height(
                float(x),
                _quantity(top[:, k] - logs.h_l[:, k], U_HEIGHT_MM),
                _quantity(top[:, k], U_HEIGHT_MM),
            )
            for k, x in enumerate(stations)
        ),
        rise=rise,
        diameter_stated=half is not None,
    )


def _quantity(draws_mm: np.ndarray, beside_mm: float) -> Quantity:
    """From draws (d,), and what they do not tell."""
    u = float(np.hypot(spread(draws_mm), beside_mm))
    return Quantity(float(draws_mm.mean()), u, K95 * u)
