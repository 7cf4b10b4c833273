"""Pixel values as light: the display's curve undone, and eight bits for detectors that take no more."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np


def linear(values: np.ndarray) -> np.ndarray:
    """Return light, linear from 0 to 1, from display-encoded values.

    Parameters
    ----------
    values : array, any shape, uint8 or uint16
        Values with the sRGB curve, which Display P3 of phones shares.

    Returns
    -------
    array, same shape, float32
        0 (black) to 1 (largest value of the type).

    Raises
    ------
    ValueError
        If ``values`` is of another type.

    Notes
    -----
    Source: IEC 61966-2-1:1999, 5.2.

    Examples
    --------
    >>> linear(np.array([0, 255], np.uint8)).tolist()
    [0.0, 1.0]
    """
    if values.dtype not in (np.uint8, np.uint16):
        raise ValueError(f"values must be uint8 or uint16, not {values.dtype}")
    if values.size == 0:
        return np.empty(values.shape, np.float32)
    flat = np.ascontiguousarray(values).reshape(1, -1)
    return cv2.LUT(flat, _linear_table(np.iinfo(values.dtype).max)).reshape(values.shape)


def to_8bit(bgr: np.ndarray) -> np.ndarray:
    """Return the picture in 8 bits, for detectors that take nothing else.

    Parameters
    ----------
    bgr : array, shape (h, w, 3) or (h, w), uint8 or uint16

    Returns
    -------
    array, same shape, uint8
        The picture itself if it has 8 bits, else rounded to the nearest 1/255.

    Raises
    ------
    ValueError
        If ``bgr`` is of another type.
    """
    if bgr.dtype == np.uint8:
        return bgr
    if bgr.dtype != np.uint16:
        raise ValueError(f"bgr must be uint8 or uint16, not {bgr.dtype}")
    return cv2.convertScaleAbs(bgr, alpha=1 / 257)  # 65535 = 257 * 255


def undo_srgb(encoded: np.ndarray | float) -> np.ndarray:
    """Light, 0 to 1, from sRGB values, 0 to 1 (IEC 61966-2-1)."""
    encoded = np.asarray(encoded, float)
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


@cache
def _linear_table(white: int) -> np.ndarray:
    return undo_srgb(np.arange(white + 1) / white).astype(np.float32)
