"""Bent cards, drawn here as rays that meet a cylinder: read, told from flat ones, and refused."""

from functools import cache

import cv2
import numpy as np
import pytest

from gapvision.errors import CardNotFound
from gapvision.photo.bent import CardView, bent_points, card_bend, card_bends, without_bent
from gapvision.photo.cards import read_cards
from gapvision.scene import card
from gapvision.scene.camera import Lens
from gapvision.scene.photo_rows import CardSighting, PhotoRows

SIZE, FOCAL_PX = (740, 440), 3000.0
LENS = Lens(1.02 * FOCAL_PX, 0.02 * FOCAL_PX)  # believed 2 % too long, as Exif may
PRINT_PX = 10  # of the drawn print a mm
FINE = 3  # samples a pixel and direction
BOARD_AT_MM = (10, 8)
NAIL_MM = (131.0, 4.0)
MIDDLE_MM = -48.0  # of the board, under the nail


@cache
def printed(number):
    """The white cut card with its board, one channel."""
    board = card.board(number).generateImage((242 * PRINT_PX, 88 * PRINT_PX), marginSize=0)
    sheet = np.full((102 * PRINT_PX, 262 * PRINT_PX), 205, np.float32)
    y, x = BOARD_AT_MM[1] * PRINT_PX, BOARD_AT_MM[0] * PRINT_PX
    sheet[y : y + board.shape[0], x : x + board.shape[1]] = np.where(board > 127, 205, 45)
    return sheet


def pose(pitch, yaw, distance):
    """Turn (3, 3) and translation of the card's frame: pitch is positive seen from above."""
    turn = np.eye(3)
    for axis, angle in ((2, 1.5), (1, yaw), (0, pitch)):
        turn = cv2.Rodrigues(np.radians(angle) * np.eye(3)[axis])[0] @ turn
    turn = turn @ np.diag([1.0, -1.0, -1.0])
    middle = np.array([0.0, MIDDLE_MM, 0.0])
    return turn, np.array([0.02, -0.01, 1.0]) * distance - turn @ middle


def paper_at(turn, place, radius_mm, upright, touch_mm):
    """The point (x, y) mm of the paper that each sample of the picture shows; far off where none.

    A level cylinder touches the card's plane at the height ``touch_mm``, an upright one under the nail.
    """
    v, u = np.mgrid[0 : SIZE[1] * FINE, 0 : SIZE[0] * FINE]
    x = ((u + 0.5) / FINE - 0.5 - (SIZE[0] - 1) / 2) / FOCAL_PX
    y = ((v + 0.5) / FINE - 0.5 - (SIZE[1] - 1) / 2) / FOCAL_PX
    d = np.stack([x, y, np.ones_like(x)], -1) @ turn
    c = -turn.T @ place
    if radius_mm is None:
        t = -c[2] / d[..., 2]
        return c[0] + t * d[..., 0], c[1] + t * d[..., 1]
    i, touch = (0, 0.0) if upright else (1, touch_mm)
    across, out = c[i] - touch, c[2] + radius_mm
    a = d[..., i] ** 2 + d[..., 2] ** 2
    b = across * d[..., i] + out * d[..., 2]
    met = b**2 - a * (across**2 + out**2 - radius_mm**2)
    t = (-b - np.sqrt(np.maximum(met, 0))) / a
    s = touch + radius_mm * np.arctan2(across + t * d[..., i], out + t * d[..., 2])
    s = np.where(met > 0, s, 1e4)
    straight = c[1 - i] + t * d[..., 1 - i]
    return (s, straight) if upright else (straight, s)


def shot(number, turn, place, radius_mm=None, upright=False, touch_mm=MIDDLE_MM, seed=3):
    """A photograph of one card on grey wood, blurred by 1 px (sd), noise of 3 grey levels."""
    rng = np.random.default_rng(seed)
    x, y = paper_at(turn, place, radius_mm, upright, touch_mm)
    at = [((q + o) * PRINT_PX - 0.5).astype(np.float32)
          for q, o in ((x, NAIL_MM[0]), (NAIL_MM[1] - y, 0.0))]  # fmt: skip
    drawn = cv2.remap(printed(number), *at, cv2.INTER_LINEAR)
    h, w = printed(number).shape
    cover = ((at[0] > 0) & (at[0] < w - 1) & (at[1] > 0) & (at[1] < h - 1)).astype(np.float32)
    drawn, cover = (
        cv2.GaussianBlur(cv2.resize(q, SIZE, interpolation=cv2.INTER_AREA), (0, 0), 1.0)
        for q in (drawn * cover, cover)
    )
    wood = cv2.resize(
        rng.normal(110, 12, (90, 14)).astype(np.float32), SIZE, interpolation=cv2.INTER_CUBIC
    )
    picture = (wood * (1 - cover) + drawn)[..., None] + rng.normal(0, 3, (*SIZE[::-1], 3))
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)


