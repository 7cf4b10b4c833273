"""Whether two results agree within their uncertainties, and what several differences have in common."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

K = 2.0  # coverage factor of both expanded uncertainties, ISO 13528:2015, 9.7 (clause from memory)
CHANCE = 0.05


@dataclass(frozen=True, slots=True)
class Bias:
    """What n differences have in common, mm, and whether they scatter as their uncertainties say.

    ``chance`` is the probability of so much scatter where nothing is wrong.
    """

    value_mm: float
    u_mm: float
    chi_square: float
    chance: float

    @property
    def significant(self) -> bool:
        """Whether it is more than its expanded uncertainty."""
        return abs(self.value_mm) > K * self.u_mm

    @property
    def consistent(self) -> bool:
        return self.chance >= CHANCE


def e_number(difference: float, u_first: float, u_second: float) -> float:
    """Difference of two results over its expanded uncertainty: up to 1, either way, they agree.

    Parameters
    ----------
    difference, u_first, u_second : float
        Of one unit; the latter are the two *standard* uncertainties.

    Notes
    -----
    ``E_n = (x - X) / sqrt(U_x^2 + U_X^2)``, both U with k = 2.

    Source: ISO 13528:2015, 9.7, and ISO/IEC 17043:2010, B.3.1.3, as two proficiency-test providers
    restate them; clauses from memory.

    Examples
    --------
    >>> round(e_number(42.0 - 41.0, 1.5 / 2, 0.5 / 2), 4)
    0.6325
    """
    return difference / (K * float(np.hypot(u_first, u_second)))


def common_bias(difference: np.ndarray, u_own: np.ndarray, u_alike: np.ndarray) -> Bias:
    """Weighted mean of differences (n,), n at least 2.

    Parameters
    ----------
    difference, u_own, u_alike : arrays, shape (n,), mm
        ``u_own`` is the standard uncertainty of each that no other shares (the readings'),
        ``u_alike`` that of the other side (the photographs'), which err alike along the log.

    Notes
    -----
    Weights are ``w ~ 1 / (u_own^2 + u_alike^2)``. How far the errors of ``u_alike`` go together is
    not known, so that each question is asked of the worse case: the mean's variance takes them as one,
    ``sum (w u_own)^2 + (sum w u_alike)^2``, and is not divided by n; the scatter, chi-square with
    n - 1 degrees of freedom, takes them as independent, so that it speaks of what even that
    does not explain.

    Source: weighted mean and its chi-square, as in any text on the adjustment of observations; the
    variance by JCGM 100:2008, 5.2.2, with correlation coefficients of 1.
    """
    from scipy.stats import chi2

    variance = u_own**2 + u_alike**2
    w = 1 / variance
    w = w / w.sum()
    mean = float(w @ difference)
    u = float(np.sqrt(np.sum((w * u_own) ** 2) + (w @ u_alike) ** 2))
    scatter = float(np.sum((difference - mean) ** 2 / variance))
    return Bias(mean, u, scatter, float(chi2.sf(scatter, len(difference) - 1)))
