"""What the tracer's network says of a band: what each place shows, and where in a column each limb lies.

One network for the whole band and one for the strip of a second look, each in one pass, run by ONNX
Runtime, in less than half of OpenCV's time and memory. docs/tracer.md tells how they were made.
"""

from __future__ import annotations

import threading
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np

from gapvision.trace.rectified import CELL_MM, Band

if TYPE_CHECKING:
    import onnxruntime

UPPER, GAP, LOWER, FRONT = range(4)  # what a place may show
BLOCK = 4  # columns judged together: as many of the network's cells as make one of its answer's
GRAIN = 16  # the network halves the picture four times
MOST_CELLS = 1_250_000  # of a band at once, for which the network needs 1/3 GB
# Columns that a piece sees beside itself: farther ones change a score by 0.002 at most.
BESIDE = 384
HEIGHT_UNIT_MM = 150.0
MOST_LIGHT = 2.0  # of the band's level; a dark band's is counted higher by
DARK_LEVEL = 0.02
LEVEL_EVERY = 61  # cells of a band, of which its level is taken
_ONE_AT_A_TIME = threading.Lock()  # a pass takes 150 MB, and all threads as it is
UNIT = np.linspace(0, 1, 256, dtype=np.float32)
FLOOR = -7.0  # no row is unlikelier: what is not in training happens, too


@dataclass(frozen=True, slots=True)
class Network:
    """A network, and the cells it has learned on.

    A picture is laid out in square cells of ``cell_mm``, or up to ``most_mm`` where it is high; means of
    ``down`` by ``along`` of them are the network's own cells. A log changes little along it.
    """

    weights: str
    cell_mm: float
    most_mm: float
    down: int
    along: int


TRACER = Network("tracer.onnx", CELL_MM, CELL_MM, 2, 2)  # of the whole band
CLOSER = Network("closer.onnx", 0.5 * CELL_MM, CELL_MM, 1, 2)  # of the strip of a second look


def sight_slope(band: Band) -> np.ndarray:
    """How steeply the camera looks down on each row (n,): what is seen of a log changes with it."""
    eye = band.camera.centre_mm
    height = band.top_mm - band.cell_mm * np.arange(band.hidden.shape[0])
    return (eye[1] - height) / abs(eye[2] - band.z_mm)


def read_band(
    band: Band, bgr: np.ndarray, expected_mm: float | None, look: Network
) -> tuple[np.ndarray, np.ndarray]:
    """What a look's network says of a band, by its own rows and by blocks of `BLOCK` of its columns.

    The last row and block may lie partly past the band.

    Parameters
    ----------
    bgr : array (rows, columns, 3), uint8, display-encoded
        The band's picture.
    expected_mm : float or None
        Height at which the cards' log should end, by its diameter; None where unknown.

    Returns
    -------
    labels : array (4, n, blocks)
        Probabilities of upper log, gap, lower log, something in front.
    limbs : array (2, n + 1, blocks)
        Log-probabilities that the upper and the lower limb lie between row r - 1 and row r.
    """
    rows, columns = bgr.shape[:2]
    expected = None if expected_mm is None else (band.top_mm - expected_mm) / band.cell_mm
    scores = read_planes(network_input(band, bgr, expected, look), look)
    scores = scores[:, : -(-rows // look.down), : -(-columns // (look.along * BLOCK))]
    labels = np.exp(_log_shares(scores[:4], axis=0))
    limbs = np.full((2, scores.shape[1] + 1, scores.shape[2]), FLOOR, np.float32)
    limbs[:, :-1] = np.maximum(_log_shares(scores[4:], axis=1), FLOOR)
    return labels, limbs


def network_input(
    band: Band, bgr: np.ndarray, expected_row: float | None, look: Network
) -> np.ndarray:
    """The network's planes (6, n, m): colour, blind, height, slope of sight, in its cells.

    The band's picture ``bgr`` (rows, columns, 3) goes on as at its edge to as many as the network
    takes; ``expected_row`` is where the cards' log should end, None where unknown.
    """
    rows, columns = bgr.shape[:2]
    down, along = GRAIN * look.down, GRAIN * look.along
    more = 0, -rows % down, 0, -columns % along
    size = (columns + more[3]) // look.along, (rows + more[1]) // look.down
    blind = np.where(band.hidden | ~band.seen, np.uint8(255), np.uint8(0))
    some = bgr.reshape(-1, 3)[::LEVEL_EVERY][band.seen.ravel()[::LEVEL_EVERY]]
    level = np.percentile(some.mean(-1), 90) / 255 if len(some) else 1.0
    shades = np.minimum(UNIT / np.float32(level + DARK_LEVEL), np.float32(MOST_LIGHT))
    wider = cv2.copyMakeBorder(
        cv2.bitwise_and(bgr, bgr, mask=cv2.bitwise_not(blind)), *more, cv2.BORDER_REPLICATE
    )
    smaller = cv2.resize(wider, size, interpolation=cv2.INTER_AREA)
    planes = np.empty((6, size[1], size[0]), np.float32)
    for plane, channel in zip(planes, cv2.split(smaller), strict=False):
        cv2.LUT(channel, shades, dst=plane)
    wider = cv2.copyMakeBorder(blind, *more, cv2.BORDER_REPLICATE)
    cv2.LUT(cv2.resize(wider, size, interpolation=cv2.INTER_AREA), UNIT, dst=planes[3])
    row = look.down * (np.arange(size[1]) + 0.5) - 0.5
    planes[4] = 0.0
    if expected_row is not None:
        planes[4] = ((row - expected_row) * band.cell_mm / HEIGHT_UNIT_MM)[:, None]
    planes[5] = np.interp(row, np.arange(rows), sight_slope(band))[:, None]
    return planes


def read_planes(planes: np.ndarray, look: Network) -> np.ndarray:
    """The network's scores (6, rows, columns / 4), piece by piece of a long strip, to need less memory.

    ``planes`` are (6, rows, columns), both divisible by `GRAIN`.
    """
    with _ONE_AT_A_TIME:
        return _scores(planes, look.weights)


def _scores(planes: np.ndarray, weights: str) -> np.ndarray:
    rows, columns = planes.shape[1:]
    pieces = -(-rows * columns // MOST_CELLS)
    ends = GRAIN * np.linspace(0, columns // GRAIN, pieces + 1).round().astype(int)
    scores = []
    for begin, end in pairwise(ends):
        left = max(begin - BESIDE, 0)
        piece = planes[None, :, :, left : end + BESIDE]
        score = _session(weights).run(None, {"x": piece})[0][0]
        scores.append(score[:, :, (begin - left) // BLOCK : (end - left) // BLOCK])
    return np.concatenate(scores, axis=2)


def _log_shares(score: np.ndarray, axis: int) -> np.ndarray:
    """Logarithms of the shares that scores mean along an axis."""
    score = score - score.max(axis, keepdims=True)
    return score - np.log(np.exp(score).sum(axis, keepdims=True))


@cache
def load_ahead() -> None:
    """Begin to load both networks in a thread, 60 ms, while something else is to be done first."""
    threading.Thread(target=_load_both).start()


def _load_both() -> None:
    with suppress(Exception):  # which whoever needs them will meet, too
        for look in (TRACER, CLOSER):
            with _ONE_AT_A_TIME:
                _session(look.weights)


@cache
def _session(name: str) -> onnxruntime.InferenceSession:
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
    # As much as is asked for, not twice as much at each step.
    ort.create_and_register_allocator(place, ort.OrtArenaCfg(0, 1, -1, -1))
