"""The prior of a focal length by what the camera wrote of it."""

from __future__ import annotations

import math

# Exif's 35 mm film frame is 36 mm wide. Where the tag is absent, 27 mm is the usual main camera
# of a phone, and 12 % covers those of 22-33 mm.
FILM_WIDTH_MM = 36.0
ASSUMED_FOCAL35_MM = 27.0
ASSUMED_RELATIVE_U = 0.12
# No camera one would point at a log is outside this; some writers scale the tag with the picture.
PLAUSIBLE_FOCAL35_MM = (8.0, 300.0)

# Relative standard uncertainties of the tag. Its definition: by the frame's diagonal (43.27 mm)
# gives 4 % more pixels than by its width, of which half. Focusing from infinity to 1 m: 0.4-0.7 %.
U_ROUNDING_MM = 0.5 / math.sqrt(3)
U_DEFINITION = 0.02
U_FOCUSING = 0.005


def focal_prior(
    long_side_px: int, focal35_mm: float | None, unsure_zoom: float = 1.0
) -> tuple[float, float, str]:
    """Return the prior of the focal length, its standard uncertainty, and where it comes from.

    Parameters
    ----------
    long_side_px : int
        Longer side of the picture, px.
    focal35_mm : float or None
        35 mm equivalent focal length from the file, mm; None or implausible: assumed.
    unsure_zoom : float
        Digital zoom ratio of which it is unknown whether ``focal35_mm`` already holds it.

    Returns
    -------
    focal_px, u_focal_px : float
        Focal length and its standard uncertainty, px.
    source : str
        ``"exif"`` or ``"assumed"``.

    Notes
    -----
    ``focal_px = focal35_mm / 36 mm * long_side_px``. The relative uncertainty joins rounding to
    whole mm (a rectangle of +-0.5 mm), the tag's two definitions, focusing, and half the range
    that an unsure zoom leaves open. A picture cropped after it was taken breaks the formula.

    Source: Exif 2.32, tag FocalLengthIn35mmFilm; GUM (JCGM 100), 4.3.7 for the rectangle.

    Examples
    --------
    >>> focal_prior(4032, 26.0)[0]
    2912.0
    """
    low, high = PLAUSIBLE_FOCAL35_MM
    if focal35_mm is None or not low <= focal35_mm <= high:
        focal_px = ASSUMED_FOCAL35_MM / FILM_WIDTH_MM * long_side_px
        return focal_px, ASSUMED_RELATIVE_U * focal_px, "assumed"
    focal_px = focal35_mm / FILM_WIDTH_MM * long_side_px
    relative_u = math.hypot(
        U_ROUNDING_MM / focal35_mm, U_DEFINITION, U_FOCUSING, (unsure_zoom - 1) / 2
    )
    return focal_px, relative_u * focal_px, "exif"


def zoom_left_open(digital_zoom: float | None, make: str) -> float:
    """Digital zoom that the 35 mm equivalent may or may not hold; on iPhones it does."""
    return 1.0 if digital_zoom is None or make == "Apple" else max(1.0, digital_zoom)
