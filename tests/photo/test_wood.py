"""Is the wood beside a card the same in two photographs? Rendered joints, and woods made up."""

import cv2
import numpy as np
import pytest
from helpers.demo import FOLDER
from scipy.ndimage import gaussian_filter

from gapvision.inputs.options import MeasureOptions
from gapvision.photo import wood
from gapvision.photo.cards import find_cards
from gapvision.photo.lens.prior import choose_lens
from gapvision.photo.photo import load_photo
from gapvision.photo.pose import card_pose
from gapvision.photo.wood import OTHER, SAME, UNKNOWN, Likeness, flattened, likeness, wood_beside
from gapvision.scene.camera import FACING, Camera

SHAPE = wood.ABOVE - wood.BELOW + 1, 2 * wood.HALF_WIDTH + 1


def beside(file):
    """The wood beside each card of a rendered photograph, by number."""
    photo = load_photo(FOLDER / file)
    lens, _ = choose_lens(photo.facts, MeasureOptions(photos=()).camera)
    return {
        s.number: wood_beside(photo.bgr, card_pose(s, lens, photo.facts.size))
        for s in find_cards(photo.bgr, file)
    }


@pytest.fixture(scope="module")
def heights():
    return [beside(f"photo{k}.jpg") for k in range(3)]


@pytest.fixture(scope="module")
def other_joint():
    return beside("whole_log/photo0.jpg")


def alike(one, other):
    return likeness(flattened(one), flattened(other))


def under_leaves(seen, rng):
    """Sun through leaves: soft spots, three times as bright as what lies between them."""
    spots = gaussian_filter(rng.standard_normal(seen.shape), 20)
    lit = gaussian_filter((spots > 0).astype(float), 4)
    light = (seen / 255.0) ** 2.2 * (0.33 + 0.67 * lit)
    return np.where(seen > 0, np.maximum(255 * light ** (1 / 2.2), 1), 0).astype(np.uint8)


def test_one_joint_from_three_heights_is_the_same_beside_either_card(heights):
    for number in (1, 2):
        for a, b in ((0, 1), (0, 2), (1, 2)):
            assert alike(heights[a][number], heights[b][number]).verdict == SAME


def test_a_card_of_the_same_number_on_another_log(heights, other_joint):
    for seen in heights:
        assert alike(seen[1], other_joint[1]).verdict == OTHER


def test_it_does_not_matter_which_is_first(heights, other_joint):
    for other in (heights[1][1], other_joint[1]):
        one, two = alike(heights[0][1], other), alike(other, heights[0][1])
        assert one.verdict == two.verdict and one.mean == pytest.approx(two.mean, abs=0.06)


def test_light_through_leaves_makes_no_other_log_of_it(heights):
    """Another light on each photograph; the grain below it stays."""
    rng = np.random.default_rng(3)
    for a, b in ((0, 1), (0, 2), (1, 2)):
        for number in (1, 2):
            lit = [under_leaves(heights[k][number], rng) for k in (a, b)]
            assert alike(*lit).verdict != OTHER


def test_a_card_that_swung_between_hides_nothing(heights):
    turn = cv2.getRotationMatrix2D((wood.HALF_WIDTH, wood.ABOVE), 1.0, 1.0)
    swung = cv2.warpAffine(heights[1][2], turn, SHAPE[::-1])
    assert alike(heights[0][2], swung).verdict == SAME


def test_what_shows_no_grain_tells_nothing():
    plain = np.full(SHAPE, 130, np.uint8)
    rng = np.random.default_rng(1)
    noisy = [(plain + rng.normal(0, 1, SHAPE)).astype(np.uint8) for _ in range(2)]
    assert alike(*noisy) == Likeness(0.0, 0.0, 0)
    assert alike(*noisy).verdict == UNKNOWN


def test_cards_alone_in_the_picture_tell_nothing(heights):
    """The card itself, its backing and its shadow are alike everywhere."""
    cut = heights[0][1].copy()
    cut[:, : wood.HALF_WIDTH - 150] = 0
    cut[:, wood.HALF_WIDTH + 150 :] = 0
    assert alike(cut, cut).blocks == 0


def test_the_patch_is_laid_out_in_mm(heights):
    """The card's black squares begin 10 mm from its left edge and end there on the right."""
    row = heights[0][2][wood.ABOVE + 15].astype(float)  # the face is 9 mm behind it: 0.6 % smaller
    inside = row[wood.HALF_WIDTH - 126 : wood.HALF_WIDTH + 127]
    dark = np.flatnonzero(inside < 0.5 * (inside.max() + inside.min()))
    width = dark[-1] - dark[0] + 1
    assert width == pytest.approx(242, abs=4)


def test_sixteen_bits_are_read_alike():
    photo = load_photo(FOLDER / "photo0.jpg")
    lens, _ = choose_lens(photo.facts, None)
    camera = card_pose(find_cards(photo.bgr, "a")[0], lens, photo.facts.size)
    deep = photo.bgr.astype(np.uint16) * 257
    np.testing.assert_array_equal(wood_beside(deep, camera), wood_beside(photo.bgr, camera))


@pytest.mark.parametrize(
    ("mean", "best", "blocks", "verdict"),
    [
        (0.2, 0.3, wood.FEWEST_TO_SUSPECT - 1, wood.UNKNOWN),
        (0.2, 0.3, wood.FEWEST_TO_SUSPECT, wood.PERHAPS_OTHER),
        (0.2, 0.6, wood.FEWEST_TO_SUSPECT, wood.UNKNOWN),
        (0.9, 0.9, wood.FEWEST_BLOCKS - 1, wood.UNKNOWN),  # too little wood to be sure by
        (0.2, 0.3, wood.FEWEST_BLOCKS, wood.OTHER),
        (0.9, 0.9, wood.FEWEST_BLOCKS, wood.SAME),
    ],
)
def test_little_wood_is_never_the_same_nor_surely_another(mean, best, blocks, verdict):
    assert wood.Likeness(mean, best, blocks).verdict == verdict


def test_beside_a_card_out_of_the_picture_there_is_no_wood():
    camera = Camera(FACING["outside"], np.array([5000.0, 0.0, 800.0]), 1500.0, 0.0, (900, 600))
    seen = wood_beside(np.full((600, 900, 3), 120, np.uint8), camera)
    assert not seen.any() and likeness(flattened(seen), flattened(seen)).verdict == wood.UNKNOWN
