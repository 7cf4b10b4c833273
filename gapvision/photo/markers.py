"""Finding the cards' markers in a picture: which, and where their corners lie, to about a pixel.

OpenCV finds the dark squares; it would compare each of them with every marker of its dictionary in
turn, which costs more than finding them. Here all of them are read at once, and a table says whose the
cells are.
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from contextlib import suppress
from functools import cache

import cv2
import numpy as np

from gapvision.scene import card

MARKER_CELLS = card.DICTIONARY_CELLS
# Quads less than this share of their perimeter apart are of one square, and of those that are less than
# this share of a cell apart one is read: OpenCV's own limits.
SQUARE_SHARE, CELL_SHARE = 0.125, 0.21


def detect_markers(
    image: np.ndarray, scale: float, least_side_px: float
) -> dict[int, list[np.ndarray]]:
    """Corner quads (4, 2) px by marker id, in the picture of which ``image`` is ``scale`` times the size.

    Parameters
    ----------
    image : array, shape (h, w), uint8
    scale : float
    least_side_px : float
        Of a marker in ``image``: specks cost time only.
    """
    quads = _quads(image, _parameters(image, scale, least_side_px))
    out: dict[int, list[np.ndarray]] = {}
    if not len(quads):
        return out
    markers, turns = _read(image, quads, _parameters(image, scale, least_side_px))
    for square in _squares(quads):
        if (markers[square] < 0).all():
            continue
        k = next((k for k in _unlike(quads, square) if markers[k] >= 0), None)
        if k is None:
            continue
        at = np.roll(quads[k], turns[k], axis=0)
        out.setdefault(int(markers[k]), []).append((at + 0.5) / scale - 0.5)
    return out


def release_memory() -> None:
    """Give what is free back to the system, where its allocator keeps it and can be told, as glibc's."""
    with suppress(AttributeError, OSError, TypeError):  # another system's
        ctypes.CDLL(None).malloc_trim(0)


def _parameters(
    image: np.ndarray, scale: float, least_side_px: float
) -> cv2.aruco.DetectorParameters:
    p = cv2.aruco.DetectorParameters()
    # 17 mm markers at 2 m are far under OpenCV's default; smaller specks cost time only.
    p.minMarkerPerimeterRate = 4 * least_side_px / max(image.shape)
    p.adaptiveThreshWinSizeMin = 7
    p.adaptiveThreshWinSizeMax = 17
    p.adaptiveThreshWinSizeStep = 10
    if scale > 1:  # modules of 2 px, blurred: their middles only, from more samples
        p.perspectiveRemovePixelPerCell, p.perspectiveRemoveIgnoredMarginPerCell = 8, 0.2
    return p


def _quads(image: np.ndarray, p: cv2.aruco.DetectorParameters) -> np.ndarray:
    """All dark quads (n, 4, 2) of the picture, largest first: what OpenCV finds and cannot read."""
    p.minMarkerDistanceRate = 0.0  # both rims of a square, and each threshold's
    p.perspectiveRemovePixelPerCell = 1  # that it does not read for long
    _, _, quads = cv2.aruco.ArucoDetector(_no_markers(), p).detectMarkers(image)
    return np.reshape(quads, (-1, 4, 2))


def _read(
    image: np.ndarray, quads: np.ndarray, p: cv2.aruco.DetectorParameters
) -> tuple[np.ndarray, np.ndarray]:
    """Whose markers quads (n, 4, 2) are, -1 for none, and by how many corners each is turned, (n,)."""
    patches = _patches(image, quads, p)
    cell = p.perspectiveRemovePixelPerCell
    edge = cell // 2
    plain = patches[:, edge:-edge, edge:-edge].std((1, 2)) < p.minOtsuStdDev
    margin = int(cell * p.perspectiveRemoveIgnoredMarginPerCell)
    light = np.stack([
        cv2.threshold(patch, 0, 1, cv2.THRESH_BINARY | cv2.THRESH_OTSU)[1] for patch in patches
    ])  # fmt: skip
    cells = light.reshape(len(light), MARKER_CELLS + 2, cell, MARKER_CELLS + 2, cell)
    share = cells[:, :, margin : cell - margin, :, margin : cell - margin].mean((2, 4))
    inner = share[:, 1:-1, 1:-1].reshape(len(share), -1)
    lit = (share > p.validBitIdThreshold).sum((1, 2)) - (inner > p.validBitIdThreshold).sum(1)
    clear = (np.abs(inner - 0.5) > 0.5 - p.validBitIdThreshold).all(1)
    code = ((inner > 0.5) * (1 << np.arange(MARKER_CELLS**2)[::-1])).sum(1)
    marker, turns = _marker_of_code()[code].T
    rimmed = lit <= int(p.maxErroneousBitsInBorderRate * MARKER_CELLS**2)
    return np.where(rimmed & clear & ~plain, marker, -1), turns