def read(**how):
    """The sighting of one card, seen from 1.5 m, and its bend."""
    pitch = how.pop("pitch", -3.0)
    (sighting,), unread = read_cards(shot(4, *pose(pitch, 5.0, 1500.0), **how), "joint.jpg")
    assert sighting.number == 4 and not unread
    return sighting, card_bend([CardView(sighting, LENS, SIZE)])


# --- through pictures -----------------------------------------------------------------------------


@pytest.mark.parametrize("pitch", [-3.0, 12.0, -30.0])
def test_a_flat_card_is_flat(pitch):
    sighting, bend = read(pitch=pitch)
    assert len(sighting.corner_id) == 30
    assert bend.radius_mm == np.inf and bend.lean_rad == 0 == bend.depth_mm
    assert without_bent((sighting,), LENS, SIZE, "joint.jpg") == ((sighting,), ())


@pytest.mark.parametrize(
    ("how", "share"),
    # Of a radius of 300 mm about a level line u is a tenth, of the others a fiftieth.
    [
        ({"radius_mm": 150.0}, 0.1),
        ({"radius_mm": 300.0}, 0.25),
        ({"radius_mm": 150.0, "touch_mm": 0.0}, 0.05),
        ({"radius_mm": 300.0, "touch_mm": 0.0}, 0.25),
        ({"radius_mm": 150.0, "upright": True}, 0.05),
        ({"radius_mm": 600.0, "upright": True}, 0.05),
    ],
    ids=["level", "slightly", "down the log", "slightly down", "upright", "slightly upright"],
)
def test_the_radius_of_a_bent_card_is_found(how, share):
    sighting, bend = read(**how)
    assert len(sighting.corner_id) >= 28
    assert bend.radius_mm == pytest.approx(how["radius_mm"], rel=share)
    assert bend.upright == how.get("upright", False)


@pytest.mark.parametrize("pitch", [-3.0, 12.4])
def test_a_card_round_a_log_keeps_its_lowest_row(pitch):
    """Of three rows two lie in one plane: without the third it would look flat, leaning."""
    sighting, _ = read(radius_mm=120.0, touch_mm=0.0, pitch=pitch)
    assert np.isin(np.arange(20, 30), sighting.corner_id).sum() >= 8


def test_corners_of_a_bent_card_are_where_they_are():
    turn, place = pose(-3.0, 5.0, 1500.0)
    (sighting,), _ = read_cards(shot(4, turn, place, 150.0, upright=True), "joint.jpg")
    x, y = card.corner_points_mm()[sighting.corner_id, :2].T
    on_arc = np.c_[150 * np.sin(x / 150), y, 150 * np.cos(x / 150) - 150]
    seen = on_arc @ turn.T + place
    true_px = FOCAL_PX * seen[:, :2] / seen[:, 2:] + (np.array(SIZE) - 1) / 2
    # On the edges of the card its squares are half as wide, and blurred alike.
    assert np.sqrt(((sighting.corner_px - true_px) ** 2).mean()) < 0.06


def test_the_only_card_bent_round_a_log_is_refused():
    sighting, _ = read(radius_mm=150.0, touch_mm=0.0)
    with pytest.raises(CardNotFound, match="joint.jpg: card 4 is bent, to a radius of some 150 mm"):
        without_bent((sighting,), LENS, SIZE, "joint.jpg")
    try:
        without_bent((sighting,), LENS, SIZE, "joint.jpg")
    except CardNotFound as error:
        assert error.code == "card-bent"


def test_beside_a_flat_card_the_bent_one_is_left_out():
    bent, _ = read(radius_mm=150.0, touch_mm=0.0)
    (flat,), _ = read_cards(shot(7, *pose(-3.0, 5.0, 1500.0)), "joint.jpg")
    assert without_bent((bent, flat), LENS, SIZE, "joint.jpg") == ((flat,), (4,))


