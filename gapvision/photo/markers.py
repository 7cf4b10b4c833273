"""Finding the cards' markers in a picture: which, and where their corners lie, to about a pixel.

OpenCV compares every dark square that it finds with every marker of its dictionary, which costs far
more than finding the squares. Here the squares are found with a dictionary of one, read roughly, and
then searched again for the markers of those cards alone that any of them might be of.
"""

from __future__ import annotations

import ctypes
from contextlib import suppress
from functools import cache, lru_cache

import cv2
import numpy as np

from gapvision.scene import card

MARKER_CELLS = card.DICTIONARY_CELLS
AMBIGUOUS = 0.3  # share of a cell's pixels that differ from the rest: it may as well be the other
MOST_AMBIGUOUS = 3  # cells of a marker read both ways


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
    p = _parameters(image, scale, least_side_px)
    quads, ids, rejected = cv2.aruco.ArucoDetector(_no_markers(), p).detectMarkers(image)
    cards = _likely_cards(image, [*quads, *rejected], p)
    if not cards:
        return {}
    known, of = _markers_of(cards)
    quads, ids, _ = cv2.aruco.ArucoDetector(known, p).detectMarkers(image)
    out: dict[int, list[np.ndarray]] = {}
    if ids is None:
        return out
    for quad, m in zip(quads, of[np.ravel(ids)], strict=True):
        out.setdefault(int(m), []).append((np.reshape(quad, (4, 2)) + 0.5) / scale - 0.5)
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


def _likely_cards(
    image: np.ndarray, quads: list[np.ndarray], p: cv2.aruco.DetectorParameters
) -> tuple[int, ...]:
    """Numbers of all cards of which one of the quads, read roughly, may be a marker."""
    if not quads:
        return ()
    codes = _codes(_patches(image, np.reshape(quads, (-1, 4, 2)), p), p)
    markers = _marker_of_code()[codes]
    return tuple(int(n) for n in np.unique(markers[markers >= 0] // card.IDS_PER_CARD + 1))


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


def _codes(patches: np.ndarray, p: cv2.aruco.DetectorParameters) -> np.ndarray:
    """The codes (k,) that patches (n, side, side) with a dark rim may show, ambiguous cells both ways."""
    cell = p.perspectiveRemovePixelPerCell
    margin = int(cell * p.perspectiveRemoveIgnoredMarginPerCell)
    light = np.stack([
        cv2.threshold(patch, 0, 1, cv2.THRESH_BINARY | cv2.THRESH_OTSU)[1] for patch in patches
    ])  # fmt: skip
    cells = light.reshape(len(light), MARKER_CELLS + 2, cell, MARKER_CELLS + 2, cell)
    share = cells[:, :, margin : cell - margin, :, margin : cell - margin].mean((2, 4))
    inner = share[:, 1:-1, 1:-1].reshape(len(share), -1)
    most = p.maxErroneousBitsInBorderRate * MARKER_CELLS**2 + 1
    inner = inner[(share > 0.5).sum((1, 2)) - (inner > 0.5).sum(1) <= most]
    bits = inner > 0.5
    weights = 1 << np.arange(MARKER_CELLS**2)[::-1]
    doubt = np.argsort(np.abs(inner - 0.5), axis=1)[:, :MOST_AMBIGUOUS]
    unsure = np.take_along_axis(np.abs(inner - 0.5), doubt, 1) < 0.5 - AMBIGUOUS
    codes = []
    for turned in range(1 << MOST_AMBIGUOUS):
        pick = (turned >> np.arange(MOST_AMBIGUOUS) & 1).astype(bool)
        flip = (weights[doubt] * (pick & unsure)).sum(1)
        codes.append((bits * weights).sum(1) ^ flip)
    return np.unique(np.concatenate(codes)).astype(int)


@cache
def _marker_of_code() -> np.ndarray:
    """The marker (2 ** cells,) of each code, turned in any way; -1 where there is none of a card's."""
    out = np.full(1 << MARKER_CELLS**2, -1)
    weights = 1 << np.arange(MARKER_CELLS**2)[::-1]
    dictionary = card.dictionary()
    for m in range(card.IDS_PER_CARD * card.CARD_COUNT):
        bits = dictionary.getMarkerBits(m) > 0.5
        for turns in range(4):
            out[(np.rot90(bits, turns).ravel() * weights).sum()] = m
    return out


@lru_cache(maxsize=16)
def _markers_of(cards: tuple[int, ...]) -> tuple[cv2.aruco.Dictionary, np.ndarray]:
    """A dictionary of the markers of these cards, and the id (n,) of each."""
    ids = np.concatenate(
        [np.arange(card.IDS_PER_CARD) + card.IDS_PER_CARD * (n - 1) for n in cards]
    )
    whole = card.dictionary()
    part = cv2.aruco.Dictionary(whole.bytesList[ids], whole.markerSize, whole.maxCorrectionBits)
    return part, ids


@cache
def _no_markers() -> cv2.aruco.Dictionary:
    """A dictionary of one marker that is on no card."""
    whole = card.dictionary()
    return cv2.aruco.Dictionary(whole.bytesList[-1:], whole.markerSize, whole.maxCorrectionBits)
