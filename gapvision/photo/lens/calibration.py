"""A calibration as a value: a lens as the sheet shows it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LEAST_ASPECT = 0.001  # less than this no rule can read on 200 mm
ASPECT_SD = 3.0


@dataclass(frozen=True, slots=True)
class Known:
    """A number, and its standard uncertainty."""

    value: float
    u: float


@dataclass(frozen=True, eq=False, slots=True)
class PhotoFit:
    """How one photograph fits: residuals (n, 2) px, and the sheet's tilt against the picture, rad."""

    file: str
    corner_px: np.ndarray
    residual_px: np.ndarray
    tilt_rad: float

    @property
    def rms_px(self) -> float:
        """Root mean square of the residuals per axis."""
        return float(np.sqrt(np.mean(self.residual_px**2)))


@dataclass(frozen=True, eq=False, slots=True)
class Calibration:
    """A lens as the sheet shows it.

    Attributes
    ----------
    size : (int, int)
        Width and height of the pictures, px.
    model : str
        The key of `fit.MODELS` that cross-validation chose.
    values : dict of str to Known
        ``focal_px``, ``k1``, ``k2``, ``cx_px``, ``cy_px`` as far as the model has them.
    focal_px, k1 : Known
        What `measure` uses, whose model of a lens is ``k1`` with the principal point in the middle.
    principal_px : (Known, Known)
        The principal point where it is left free, whether the model has it or not.
    aspect : Known
        Scale of the print across the cards over that along them.
    misfit_px : dict of str to float
        By model, the rms of corners in photographs that were left out.
    photos : tuple of PhotoFit
    poor : tuple of (str, str)
        Files that were left out and why.
    distance_mm : float
        Median distance of the sheet.
    """

    size: tuple[int, int]
    model: str
    values: dict[str, Known]
    focal_px: Known
    k1: Known
    principal_px: tuple[Known, Known]
    aspect: Known
    misfit_px: dict[str, float]
    photos: tuple[PhotoFit, ...]
    poor: tuple[tuple[str, str], ...]
    distance_mm: float

    @property
    def anisotropic(self) -> bool:
        """Whether the print's two directions have different scales."""
        return is_uneven(self.aspect)


def named(file: str, why: str) -> str:
    """A fault of a photograph with its name once; some reasons bring it along."""
    return why if file in why else f"{file}: {why}"


def is_uneven(aspect: Known) -> bool:
    """Whether the scales along and across the print differ by more than chance and reading tell."""
    return abs(aspect.value - 1) > max(LEAST_ASPECT, ASPECT_SD * aspect.u)
