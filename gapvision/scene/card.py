"""The printed scale card in millimetres: its board, its corners and its outline.

The card's frame has its origin in the nail hole, x to the right as seen from the front, y up and z
out of the card, so a card hangs at negative y. Lengths hold for a print at true size.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

SQUARE_MM = 22.0
MARKER_MM = 17.0
COLUMNS = 11  # squares
ROWS = 4
CARD_WIDTH_MM = 262.0  # cut size
CARD_HEIGHT_MM = 102.0
SIDE_MARGIN_MM = 10.0  # white left and right of the board
TOP_MARGIN_MM = 8.0
NAIL_BELOW_TOP_MM = 4.0  # in the middle of the card's width
IDS_PER_CARD = COLUMNS * ROWS // 2  # card n has the ids from 22 (n - 1) on
CARD_COUNT = 40
DICTIONARY = cv2.aruco.DICT_4X4_1000
DICTIONARY_CELLS = 4  # of a marker and direction, without its black rim
BAR_ABOVE_EDGE_MM = 3.0  # the bar above the card's lower edge


@cache
def dictionary() -> cv2.aruco.Dictionary:
    """The markers of all cards, by id. Shared between calls, so not to be altered."""
    return cv2.aruco.getPredefinedDictionary(DICTIONARY)


@cache
def board(number: int) -> cv2.aruco.CharucoBoard:
    """OpenCV's board of one card.

    Parameters
    ----------
    number : int
        The card's number, 1 to `CARD_COUNT`.

    Returns
    -------
    cv2.aruco.CharucoBoard
        In OpenCV's board frame: mm from the board's upper left corner, y down. Shared between
        calls, so not to be altered.

    Raises
    ------
    ValueError
        If there is no card of this number.
    """
    if number not in range(1, CARD_COUNT + 1):
        raise ValueError(f"card numbers run from 1 to {CARD_COUNT}, there is no card {number}")
    ids = np.arange(IDS_PER_CARD) + IDS_PER_CARD * (number - 1)
    return cv2.aruco.CharucoBoard((COLUMNS, ROWS), SQUARE_MM, MARKER_MM, dictionary(), ids)


@cache
def corner_points_mm() -> np.ndarray:
    """The board's inner corners in the card's frame.

    Returns
    -------
    array, shape (30, 3), mm, card frame, read-only
        Row i is the corner with ChArUco id i: from the left, row by row from the top. z is 0.

    Examples
    --------
    >>> corner_points_mm()[0].tolist(), corner_points_mm()[-1].tolist()
    ([-99.0, -26.0, 0.0], [99.0, -70.0, 0.0])
    """
    row, column = np.mgrid[1:ROWS, 1:COLUMNS].reshape(2, -1)
    x = SIDE_MARGIN_MM - CARD_WIDTH_MM / 2 + SQUARE_MM * column
    y = NAIL_BELOW_TOP_MM - TOP_MARGIN_MM - SQUARE_MM * row
    points = np.column_stack([x, y, np.zeros(len(x))])
    points.setflags(write=False)
    return points


@cache
def outline_mm() -> np.ndarray:
    """The corners of the cut card.

    Returns
    -------
    array, shape (4, 2), mm, card frame, read-only
        Upper left, upper right, lower right, lower left.

    Examples
    --------
    >>> outline_mm().tolist()
    [[-131.0, 4.0], [131.0, 4.0], [131.0, -98.0], [-131.0, -98.0]]
    """
    x, top = CARD_WIDTH_MM / 2, NAIL_BELOW_TOP_MM
    bottom = top - CARD_HEIGHT_MM
    points = np.array([[-x, top], [x, top], [x, bottom], [-x, bottom]])
    points.setflags(write=False)
    return points
