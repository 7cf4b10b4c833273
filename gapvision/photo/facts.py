"""What is told of a photograph beside its pixels."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class CameraKey:
    """What Exif tells a lens apart by, and the size of its pictures held across, px."""

    make: str
    model: str
    lens: str
    width_px: int
    height_px: int
    focal35_mm: float | None

    @property
    def name(self) -> str:
        """A file's name without suffix: ``example-ex-2-26mm-4032x3024``."""
        focal = "" if self.focal35_mm is None else f"{self.focal35_mm:g}mm"
        size = f"{self.width_px}x{self.height_px}"
        text = " ".join((self.make, self.model, self.lens, focal, size)).lower()
        return re.sub(r"[^a-z0-9]+", "-", text).strip("-")


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    """A photograph's file, size and what the camera wrote about itself.

    Attributes
    ----------
    path : Path
        The file.
    sha256 : str
        Digest of the file's bytes, 64 hexadecimal digits.
    width, height : int
        Of the upright picture, px.
    focal_px : float
        Prior of the focal length, px.
    u_focal_px : float
        Standard uncertainty of that prior, px.
    focal_source : str
        ``"exif"``, or ``"assumed"`` where the file tells none.
    make, model, lens : str
        As written by the camera, empty where it wrote none.
    focal35_mm : float or None
        The 35 mm equivalent focal length as written, mm; None where absent.
    digital_zoom : float or None
        Digital zoom ratio as written; None where absent.
    taken : str or None
        Time of exposure, ISO 8601, with offset from UTC only if the camera wrote it.
    orientation : int
        Exif's number of how the sensor was held, as written; 1 where absent.
    """

    path: Path
    sha256: str
    width: int
    height: int
    focal_px: float
    u_focal_px: float
    focal_source: str
    make: str
    model: str
    lens: str
    focal35_mm: float | None
    digital_zoom: float | None
    taken: str | None
    orientation: int = 1

    @property
    def file(self) -> str:
        """The file's name, without folder."""
        return self.path.name

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the upright picture, px."""
        return self.width, self.height

    @property
    def key(self) -> CameraKey:
        """The key of the camera; held across, whichever way it was held."""
        return CameraKey(
            self.make, self.model, self.lens, max(self.size), min(self.size), self.focal35_mm
        )
