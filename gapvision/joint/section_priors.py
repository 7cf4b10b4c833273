"""What is believed of the logs' sections before a photograph is seen, as rows of the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.joint.model import SECTION_NAMES, Joint
from gapvision.scene.priors import Beliefs


@dataclass(frozen=True, eq=False, slots=True)
class PriorRows:
    """Rows (n, coefficients) of unit variance over all of the sections' coefficients, which lie as
    `SECTION_NAMES` do: residual = factor @ coefficients - target. ``normal`` is factor.T @ factor.
    """

    factor: np.ndarray
    target: np.ndarray
    normal: np.ndarray


def section_prior_rows(joint: Joint, beliefs: Beliefs) -> PriorRows:
    """What is believed of the sections, about where the fit stands."""
    at, end = {}, 0
    for name in SECTION_NAMES:
        at[name] = slice(end, end := end + len(joint.coefficients[name]))
    factors, targets = [], []
    for parts, target in _rows(joint, beliefs):
        row = np.zeros((len(target), end))
        for name, factor in parts.items():
            row[:, at[name]] = factor
        factors.append(row)
        targets.append(target)
    factor = np.concatenate(factors)
    return PriorRows(factor, np.concatenate(targets), factor.T @ factor)


def _rows(joint: Joint, beliefs: Beliefs) -> list[tuple[dict[str, np.ndarray], np.ndarray]]:
    """Factors by name, and the target (n,) of each prior."""
    priors = beliefs.priors
    rows: list[tuple[dict[str, np.ndarray], np.ndarray]] = []
    n_h = joint.spline_h.size
    bend = np.diff(np.eye(n_h), 2, axis=0)
    level = np.eye(n_h) / 500.0  # keeps the matrix regular; far wider than any log
    for name in ("h_l", "h_u"):
        rows.append(({name: bend / priors.bend_mm}, np.zeros(n_h - 2)))
        rows.append(({name: level}, level @ joint.coefficients[name]))
    at = joint.spline_s.centres()
    for tag, log in (("l", "lower"), ("u", "upper")):
        half = beliefs.half[log]
        if half is not None:
            mean = half(at)
            cov = _smooth(at, priors.radius_mm, 0.0, priors.radius_wave_mm, priors.wave_mm)
        else:
            # In the logarithm, straight about where the fit stands: a radius a quarter of the usual
            # one is as unlikely as four times that.
            now = float(joint.coefficients["r_" + tag].mean())
            mean = np.full(len(at), now * (1 - np.log(now / priors.unknown_radius_mm)))
            u = now * priors.u_unknown_radius_mm / priors.unknown_radius_mm
            cov = _smooth(at, u, 0.008, priors.radius_wave_mm, priors.wave_mm)
        f = whitener(cov)
        rows.append(({"r_" + tag: f}, f @ mean))
    f = whitener(_smooth(at, 300.0, 1e-5, priors.bow_mm, 500.0))  # its mean direction is the wall's
    rows.append(({"z_l": f}, f @ np.full(len(at), -180.0)))
    f = whitener(_smooth(at, priors.offset_mm, priors.offset_slope, priors.bow_mm, 500.0))
    rows.append(({"z_u": f, "z_l": -f}, np.zeros(len(at))))
    return rows


def _smooth(
    at: np.ndarray, constant: float, slope: float, wave: float, length: float
) -> np.ndarray:
    """Covariance of a function known as a constant, a slope about the middle and smooth waves."""
    d = at[:, None] - at[None]
    x = at - at.mean()
    return (
        constant**2
        + slope**2 * np.outer(x, x)
        + wave**2 * np.exp(-0.5 * (d / length) ** 2)
        + 0.05**2 * np.eye(len(at))
    )


def whitener(covariance: np.ndarray) -> np.ndarray:
    """A factor that makes values of this covariance independent and of unit variance."""
    return np.linalg.inv(np.linalg.cholesky(covariance))
