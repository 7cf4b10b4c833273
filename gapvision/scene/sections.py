"""Geometry of two logs' sections: plumb clearance, gap, groove width and the setting for a cover.

At one station each log is a circle near its crown. The lower log's crown is at height ``h_l``, the
upper log's at ``h_u`` (its lowest point), their axes stand at ``z_l`` and ``z_u`` across the wall.
All functions broadcast over arrays; lengths in mm, y up, z out of the wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ITERATIONS = 12  # Newton steps at most; five reach rounding error from the quadratic start
# Of each log: its radii squared, and the least squares of legs.
Squares = tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]
SETTLED_MM = 1e-4  # a step after which none is needed: its square over a radius is left


@dataclass(frozen=True, eq=False, slots=True)
class Sections:
    """Both logs' circles at stations; arrays of one common shape, mm."""

    h_l: np.ndarray
    z_l: np.ndarray
    r_l: np.ndarray
    h_u: np.ndarray
    z_u: np.ndarray
    r_u: np.ndarray

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
        self, z: np.ndarray, squares: Squares | None = None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Both at z; ``squares`` are `_squares`, for whoever asks at many z."""
        lower, upper = squares or self._squares()
        d_l, d_u = z - self.z_l, z - self.z_u
        leg_l, leg_u = _leg(*lower, d_l), _leg(*upper, d_u)
        clearance = self.h_u - self.h_l + (self.r_l - leg_l) + (self.r_u - leg_u)
        return clearance, d_l / leg_l + d_u / leg_u

    def _squares(self) -> Squares:
        return _squares_of(self.r_l), _squares_of(self.r_u)

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
        z = self._groove_edge(cover_mm)
        return 0.5 * (self.clearance(z) + self.clearance(z + cover_mm))

    def cover_per_setting(self, cover_mm: float | np.ndarray) -> np.ndarray:
        """Change of a groove ``cover_mm`` wide with the setting, dW/ds: mm of cover for each mm.

        Notes
        -----
        Each edge moves by the setting's change over the clearance's slope there. For axes one above
        the other it is ``2 / (tan a_l + tan a_u)``, ``sin a = cover / (2 r)``; without bound as the
        cover nears 0.

        Source: derived in docs/model.md ("Closed forms").
        """
        z = self._groove_edge(cover_mm)
        return 1 / self.slope(z + cover_mm) - 1 / self.slope(z)

    def needed_change(self, cover_mm: float | np.ndarray) -> dict[str, np.ndarray]:
        """Change of the setting needed for a cover with each of the six fields, by its name.

        Notes
        -----
        At both edges 1 and 2 the clearance v is the setting s, and the edges' place z is free:
        ``ds = dv_1 + v_1' dz = dv_2 + v_2' dz``, so that ``ds = (v_2' dv_1 - v_1' dv_2) / (v_2' -
        v_1')``. At no cover both edges are the closest place and count alike.
        """
        z = self._groove_edge(cover_mm)
        first, second = self.slope(z), self.slope(z + cover_mm)
        apart = second - first
        share = np.where(apart > 1e-9, second / np.maximum(apart, 1e-9), 0.5)
        at_first, at_second = self._clearance_change(z), self._clearance_change(z + cover_mm)
        return {k: share * at_first[k] + (1 - share) * at_second[k] for k in at_first}

    def _groove_edge(self, cover_mm: float | np.ndarray) -> np.ndarray:
        """z of the inner edge of a groove of a width: there and that far on the clearance is alike."""
        z, squares = self.narrowest_z() - cover_mm / 2, self._squares()
        for _ in range(ITERATIONS):
            first, falls = self._clearance_and_slope(z, squares)
            second, rises = self._clearance_and_slope(z + cover_mm, squares)
            step = (second - first) / np.maximum(rises - falls, 1e-6)
            z = z - step
            if np.max(np.abs(step), initial=0.0) < SETTLED_MM:
                break
        return z

    def _clearance_change(self, z: np.ndarray) -> dict[str, np.ndarray]:
        """Change of the clearance at z with each field."""
        d_l, d_u = z - self.z_l, z - self.z_u
        lower, upper = self._squares()
        leg_l, leg_u = _leg(*lower, d_l), _leg(*upper, d_u)
        one = np.ones_like(leg_l)
        return {
            "h_l": -one, "z_l": -d_l / leg_l, "r_l": 1 - self.r_l / leg_l,
            "h_u": one, "z_u": -d_u / leg_u, "r_u": 1 - self.r_u / leg_u,
        }  # fmt: skip

    def groove_width(self, setting_mm: float | np.ndarray) -> np.ndarray:
        """Width from the inside to the outside scribe line at a setting, mm; 0 where the gap is wider."""
        over = np.maximum(setting_mm - self.gap(), 0.0)
        half = np.sqrt(2 * over / (1 / self.r_l + 1 / self.r_u))
        middle, squares = self.narrowest_z(), self._squares()
        edges = []
        for side in (-1.0, 1.0):
            z = middle + side * half
            for _ in range(ITERATIONS):
                clearance, slope = self._clearance_and_slope(z, squares)
                steep = np.where(np.abs(slope) < 1e-6, side * 1e-6, slope)
                before, z = z, z - (clearance - setting_mm) / steep
                z = middle + side * np.maximum(side * (z - middle), 0.0)
                if np.max(np.abs(z - before), initial=0.0) < SETTLED_MM:
                    break
            edges.append(z)
        return np.where(over > 0, edges[1] - edges[0], 0.0)


def _squares_of(r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A radius squared, and the least square of a leg."""
    # Beyond 0.98 r a circle stands no more for a log; the floor only keeps Newton steps finite.
    return r**2, (0.2 * r) ** 2


def _leg(r_squared: np.ndarray, least_squared: np.ndarray, d: np.ndarray) -> np.ndarray:
    return np.sqrt(np.maximum(r_squared - d**2, least_squared))
