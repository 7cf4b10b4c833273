"""Uniform cubic B-splines along the log: four weights a station, so that the fit stays linear in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Spline:
    """Knots ``step_mm`` apart from ``from_mm`` on; ``size`` coefficients."""

    from_mm: float
    step_mm: float
    size: int

    @staticmethod
    def over(from_mm: float, to_mm: float, step_mm: float) -> Spline:
        """The spline that covers a stretch."""
        intervals = max(1, int(np.ceil((to_mm - from_mm) / step_mm)))
        return Spline(from_mm, step_mm, intervals + 3)

    def weights(self, station_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Index of the first coefficient, shape (n,), and the four weights, shape (n, 4).

        Beyond its ends the spline goes on as its end values.
        """
        t = (np.asarray(station_mm, float) - self.from_mm) / self.step_mm
        t = np.clip(t, 0.0, self.size - 3 - 1e-9)
        first = t.astype(int)
        u = t - first
        v, squared = 1 - u, u * u
        cubed = squared * u
        w = np.empty((*u.shape, 4))  # products, not powers, which take most of a fit's time
        w[..., 0] = v * v * v
        w[..., 1] = 3 * cubed - 6 * squared + 4
        w[..., 2] = 3 * (squared + u - cubed) + 1
        w[..., 3] = cubed
        return first, w / 6.0

    def matrix(self, station_mm: np.ndarray) -> np.ndarray:
        """Design matrix, shape (n, size)."""
        first, w = self.weights(station_mm)
        out = np.zeros((len(first), self.size))
        for k in range(4):
            out[np.arange(len(first)), first + k] = w[:, k]
        return out

    def centres(self) -> np.ndarray:
        """Station over which each coefficient's hump stands, shape (size,), mm."""
        return self.from_mm + self.step_mm * (np.arange(self.size) - 1.0)
