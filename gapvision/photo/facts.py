"""What is told of a photograph beside its pixels."""

from __future__ import annotations

import re
from dataclasses import dataclass


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
