"""The markers of cards against OpenCV's own search with its whole dictionary."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from gapvision.photo.markers import _parameters, detect_markers
from gapvision.scene import card

DEMO = Path(__file__).parents[2] / "gapvision" / "cli" / "demo_photos"
LEAST_SIDE_PX = 8.0


def by_opencv(image, scale):
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(card.DICTIONARY),
        _parameters(image, scale, LEAST_SIDE_PX),
    )
    quads, ids, _ = detector.detectMarkers(image)
    found = {}
    for quad, m in zip(quads, () if ids is None else np.ravel(ids), strict=True):
        if m < card.IDS_PER_CARD * card.CARD_COUNT:
            found.setdefault(int(m), []).append((np.reshape(quad, (4, 2)) + 0.5) / scale - 0.5)
    return found


def drawn(*numbers, module_px=8.0, noise=3.0, blur=0.8):
    """Boards of cards one below the other on grey, seen a little askew."""
    side = int(module_px * card.SQUARE_MM / (card.MARKER_MM / 6))
    size = card.COLUMNS * side, card.ROWS * side
    boards = [card.board(n).generateImage(size, marginSize=side // 3) for n in numbers]
    flat = np.full((len(boards) * (size[1] + 60) + 60, size[0] + 120), 190, np.uint8)
    for k, board in enumerate(boards):
        flat[60 + k * (size[1] + 60) :][: size[1], 60 : 60 + size[0]] = board
    h, w = flat.shape
    askew = np.float32([[0, 0], [0.97 * w, 0.03 * h], [w, 0.98 * h], [0.02 * w, h]])
    whole = np.float32([[0, 0], [w, 0], [w, h], [0, h]])
    turned = cv2.warpPerspective(
        flat, cv2.getPerspectiveTransform(whole, askew), (w, h), borderValue=190
    )
    grainy = cv2.GaussianBlur(turned, (0, 0), blur) + np.random.default_rng(7).normal(
        0, noise, (h, w)
    )
    return np.clip(grainy, 0, 255).astype(np.uint8)


def same(found, expected):
    assert found.keys() == expected.keys()
    for m, quads in expected.items():
        assert np.array_equal(np.sort(found[m], axis=0), np.sort(quads, axis=0))


@pytest.mark.parametrize("module_px", (4.0, 5.5, 8.0))
@pytest.mark.parametrize("numbers", ((1,), (2, 40), (7, 8, 31)))
def test_they_are_those_of_the_whole_dictionary(numbers, module_px):
    image = drawn(*numbers, module_px=module_px)
    expected = by_opencv(image, 1.0)
    assert {*numbers} <= {m // card.IDS_PER_CARD + 1 for m in expected}
    same(detect_markers(image, 1.0, LEAST_SIDE_PX), expected)


@pytest.mark.parametrize("scale", (0.5, 2.0))
def test_scale_places_them_in_the_picture_itself(scale):
    image = drawn(5)
    expected = by_opencv(image, scale)
    assert len(expected) == card.IDS_PER_CARD
    same(detect_markers(image, scale, LEAST_SIDE_PX), expected)


@pytest.mark.parametrize("photo", sorted(DEMO.glob("*.jpg")), ids=lambda p: p.name)
def test_in_photographs_too(photo):
    grey = cv2.imread(str(photo), cv2.IMREAD_GRAYSCALE)
    expected = by_opencv(grey, 1.0)
    assert expected
    same(detect_markers(grey, 1.0, LEAST_SIDE_PX), expected)


def test_none_in_a_picture_without_cards():
    noise = np.random.default_rng(3).integers(0, 255, (600, 800), dtype=np.uint8)
    assert detect_markers(noise, 1.0, LEAST_SIDE_PX) == {}


def test_of_a_mirrored_card_no_more_than_the_whole_dictionary_reads():
    """Some of its markers are others mirrored."""
    image = cv2.flip(drawn(3), 1)
    same(detect_markers(image, 1.0, LEAST_SIDE_PX), by_opencv(image, 1.0))
