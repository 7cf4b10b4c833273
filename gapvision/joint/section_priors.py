"""What is believed of the logs' sections before a photograph is seen, as rows of the fit."""

from __future__ import annotations

import numpy as np

from gapvision.joint.model import Joint
from gapvision.scene.priors import Beliefs

# Rows (names, target, factor) with residual = factor @ coefficients - target.
PriorRows = list[tuple[tuple[str, ...], np.ndarray, np.ndarray]]


def section_prior_rows(joint: Joint, beliefs: Beliefs) -> PriorRows:
    """What is believed of the sections, about where the fit stands."""
    priors = beliefs.priors
    rows: PriorRows = []
    n_h = joint.spline_h.size
    bend = np.zeros((n_h - 2, n_h))
    for k in range(n_h - 2):
        bend[k, k : k + 3] = (1, -2, 1)
    level = np.eye(n_h) / 500.0  # keeps the matrix regular; far wider than any log
    for name in ("h_l", "h_u"):
        rows.append(((name,), np.zeros(n_h - 2), bend / priors.bend_mm))
        rows.append(((name,), level @ joint.coefficients[name], level))
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
        rows.append((("r_" + tag,), f @ mean, f))
    f = whitener(_smooth(at, 300.0, 1e-5, priors.bow_mm, 500.0))  # its mean direction is the wall's
    rows.append((("z_l",), f @ np.full(len(at), -180.0), f))
    f = whitener(_smooth(at, priors.offset_mm, priors.offset_slope, priors.bow_mm, 500.0))
    rows.append((("z_u", "z_l"), np.zeros(len(at)), np.concatenate([f, -f], 1)))
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
