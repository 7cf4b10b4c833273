"""The user's own camera folder: one small TOML file a lens, found again by what Exif says."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gapvision.errors import MeasurementError, NotCalibrated
from gapvision.files import read_regular
from gapvision.inputs.user_folder import config_folder
from gapvision.photo.facts import CameraKey, PhotoFacts

FORMAT, VERSION = "gapvision-camera", 1

NEEDED = ("focal_px", "u_focal_px", "k1", "u_k1", "width_px")
SAME_SHAPE = 0.01  # of the sides' ratio: 4032 x 3024 and 4000 x 3000 are alike, 16 : 9 is not
NO_ZOOM = 1.001
MOST_BYTES = 1_000_000  # of a camera file, which has a dozen lines

_INSTEAD: ContextVar[Path | None] = ContextVar("instead", default=None)


@dataclass(frozen=True, slots=True)
class CameraFile:
    """A camera file's numbers; ``key`` and ``distance_mm`` are None where it does not tell them."""

    name: str
    path: Path
    focal_px: float
    u_focal_px: float
    k1: float
    u_k1: float
    width_px: float
    key: CameraKey | None
    distance_mm: float | None


def camera_folder() -> Path:
    """The folder of the camera files, which need not be there yet."""
    return _INSTEAD.get() or config_folder() / "cameras"


@contextmanager
def cameras_in(folder: Path) -> Iterator[None]:
    """Within the block, for this thread, the camera files are another folder's: another machine's."""
    before = _INSTEAD.set(folder)
    try:
        yield
    finally:
        _INSTEAD.reset(before)


def read_camera(path: Path) -> CameraFile:
    """A camera file's numbers.

    Raises
    ------
    MeasurementError
        ``no-camera-file`` or ``bad-camera-file``.
    """
    try:
        values = tomllib.loads(read_regular(path, MOST_BYTES).decode("utf-8"))
        focal, u_focal, k1, u_k1, width = (float(values[k]) for k in NEEDED)
        distance = float(values["distance_mm"]) if "distance_mm" in values else None
        key = _key(values)
    except OSError:
        raise MeasurementError(
            "no-camera-file",
            f"The camera file {path} could not be read; name a file that exists, or leave "
            "--camera out to use the focal length that the photograph states.",
        ) from None
    except (ArithmeticError, KeyError, RecursionError, TypeError, ValueError) as error:
        raise MeasurementError(
            "bad-camera-file",
            f"The camera file {path} lacks a usable {', '.join(NEEDED)} ({error}); correct it, or "
            "leave --camera out.",
        ) from None
    finite = all(math.isfinite(v) for v in (focal, u_focal, k1, u_k1, width, distance or 1.0))
    above = [focal, u_focal, width, u_k1, 1.0 if distance is None else distance]
    above += [] if key is None else [key.width_px, key.height_px]
    if not finite or min(above) <= 0:
        raise MeasurementError(
            "bad-camera-file",
            f"The camera file {path} has a focal length, width, distance or uncertainty that is not "
            "above zero or not finite; correct it, or leave --camera out.",
        )
    return CameraFile(path.stem, path, focal, u_focal, k1, u_k1, width, key, distance)


def _key(values: dict[str, Any]) -> CameraKey | None:
    """The lens that a file says it is of; None for a file written by hand without it."""
    if "model" not in values or "height_px" not in values:
        return None
    focal35 = values.get("focal35_mm")
    return CameraKey(
        str(values.get("make", "")), str(values["model"]), str(values.get("lens", "")),
        int(values["width_px"]), int(values["height_px"]),
        None if focal35 is None else float(focal35),
    )  # fmt: skip


def camera_paths() -> list[Path]:
    """The files of the camera folder, by name; none where there is no such folder.

    Raises
    ------
    MeasurementError
        ``no-access`` where there is one, and it cannot be read.
    """
    folder = camera_folder()
    try:
        return sorted(p for p in folder.iterdir() if p.suffix == ".toml")
    except FileNotFoundError:
        return []
    except OSError as error:
        raise MeasurementError(
            "no-access", f"The calibrations in {folder} cannot be read ({error.strerror})."
        ) from error


