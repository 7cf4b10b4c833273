"""The lens from corners of the sheet: known lenses seen through OpenCV's projection."""

import cv2
import numpy as np
import pytest
from helpers.sheet_views import CORNERS, SIZE, TRUE, seen

from gapvision.errors import NotCalibrated
from gapvision.photo.lens.fit import SheetView, fit_lens

START_PX = 2912.0  # 26 mm as Exif rounds it: 1.5 % off


def views_of(pairs):
    return [SheetView(f"photo{i}.jpg", points, px) for i, (points, px) in enumerate(pairs)]


def fit(seed=1, **kind):
    return fit_lens(views_of(seen(np.random.default_rng(seed), **kind)), SIZE, START_PX)


def test_known_lens_is_found():
    """Truth: the projection's own lens. The aims are those of a phone at 26 mm."""
    found = fit()
    assert found.model == "k1"
    assert found.focal_px.value == pytest.approx(TRUE["f"], rel=0.001)
    assert found.k1.value == pytest.approx(TRUE["k1"], abs=0.002)
    assert not found.anisotropic and not found.poor
    x, y = found.principal_px
    assert abs(x.value - TRUE["cx"]) < 3 * x.u + 0.1 and abs(y.value - TRUE["cy"]) < 3 * y.u + 0.1


def test_as_opencv_has_it():
    """An independent library on the same corners: plain least squares, the principal point fixed."""
    pairs = seen(np.random.default_rng(2))
    matrix = np.array([[START_PX, 0, TRUE["cx"]], [0, START_PX, TRUE["cy"]], [0, 0, 1.0]])
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
    )  # fmt: skip
    _, matrix, distortion, *_ = cv2.calibrateCamera(
        [np.float32(p) for p, _ in pairs], [np.float32(px) for _, px in pairs], SIZE, matrix,
        np.zeros(4), flags=flags,
    )  # fmt: skip
    found = fit_lens(views_of(pairs), SIZE, START_PX)
    # The losses differ beyond 3 sd only, so that the two agree to a part of the uncertainty.
    assert abs(found.focal_px.value - matrix[0, 0]) < found.focal_px.u / 2
    assert abs(found.k1.value - np.ravel(distortion)[0]) < found.k1.u / 2


def test_stated_uncertainty_holds_the_truth():
    """Of 20 lenses at least 16 lie within 1.96 u: the binomial's 1 % quantile at 95 %."""
    inside = {"f": 0, "k1": 0}
    for seed in range(20):
        found = fit(seed, photos=6)
        inside["f"] += abs(found.focal_px.value - TRUE["f"]) < 1.96 * found.focal_px.u
        inside["k1"] += abs(found.k1.value - TRUE["k1"]) < 1.96 * found.k1.u
    assert min(inside.values()) >= 16


def test_twice_the_noise_is_twice_the_uncertainty():
    once, twice = fit(3, noise_px=0.05), fit(3, noise_px=0.10)
    assert twice.focal_px.u / once.focal_px.u == pytest.approx(2, rel=0.3)
    assert once.misfit_px["k1"] == pytest.approx(0.05, rel=0.1)


@pytest.mark.parametrize(
    ("lens", "model"),
    [
        ({"k1": 0.0}, "none"),
        ({"k1": 0.067}, "k1"),  # 5 % in the corner
        ({"k1": -0.08, "k2": 0.12}, "k1, k2"),
        ({"cx": 2050.0, "cy": 1490.0}, "k1, principal point"),
    ],
)
def test_model_is_the_one_that_the_data_need(lens, model):
    found = fit(4, lens=TRUE | lens)
    assert found.model == model
    for name, known in found.values.items():
        true = (TRUE | lens)[name.removesuffix("_px").replace("focal", "f")]
        assert abs(known.value - true) < 3.5 * known.u


@pytest.mark.parametrize("aspect", [1.004, 0.997])
def test_print_that_is_longer_one_way_is_caught(aspect):
    found = fit(5, aspect=aspect)
    assert found.anisotropic
    assert found.aspect.value == pytest.approx(aspect, abs=4 * found.aspect.u)
    assert found.aspect.u < 0.0005
    assert found.focal_px.value == pytest.approx(TRUE["f"], rel=0.001)  # and does no harm


def test_poor_photograph_is_named_and_left_out():
    pairs = seen(np.random.default_rng(6))
    bent = np.where(pairs[3][0][:, :1] > 0, 1.5, 0.0) * [1.0, 0.4]  # its right half has slipped
    pairs[3] = pairs[3][0], pairs[3][1] + bent
    found = fit_lens(views_of(pairs), SIZE, START_PX)
    assert [file for file, _ in found.poor] == ["photo3.jpg"]
    assert "px" in found.poor[0][1]
    assert len(found.photos) == len(pairs) - 1
    assert found.focal_px.value == pytest.approx(TRUE["f"], rel=0.001)


def test_single_false_corners_do_not_move_it():
    pairs = seen(np.random.default_rng(7))
    for _, px in pairs:
        px[5] += [0.6, -0.5]
    found = fit_lens(views_of(pairs), SIZE, START_PX)
    assert found.focal_px.value == pytest.approx(TRUE["f"], rel=0.001)


def test_two_cut_cards_are_no_sheet():
    apart = CORNERS + np.where(np.arange(60) < 30, 0, 30)[:, None] * [0, 1, 0]
    with pytest.raises(NotCalibrated, match="uncut") as caught:
        fit(8, corners=apart)
    assert caught.value.code == "no-sheet"


def test_too_few_photographs():
    with pytest.raises(NotCalibrated, match="at least 5") as caught:
        fit(9, photos=4)
    assert caught.value.code == "too-few"


def test_square_on_tells_no_focal_length():
    """A plane seen square on is as large from twice as far with twice the focal length."""
    with pytest.raises(NotCalibrated, match="tilted") as caught:
        fit(10, tilt_deg=(0, 0.5), noise_px=0.1)
    assert caught.value.code == "square-on"