# --- by corners alone -----------------------------------------------------------------------------


def view(rng, curvature, pitch, noise, k1=0.0):
    """A card somewhere in a picture of 12 megapixels; OpenCV projects."""
    distance = rng.uniform(1000, 2000)
    turn, place = pose(pitch + rng.normal(0, 2), rng.normal(0, 4), distance)
    place = place + np.array([*rng.uniform(-0.35, 0.35, 2), 0.0]) * distance
    matrix = np.array([[FOCAL_PX, 0, 2015.5], [0, FOCAL_PX, 1511.5], [0, 0, 1]])
    on_card = bent_points(card.corner_points_mm(), np.array(curvature))
    px, _ = cv2.projectPoints(on_card, cv2.Rodrigues(turn)[0], place, matrix, (k1, 0.0, 0.0, 0.0))
    px = px[:, 0] + noise * rng.standard_normal((30, 2))
    sighting = CardSighting(1, np.arange(30), px, 0.1, np.eye(3), 5.0)
    return CardView(sighting, Lens(FOCAL_PX * (1 + rng.normal(0, 0.02)), 60.0), (4032, 3024))


def test_the_arc_is_as_long_as_the_paper_and_turns_about_its_line():
    points = np.array([[121.0, -48.0, 0.0], [0.0, -48.0, 0.0], [0.0, -4.0, 0.0]])
    upright = bent_points(points, np.array([1 / 121, 0.0, 0.0]))
    np.testing.assert_allclose(upright[0], [121 * np.sin(1), -48, 121 * np.cos(1) - 121], atol=1e-9)
    level = bent_points(points, np.array([0.0, 1 / 44, 0.0]))
    np.testing.assert_allclose(level[2], [0, -48 + 44 * np.sin(1), 44 * np.cos(1) - 44], atol=1e-9)
    np.testing.assert_allclose(level[:2], points[:2], atol=1e-9)


@pytest.mark.parametrize("k1", [-0.02, 0.02])
def test_noise_and_a_strange_lens_are_no_bend(k1):
    """Two standard deviations of k1, corners to 0.2 px: at 4.2 u hardly one of 10,000 is taken for bent."""
    rng = np.random.default_rng(8)
    bends = [card_bend([view(rng, (0, 0, 0), 0.0, 0.2, k1)]) for _ in range(40)]
    assert not any(b.radius_mm < 1500 for b in bends)
    # Chi of three degrees of freedom: median 1.54; 1.25 to 1.9 holds it in 40 draws.
    assert 1.2 < np.median([b.sigmas for b in bends]) < 2.1


def test_photographs_together_tell_more_than_one():
    rng = np.random.default_rng(4)
    views = [view(rng, (0, 1 / 600, 0), pitch, 0.1) for pitch in (0.0, 12.4, -12.4)]
    alone, together = card_bend(views[:1]), card_bend(views)
    assert together.sigmas > alone.sigmas
    assert together.radius_mm == pytest.approx(600, rel=0.3)


def test_a_curl_about_a_slanting_line_is_told():
    rng = np.random.default_rng(6)
    k = 1 / 400  # about a line at 45 degrees
    bend = card_bend([view(rng, (k / 2, k / 2, k / 2), 0.0, 0.1)])
    assert bend.radius_mm == pytest.approx(400, rel=0.15)
    assert bend.sigmas > 20


def test_a_shaken_card_is_not_bent():
    rng = np.random.default_rng(9)
    bend = card_bend([view(rng, (0, 0, 0), 0.0, 0.6)])
    assert bend.noise_px == pytest.approx(0.6, rel=0.3)
    assert bend.radius_mm == np.inf


def test_every_card_has_its_own_bend():
    rng = np.random.default_rng(2)
    seen = [view(rng, (1 / 300, 0, 0), p, 0.1) for p in (0.0, 12.0)]
    rows = [PhotoRows("outside", v.size, k, (v.sighting,)) for k, v in enumerate(seen)]
    bends = card_bends(rows, [v.lens for v in seen])
    assert list(bends) == [1]
    assert bends[1].radius_mm == pytest.approx(300, rel=0.05)