def camera_path(name: str) -> Path:
    """The file of this name in the camera folder.

    Raises
    ------
    MeasurementError
        ``no-camera-file``: with the names there are.
    """
    found = {p.stem: p for p in camera_paths()}
    if name.removesuffix(".toml") not in found:
        names = ", ".join(found) or "none"
        raise MeasurementError(
            "no-camera-file",
            f"There is no calibration {name} in {camera_folder()}; there are: {names}.",
        )
    return found[name.removesuffix(".toml")]


def camera_text(name: str) -> str:
    """A calibration's file as it stands.

    Raises
    ------
    MeasurementError
        ``no-camera-file``, or ``no-access`` if it may not be read or is no text.
    """
    path = camera_path(name)
    try:
        return read_regular(path, MOST_BYTES).decode("utf-8")
    except (OSError, ValueError) as error:
        raise MeasurementError("no-access", f"{path} could not be read: {error}.") from error


def match_camera(photo: PhotoFacts) -> tuple[CameraFile | None, str]:
    """The calibration of a photograph's lens, and where there is none of use, why.

    Returns
    -------
    CameraFile or None
        Of the same make, model, lens and 35 mm focal length, of pictures of the same shape; of
        several the one nearest in size.
    str
        Why the calibration of another lens or picture is not used; empty where there is none.
    """
    key = photo.key
    alike, why = [], ""
    try:
        paths = camera_paths()
    except MeasurementError:
        return None, f"the calibrations in {camera_folder()} cannot be read"
    for path in paths:
        try:
            camera = read_camera(path)
        except MeasurementError:
            why = f"calibration {path.stem} cannot be read"
            continue
        if camera.key is None or (camera.key.make, camera.key.model) != (key.make, key.model):
            continue
        refused = _unlike(camera.key, key, photo.digital_zoom)
        if refused:
            why = f"calibration {camera.name} is {refused}"
        else:
            alike.append(camera)
    if not alike:
        return None, why
    return min(alike, key=lambda c: (abs(math.log(c.width_px / key.width_px)), c.name)), ""


def _unlike(made: CameraKey, key: CameraKey, digital_zoom: float | None) -> str:
    """Why a calibration is not of a photograph; empty where it is."""
    if digital_zoom is not None and digital_zoom > NO_ZOOM:
        return f"not for a digital zoom of {digital_zoom:g}"
    if (made.lens, made.focal35_mm) != (key.lens, key.focal35_mm):
        return "of another lens"
    shapes = made.width_px / made.height_px, key.width_px / key.height_px
    if abs(shapes[0] / shapes[1] - 1) > SAME_SHAPE:
        return "of pictures of another shape"
    return ""


def new_camera_path(key: CameraKey, overwrite: bool) -> Path:
    """Where a calibration of this lens goes, told before any work is done.

    Raises
    ------
    NotCalibrated
        ``no-exif`` where nothing tells the camera; ``file-exists``.
    """
    if not key.model:
        raise NotCalibrated(
            "no-exif",
            "The photographs do not say which camera took them, so that it could not be found "
            "again; use the original files of the phone.",
        )
    path = camera_folder() / f"{key.name}.toml"
    if path.exists() and not overwrite:
        raise NotCalibrated(
            "file-exists",
            f"There is a calibration of this lens already, {path}: add --overwrite to replace it.",
        )
    return path


def remove_camera(name: str) -> Path:
    """Remove a calibration and return where it was.

    Raises
    ------
    MeasurementError
        ``no-camera-file``, or ``not-removed`` if the disk refuses.
    """
    path = camera_path(name)
    try:
        path.unlink()
    except OSError as error:
        raise MeasurementError(
            "not-removed", f"{path} could not be removed: {error.strerror or error}."
        ) from error
    return path
