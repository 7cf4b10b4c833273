"""Geometry of two logs' sections: plumb clearance, gap, groove width and the setting for a cover.

At one station each log is a circle near its crown. The lower log's crown is at height ``h_l``, the
upper log's at ``h_u`` (its lowest point), their axes stand at ``z_l`` and ``z_u`` across the wall.
All functions broadcast over arrays; lengths in mm, y up, z out of the wall.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

ITERATIONS = 12  # Newton steps at most; five reach rounding error from the quadratic start
BLOCK = 8192  # sections taken at a time, so that what is made of them stays near the processor
SETTLED_MM = 1e-3  # a step after which none is needed: its square over a radius is left


class _Fixed(NamedTuple):
    """What the clearance at any z needs: the axes' rise, and of each log its radius squared and the
    least square of a leg."""

    rise: np.ndarray
    lower: tuple[np.ndarray, np.ndarray]
    upper: tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True, eq=False, slots=True)
class Sections:
    """Both logs' circles at stations; arrays of one common shape, mm."""

    h_l: np.ndarray
    z_l: np.ndarray
    r_l: np.ndarray
    h_u: np.ndarray
    z_u: np.ndarray
    r_u: np.ndarray

    def in_single(self) -> Sections:
        """The same in single precision: to a ten-thousandth of a mm, in half of the time."""
        return Sections(*(getattr(self, k).astype(np.float32) for k in Sections.__slots__))

    def gap(self) -> np.ndarray:
        """Least plumb clearance, mm (negative where the circles overlap).

        Notes
        -----
        For circles with axis height difference Y and sideways offset D the clearance is least where
        both surfaces have the same slope: ``Y - sqrt((r_l + r_u)^2 - D^2)``.

        Source: derived in docs/model.md ("Closed forms").
        """
        rise = (self.h_u + self.r_u) - (self.h_l - self.r_l)
        reach = self.r_l + self.r_u
        return rise - np.sqrt(np.maximum(reach**2 - (self.z_u - self.z_l) ** 2, 0.0))

    def clearance(self, z: np.ndarray) -> np.ndarray:
        """Plumb clearance at z, mm."""
        return self._clearance_and_slope(z)[0]

    def slope(self, z: np.ndarray) -> np.ndarray:
        """Change of the clearance with z, dimensionless."""
        return self._clearance_and_slope(z)[1]

    def _clearance_and_slope(
        self, z: np.ndarray, fixed: _Fixed | None = None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Both at z; ``fixed`` is `_fixed`, for whoever asks at many z."""
        rise, lower, upper = fixed or self._fixed()
        d_l, d_u = z - self.z_l, z - self.z_u
        leg_l, leg_u = _leg(*lower, d_l), _leg(*upper, d_u)
        clearance = rise - leg_l
        clearance -= leg_u
        d_l /= leg_l
        d_u /= leg_u
        return clearance, np.add(d_l, d_u, out=d_l)

    def _fixed(self) -> _Fixed:
        rise = (self.h_u + self.r_u) - (self.h_l - self.r_l)
        return _Fixed(rise, _squares_of(self.r_l), _squares_of(self.r_u))

    def narrowest_z(self) -> np.ndarray:
        """Where across the wall the clearance is least, mm."""
        return self.z_l + (self.z_u - self.z_l) * self.r_l / (self.r_l + self.r_u)

    def setting_needed(self, cover_mm: float | np.ndarray) -> np.ndarray:
        """Smallest setting whose groove is ``cover_mm`` wide, mm; the gap where that is 0.

        Notes
        -----
        The groove ends where the clearance equals the setting, so its two edges z and z + cover
        have equal clearance; that z is found by Newton steps. For axes one above the other it is
        ``gap + sum of the sagittas r - sqrt(r^2 - cover^2/4)``.
        """
        return _in_blocks(lambda sections, cover: sections._groove_edge(cover)[1], self, cover_mm)

    def cover_per_setting(self, cover_mm: float | np.ndarray) -> np.ndarray:
        """Change of a groove ``cover_mm`` wide with the setting, dW/ds: mm of cover for each mm.

        Notes
        -----
        Each edge moves by the setting's change over the clearance's slope there. For axes one above
        the other it is ``2 / (tan a_l + tan a_u)``, ``sin a = cover / (2 r)``; without bound as the
        cover nears 0.

        Source: derived in docs/model.md ("Closed forms").
        """
        z, _ = self._groove_edge(cover_mm)
        return 1 / self.slope(z + cover_mm) - 1 / self.slope(z)

    def needed_change(self, cover_mm: float | np.ndarray) -> dict[str, np.ndarray]:
        """Change of the setting needed for a cover with each of the six fields, by its name.

        Notes
        -----
        At both edges 1 and 2 the clearance v is the setting s, and the edges' place z is free:
        ``ds = dv_1 + v_1' dz = dv_2 + v_2' dz``, so that ``ds = (v_2' dv_1 - v_1' dv_2) / (v_2' -
        v_1')``. At no cover both edges are the closest place and count alike.
        """
        z, _ = self._groove_edge(cover_mm)
        first, second = self.slope(z), self.slope(z + cover_mm)
        apart = second - first
        share = np.where(apart > 1e-9, second / np.maximum(apart, 1e-9), 0.5)
        at_first, at_second = self._clearance_change(z), self._clearance_change(z + cover_mm)
        return {k: share * at_first[k] + (1 - share) * at_second[k] for k in at_first}

    def _groove_edge(self, cover_mm: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """z of the inner edge of a groove of a width, and the clearance there and that far on."""
        z, fixed = self.narrowest_z() - cover_mm / 2, self._fixed()
        for _ in range(ITERATIONS):
            first, falls = self._clearance_and_slope(z, fixed)
            second, rises = self._clearance_and_slope(z + cover_mm, fixed)
            step = (second - first) / np.maximum(rises - falls, 1e-6)
            z = z - step
            if np.max(np.abs(step), initial=0.0) < SETTLED_MM:
                break
        # After so small a step it is straight from where both were last computed.
        return z, 0.5 * (first + second - (falls + rises) * step)

    def _clearance_change(self, z: np.ndarray) -> dict[str, np.ndarray]:
        """Change of the clearance at z with each field."""
        d_l, d_u = z - self.z_l, z - self.z_u
        _, lower, upper = self._fixed()
        leg_l, leg_u = _leg(*lower, d_l), _leg(*upper, d_u)
        one = np.ones_like(leg_l)
        return {
            "h_l": -one, "z_l": -d_l / leg_l, "r_l": 1 - self.r_l / leg_l,
            "h_u": one, "z_u": -d_u / leg_u, "r_u": 1 - self.r_u / leg_u,
        }  # fmt: skip

    def groove_width(self, setting_mm: float | np.ndarray) -> np.ndarray:
        """Width from the inside to the outside scribe line at a setting, mm; 0 where the gap is wider."""
        return _in_blocks(Sections._groove_width, self, setting_mm)

    def _groove_width(self, setting_mm: float | np.ndarray) -> np.ndarray:
        over = np.maximum(setting_mm - self.gap(), 0.0)
        middle, fixed = self.narrowest_z(), self._fixed()
        # Both logs' sagittas, h^2 / 2 r + h^4 / 8 r^3, make up what the setting is over the gap.
        first = 0.5 * (1 / self.r_l + 1 / self.r_u)
        second = 0.125 * (1 / self.r_l**3 + 1 / self.r_u**3)
        half = np.sqrt(2 * over / (first + np.sqrt(first * first + 4 * second * over)))
        edges = []
        for side, farther in ((-1.0, np.minimum), (1.0, np.maximum)):
            z = middle + side * half
            for _ in range(ITERATIONS):
                clearance, slope = self._clearance_and_slope(z, fixed)
                before, z = z, z - (clearance - setting_mm) / farther(slope, side * 1e-6)
                z = farther(z, middle)
                if np.max(np.abs(z - before), initial=0.0) < SETTLED_MM:
                    break
            edges.append(z)
        return np.where(over > 0, edges[1] - edges[0], 0.0)


def _in_blocks(
    of: Callable[[Sections, float | np.ndarray], np.ndarray],
    sections: Sections,
    given: float | np.ndarray,
) -> np.ndarray:
    """What ``of`` makes of sections and what is given for each or all, some of their rows at a time."""
    given = np.asarray(given, sections.h_l.dtype)  # sections in single precision are kept so
    shape = np.broadcast_shapes(sections.h_l.shape, given.shape)
    size = int(np.prod(shape))
    if len(shape) < 2 or size <= BLOCK or sections.h_l.shape != shape:
        return of(sections, given)
    of_each = given.ndim == len(shape)
    many = max(1, BLOCK * shape[0] // size)
    out = np.empty(shape)
    for at in range(0, shape[0], many):
        here = slice(at, at + many)
        part = Sections(*(getattr(sections, name)[here] for name in Sections.__slots__))
        out[here] = of(part, given[here] if of_each else given)
    return out


def _squares_of(r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A radius squared, and the least square of a leg."""
    # Beyond 0.98 r a circle stands no more for a log; the floor only keeps Newton steps finite.
    return r**2, (0.2 * r) ** 2


def _leg(r_squared: np.ndarray, least_squared: np.ndarray, d: np.ndarray) -> np.ndarray:
    leg = d * d
    leg = np.subtract(r_squared, leg, out=leg)
    return np.sqrt(np.maximum(leg, least_squared, out=leg), out=leg)
