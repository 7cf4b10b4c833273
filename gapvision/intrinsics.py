"""A lens's prior: from Exif, or from a calibration file that was named on the command line."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.fit import Lens, Priors
from gapvision.photo import Photo

LEAST_RELATIVE_U = 0.005  # focusing from a sheet at 0.3 m to a log at 1.5 m moves the focal length
KEYS = ("focal_px", "u_focal_px", "k1", "u_k1", "width_px")


def lens_of(photo: Photo, camera: Path | None = None) -> Lens:
    """The prior of a photograph's lens.

    Parameters
    ----------
    photo : Photo
    camera : Path, optional
        A TOML file with ``focal_px``, ``u_focal_px``, ``k1``, ``u_k1`` (OpenCV's sign, coordinates
        normalised by the focal length) and ``width_px``, the long side of the pictures that it was
        made from; it is scaled to the photograph's size.

    Raises
    ------
    MeasurementError
        Where the file is missing or lacks a number.
    """
    if camera is None:
        return Lens(photo.focal_px, photo.u_focal_px, 0.0, Priors().k1)
    try:
        values = tomllib.loads(camera.read_text(encoding="utf-8"))
        focal, u_focal, k1, u_k1, width = (float(values[k]) for k in KEYS)
    except OSError:
        raise MeasurementError(
            "no-camera-file",
            f"The camera file {camera} could not be read; name a file that exists, or leave "
            "--camera out to use the focal length that the photograph states.",
        ) from None
    except (ValueError, KeyError, TypeError) as error:
        raise MeasurementError(
            "bad-camera-file",
            f"The camera file {camera} lacks a usable {', '.join(KEYS)} ({error}); correct it, or "
            "leave --camera out.",
        ) from None
    finite = all(math.isfinite(v) for v in (focal, u_focal, k1, u_k1, width))
    if not (finite and focal > 0 and u_focal > 0 and width > 0 and u_k1 > 0):
        raise MeasurementError(
            "bad-camera-file",
            f"The camera file {camera} has a focal length, width or uncertainty that is not above zero "
            "or not finite; correct it, or leave --camera out.",
        )
    scale = max(photo.bgr.shape[:2]) / width
    relative = max(u_focal / focal, LEAST_RELATIVE_U)
    return Lens(focal * scale, focal * scale * relative, k1, u_k1)
