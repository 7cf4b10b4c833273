"""What each cell of the band shows: upper log, gap, lower log or something in front, by the first network."""

from __future__ import annotations

import numpy as np
from scipy.special import log_softmax

from gapvision.trace.network import network
from gapvision.trace.rectified import CELL_MM, Band

UPPER, GAP, LOWER, FRONT = range(4)  # the network's classes
BLOCK = 4  # columns of the band judged together, cells
GRAIN = 16  # the network halves the picture four times
HEIGHT_UNIT_MM = 150.0


def sight_slope(band: Band) -> np.ndarray:
    """How steeply the camera looks down on each row (n,): what is seen of a log changes with it."""
    eye = band.camera.centre_mm
    height = band.top_mm - CELL_MM * np.arange(band.hidden.shape[0])
    return (eye[1] - height) / abs(eye[2] - band.z_mm)


def network_input(band: Band, bgr: np.ndarray, expected_row: float | None) -> np.ndarray:
    """The networks' planes (6, rows, columns): colour, blind, height, slope of sight.

    ``bgr`` (rows, columns, 3) is the band's picture; ``expected_row`` is where the cards' log should
    end, by its diameter, None where unknown.
    """
    rows, columns = bgr.shape[:2]
    blind = band.hidden | ~band.seen
    image = bgr.astype(np.float32) / 255
    luma = image.mean(-1)
    level = np.percentile(luma[band.seen][::7], 90) if band.seen.any() else 1.0
    image = np.minimum(image / np.float32(level + 0.02), 2.0)
    image[blind] = 0
    height = np.zeros((rows, columns), np.float32)
    if expected_row is not None:
        height += ((np.arange(rows) - expected_row) * CELL_MM / HEIGHT_UNIT_MM)[:, None]
    slope = np.broadcast_to(sight_slope(band)[:, None].astype(np.float32), (rows, columns))
    return np.concatenate([image.transpose(2, 0, 1), blind[None], height[None], slope[None]])


def label_cells(x: np.ndarray) -> np.ndarray:
    """Log-probabilities (4, rows, columns) of upper log, gap, lower log, something in front."""
    rows, columns = x.shape[1:]
    pad_r, pad_c = -rows % GRAIN, -columns % GRAIN
    x = np.pad(x, ((0, 0), (0, pad_r), (0, pad_c)), mode="edge")
    net = network("tracer.onnx")
    net.setInput(x[None])
    return log_softmax(net.forward()[0, :, :rows, :columns], axis=0)


def in_blocks(labels: np.ndarray) -> np.ndarray:
    """Probabilities (4, rows, blocks) of what lies there, from `label_cells`'s for every cell."""
    blocks = labels.shape[2] // BLOCK
    cells = np.exp(labels[:, :, : blocks * BLOCK])
    return cells.reshape(4, labels.shape[1], blocks, BLOCK).mean(-1)
