"""What the tracer's network says of a band: what each place shows, and where in a column each limb lies.

One network for the whole band and one for the strip of a second look, each in one pass, run by ONNX
Runtime, in less than half of OpenCV's time and memory. docs/tracer.md tells how they were made.
"""

from __future__ import annotations

import threading
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np

from gapvision.trace.rectified import Band

if TYPE_CHECKING:
    import onnxruntime

TRACER, CLOSER = "tracer.onnx", "closer.onnx"
UPPER, GAP, LOWER, FRONT = range(4)  # what a place may show
BLOCK = 4  # columns of the band judged together, cells: as many as make one of the network's
GRAIN = 16  # the network halves the picture four times
MOST_CELLS = 1_250_000  # of a band at once, for which the network needs 1/3 GB
# Columns that a piece sees beside itself: farther ones change a score by 0.002 at most.
BESIDE = 384
HEIGHT_UNIT_MM = 150.0
MOST_LIGHT = 2.0  # of the band's level; a dark band's is counted higher by
DARK_LEVEL = 0.02
_ONE_AT_A_TIME = threading.Lock()  # a pass takes 150 MB, and all threads as it is
FLOOR = -7.0  # no row is unlikelier: what is not in training happens, too


def sight_slope(band: Band) -> np.ndarray:
    """How steeply the camera looks down on each row (n,): what is seen of a log changes with it."""
    eye = band.camera.centre_mm
    height = band.top_mm - band.cell_mm * np.arange(band.hidden.shape[0])
    return (eye[1] - height) / abs(eye[2] - band.z_mm)


def network_input(band: Band, bgr: np.ndarray, expected_row: float | None) -> np.ndarray:
    """The network's planes (6, rows, columns): colour, blind, height, slope of sight.

    ``bgr`` (rows, columns, 3) is the band's picture; ``expected_row`` is where the cards' log should
    end, by its diameter, None where unknown.
    """
    rows, columns = bgr.shape[:2]
    blind = band.hidden | ~band.seen
    some = np.flatnonzero(band.seen)[::7]
    lit = bgr.reshape(-1, 3)[some].astype(np.float32) / 255
    level = np.percentile(lit.mean(-1), 90) if len(some) else 1.0
    shades = np.arange(256, dtype=np.float32) / 255 / np.float32(level + DARK_LEVEL)
    shades = np.minimum(shades, np.float32(MOST_LIGHT))
    planes = np.empty((6, rows, columns), np.float32)
    open_ = np.where(blind, np.uint8(0), np.uint8(255))
    for plane, channel in zip(
        planes, cv2.split(cv2.bitwise_and(bgr, bgr, mask=open_)), strict=False
    ):
        cv2.LUT(channel, shades, dst=plane)
    planes[3] = blind
    planes[4] = 0.0
    if expected_row is not None:
        planes[4] = ((np.arange(rows) - expected_row) * band.cell_mm / HEIGHT_UNIT_MM)[:, None]
    planes[5] = sight_slope(band)[:, None]
    return planes


def read_band(planes: np.ndarray, weights: str = TRACER) -> tuple[np.ndarray, np.ndarray]:
    """What the network says of its planes (6, rows, columns), by blocks of `BLOCK` columns.

    ``weights`` are `TRACER` for cells of a millimetre and `CLOSER` for those of a second look.

    Returns
    -------
    labels : array (4, rows, blocks)
        Probabilities of upper log, gap, lower log, something in front.
    limbs : array (2, rows + 1, blocks)
        Log-probabilities that the upper and the lower limb lie between row r - 1 and row r.
    """
    rows, columns = planes.shape[1:]
    pad_r, pad_c = -rows % GRAIN, -columns % GRAIN
    padded = np.pad(planes, ((0, 0), (0, pad_r), (0, pad_c)), mode="edge")
    del planes  # a tenth of what the network takes at its peak
    with _ONE_AT_A_TIME:
        score = _scores(padded, weights)[:, :rows, : columns // BLOCK]
    labels = np.exp(_log_shares(score[:4], axis=0))
    limbs = np.full((2, rows + 1, score.shape[2]), FLOOR, np.float32)
    limbs[:, :rows] = np.maximum(_log_shares(score[4:], axis=1), FLOOR)
    return labels, limbs


def _scores(planes: np.ndarray, weights: str) -> np.ndarray:
    """The network's scores (6, rows, blocks), piece by piece of a long strip, to need less memory."""
    rows, columns = planes.shape[1:]
    pieces = -(-rows * columns // MOST_CELLS)
    ends = GRAIN * np.linspace(0, columns // GRAIN, pieces + 1).round().astype(int)
    scores = []
    for begin, end in pairwise(ends):
        left = max(begin - BESIDE, 0)
        piece = planes[None, :, :, left : end + BESIDE]
        score = _network(weights).run(None, {"x": piece})[0][0]
        scores.append(score[:, :, (begin - left) // BLOCK : (end - left) // BLOCK])
    return np.concatenate(scores, axis=2)


def _log_shares(score: np.ndarray, axis: int) -> np.ndarray:
    """Logarithms of the shares that scores mean along an axis."""
    score = score - score.max(axis, keepdims=True)
    return score - np.log(np.exp(score).sum(axis, keepdims=True))


@cache
def _network(name: str) -> onnxruntime.InferenceSession:
    # Imported here, since not all that reads this module runs the network.
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = cv2.getNumThreads()
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    # Bands differ in size: the last one's plan would be kept for nothing.
    options.enable_mem_pattern = False
    _share_memory()
    options.add_session_config_entry("session.use_env_allocators", "1")
    weights = resources.files("gapvision").joinpath(f"trace/weights/{name}").read_bytes()
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])


@cache
def _share_memory() -> None:
    """Let one network take what another one is done with: they keep it for their next band."""
    import onnxruntime as ort

    place = ort.OrtMemoryInfo(
        "Cpu", ort.OrtAllocatorType.ORT_ARENA_ALLOCATOR, 0, ort.OrtMemType.DEFAULT
    )
    ort.create_and_register_allocator(place, None)
