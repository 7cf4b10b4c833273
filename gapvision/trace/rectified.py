"""The band of the photograph in which the joint must lie, laid out square to the wall.

Columns are stations, rows are plumb heights, `CELL_MM` a cell, in the plane of the logs' axes:
there a log keeps its size whatever the camera's distance, so that one tracer serves 3 to 48
megapixels and 0.6 to 2.5 m.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from gapvision.scene.camera import Camera

CELL_MM = 1.0
MESH = 16
SAMPLE_PX = 2.0  # apart: each is interpolated between pixels, and a cell the mean of its own
MARGIN_PX = 6.0


@dataclass(frozen=True, eq=False, slots=True)
class Band:
    """Where a strip square to the wall lies in the photograph; its picture goes its own way.

    ``seen`` (rows, columns) bool is False outside the picture; ``hidden`` (rows, columns) bool is True
    on cards. Row 0 column 0 is the cell whose middle is at height ``top_mm`` and station ``left_mm``
    in the plane z = ``z_mm``; a cell is ``cell_mm`` wide and high.
    """

    seen: np.ndarray
    hidden: np.ndarray
    camera: Camera
    left_mm: float
    top_mm: float
    z_mm: float
    cell_mm: float = CELL_MM

    def stations(self) -> np.ndarray:
        """Station of each column in the band's plane, mm."""
        return self.left_mm + self.cell_mm * np.arange(self.seen.shape[1])

    def to_image(self, column: np.ndarray, row: np.ndarray) -> np.ndarray:
        """Pixels (n, 2) of places (column, row) in the band."""
        x = self.left_mm + self.cell_mm * np.asarray(column, float)
        y = self.top_mm - self.cell_mm * np.asarray(row, float)
        return self.camera.project(np.stack([x, y, np.full_like(x, self.z_mm)], -1))

    def from_image(self, xy_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Places (column, row) in the band of pixels (n, 2)."""
        p = self.camera.plane_point(xy_px, self.z_mm)
        return (p[:, 0] - self.left_mm) / self.cell_mm, (self.top_mm - p[:, 1]) / self.cell_mm


def visible_stretch(camera: Camera, y_mm: float, z_mm: float) -> tuple[float, float]:
    """Stations between the picture's left and right edge along the joint."""
    w, h = camera.size
    reach = np.linspace(-6000.0, 6000.0, 2401) + camera.centre_mm[0]
    px = camera.project(np.stack([reach, np.full_like(reach, y_mm), np.full_like(reach, z_mm)], -1))
    ahead = (reach * 0 + z_mm - camera.centre_mm[2]) * camera.camera_from_world[2, 2] > 0
    ok = (
        ahead
        & (np.abs(px - [w / 2, h / 2]) < [w / 2 - MARGIN_PX, h / 2 - MARGIN_PX]).all(1)
        & (np.abs(reach - camera.centre_mm[0]) < 3.0 * abs(z_mm - camera.centre_mm[2]))
    )
    if not ok.any():
        return 0.0, 0.0
    return float(reach[ok].min()), float(reach[ok].max())


def cut_band(
    bgr: np.ndarray,
    camera: Camera,
    z_mm: float,
    stretch_mm: tuple[float, float],
    top_mm: float,
    bottom_mm: float,
    card_polygons_mm: list[np.ndarray],
    cell_mm: float = CELL_MM,
) -> tuple[Band, np.ndarray]:
    """A strip between two heights and two stations, and its picture laid out square, cell by cell.

    Parameters
    ----------
    bgr : array (h, w, 3), uint8, display-encoded
    card_polygons_mm : list of (n, 3)
        World outlines of cards and their backing, marked hidden.

    Returns
    -------
    Band
    array (rows, columns, 3), uint8, display-encoded
        Averages over each cell.
    """
    columns = int((stretch_mm[1] - stretch_mm[0]) / cell_mm) + 1
    rows = int((top_mm - bottom_mm) / cell_mm) + 1
    px_per_mm = camera.focal_px / abs(camera.centre_mm[2] - z_mm)
    fine = max(1, round(cell_mm * px_per_mm / SAMPLE_PX))
    step = cell_mm / fine
    offset = (fine - 1) / 2 * step
    # Where each sample lies in the picture changes smoothly: projected one by MESH, interpolated between.
    c, r = (MESH * np.arange(-1, n * fine // MESH + 2) + 0.5 * (MESH - 1) for n in (columns, rows))
    x, y = np.meshgrid(stretch_mm[0] - offset + c * step, top_mm + offset - r * step)
    mesh = camera.project(np.stack([x, y, np.full(x.shape, z_mm)], -1)).astype(np.float32)
    whole = cv2.resize(mesh, (MESH * len(c), MESH * len(r)), interpolation=cv2.INTER_LINEAR)
    there = whole[MESH : MESH + rows * fine, MESH : MESH + columns * fine]
    samples = cv2.remap(
        bgr, there[..., 0], there[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    small = cv2.resize(samples, (columns, rows), interpolation=cv2.INTER_AREA)
    c, r = np.meshgrid(np.arange(0, columns, 8), np.arange(0, rows, 8))
    at = np.stack([stretch_mm[0] + c * cell_mm, top_mm - r * cell_mm, np.full(c.shape, z_mm)], -1)
    px = camera.project(at)
    inside = np.all((px > 2) & (px < np.array(camera.size) - 3), axis=-1).astype(np.uint8)
    seen = cv2.resize(inside, (columns, rows), interpolation=cv2.INTER_NEAREST) > 0
    hidden = np.zeros((rows, columns), np.uint8)
    band = Band(seen, hidden > 0, camera, stretch_mm[0], top_mm, z_mm, cell_mm)
    for polygon in card_polygons_mm:
        column, row = band.from_image(camera.project(polygon))
        cv2.fillPoly(hidden, [np.rint(np.stack([column, row], 1)).astype(np.int32)], 1)
    return replace(band, hidden=hidden > 0), small
