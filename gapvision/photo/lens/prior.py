"""A lens's prior: from Exif, from the user's calibration of it, or from a file that was named."""

from __future__ import annotations

import math
from pathlib import Path

from gapvision.photo.facts import PhotoFacts
from gapvision.photo.lens.files import match_camera, read_camera
from gapvision.scene.camera import Lens
from gapvision.scene.priors import Priors

LEAST_RELATIVE_U = 0.005  # focusing from a sheet at 0.3 m to a log at 1.5 m moves the focal length
LEAST_U_K1 = 0.001  # and the distortion a little: 2 px in the corner of a 26 mm picture; judgement
# A thin lens focused at distance d is longer by f / d. Phones' main lenses have f of 5 to 7 mm, and
# some hold the picture's scale while focusing, so that half of the change is its uncertainty.
REAL_FOCAL_MM = 6.0
LOG_DISTANCE_MM = 1500.0


def choose_lens(photo: PhotoFacts, camera: Path | None = None) -> tuple[Lens, str]:
    """The prior of a photograph's lens, and in words where it comes from.

    Parameters
    ----------
    photo : PhotoFacts
    camera : Path, optional
        A camera file that overrides what the camera folder holds.

    Returns
    -------
    Lens
    str
        ``file NAME``, ``calibration NAME``, ``exif`` or ``assumed``; after a colon why a calibration of
        the same camera is not used.

    Raises
    ------
    MeasurementError
        Where the named file is missing or lacks a number.
    """
    if camera is not None:
        return lens_of(photo, camera), f"file {camera.name}"
    found, why_not = match_camera(photo)
    if found is not None:
        return lens_of(photo, found.path), f"calibration {found.name}"
    return lens_of(photo), photo.focal_source + (f": {why_not}" if why_not else "")


def lens_of(photo: PhotoFacts, camera: Path | None = None) -> Lens:
    """The prior of a photograph's lens, by a camera file or by the photograph alone.

    Parameters
    ----------
    photo : PhotoFacts
    camera : Path, optional
        A TOML file with ``focal_px``, ``u_focal_px``, ``k1``, ``u_k1`` (OpenCV's sign, coordinates
        normalised by the focal length) and ``width_px``, the long side of the pictures that it was
        made from; it is scaled to the photograph's size. ``distance_mm`` tells how far the sheet
        was, and so how much focusing on the log may change.

    Raises
    ------
    MeasurementError
        Where the file is missing or lacks a number.
    """
    if camera is None:
        return Lens(photo.focal_px, photo.u_focal_px, 0.0, Priors().k1)
    known = read_camera(camera)
    scale = max(photo.size) / known.width_px
    refocus = 0.0
    if known.distance_mm is not None:
        refocus = REAL_FOCAL_MM * abs(1 / known.distance_mm - 1 / LOG_DISTANCE_MM) / 2
    relative = max(math.hypot(known.u_focal_px / known.focal_px, refocus), LEAST_RELATIVE_U)
    focal = known.focal_px * scale
    return Lens(focal, focal * relative, known.k1, max(known.u_k1, LEAST_U_K1))