def _squares(quads: np.ndarray) -> list[list[int]]:
    """Quads (n, 4, 2), largest first, by the squares that they are of: rims found twice, and within."""
    size = _perimeter(quads)
    x, y = quads.mean(1).T
    # Nearer than their corners are their middles, which are soon compared.
    near = np.hypot(x[:, None] - x, y[:, None] - y) < SQUARE_SHARE * size
    i, j = np.nonzero(np.triu(near, 1))
    close = _distance(quads[i], quads[j]) < SQUARE_SHARE * size[j]
    of: dict[int, list[int]] = {}
    for a, b in zip(i[close].tolist(), j[close].tolist(), strict=True):
        square = of.get(a) or of.get(b) or []
        for k in (a, b):
            if k not in of:
                square.append(k)
                of[k] = square
    alone = ([k] for k in range(len(quads)) if k not in of)
    several = {id(square): sorted(square) for square in of.values()}
    return sorted([*alone, *several.values()])


def _unlike(quads: np.ndarray, square: list[int]) -> Iterator[int]:
    """Of the quads of one square the largest, and those that differ from the one before."""
    now = None
    for k in square:
        cell = _perimeter(quads[k]) / (4 * (MARKER_CELLS + 2))
        if now is None or _distance(quads[k], quads[now]) > CELL_SHARE * cell:
            now = k
            yield k


def _perimeter(quads: np.ndarray) -> np.ndarray:
    """Of quads (..., 4, 2)."""
    return np.linalg.norm(quads - np.roll(quads, 1, -2), axis=-1).sum(-1)


def _distance(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Between the corners of quads (..., 4, 2), rms, whichever of them either begins with."""
    turned = np.stack([np.roll(one, turn, -2) for turn in range(4)])
    return np.sqrt(np.square(turned - other).sum(-1).mean(-1).min(0))


def _patches(image: np.ndarray, quads: np.ndarray, p: cv2.aruco.DetectorParameters) -> np.ndarray:
    """Each quad (n, 4, 2) seen square on, (n, side, side), as OpenCV reads it."""
    side = (MARKER_CELLS + 2) * p.perspectiveRemovePixelPerCell
    square = np.array([[0, 0], [side - 1, 0], [side - 1, side - 1], [0, side - 1]], np.float32)
    return np.stack([
        cv2.warpPerspective(
            image, cv2.getPerspectiveTransform(q.astype(np.float32), square), (side, side),
            flags=cv2.INTER_NEAREST,
        )
        for q in quads
    ])  # fmt: skip


@cache
def _marker_of_code() -> np.ndarray:
    """Of each code (2 ** cells, 2): the marker whose it is, -1 where of none on a card, and its turn."""
    out = np.tile((-1, 0), (1 << MARKER_CELLS**2, 1))
    weights = 1 << np.arange(MARKER_CELLS**2)[::-1]
    dictionary = card.dictionary()
    for m in range(card.IDS_PER_CARD * card.CARD_COUNT):
        bits = dictionary.getMarkerBits(m) > 0.5
        for turn in range(4):
            out[(np.rot90(bits, turn).ravel() * weights).sum()] = m, turn
    return out


@cache
def _no_markers() -> cv2.aruco.Dictionary:
    """A dictionary of one marker that is on no card."""
    whole = card.dictionary()
    return cv2.aruco.Dictionary(whole.bytesList[-1:], whole.markerSize, whole.maxCorrectionBits)
