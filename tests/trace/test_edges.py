"""Sub-pixel limbs in rows of a drawn joint: noise against the Cramer-Rao bound, bias, narrow gaps."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import erf

from gapvision.photo.light import linear
from gapvision.scene.camera import FACING, Camera
from gapvision.trace.edges import BACK_PX, LOG_PX, fit_edges
from gapvision.trace.rectified import CELL_MM, Band
from gapvision.trace.traced_photo import Crop

SIZE = (1000, 260)  # px
PX_PER_MM = 1.8  # of a phone at 1.65 m from the logs' axes
BLOCK = 4  # columns of the band in one block, cells
COLUMNS = BLOCK * CELL_MM * PX_PER_MM  # of the picture in one block
BLUR_PX = 0.85  # of the picture, its pixels' own width included
PULL_PX = 4.0  # sd of the line about the limb, as of labels alone
UPPER_PX, SLOPE = 120.3, 0.013  # of the upper limb in the middle, and down to the right
SAMPLES = 8  # a pixel, where the limb is drawn
LEVELS = (0.20, 0.80, 0.25)  # upper log, background, lower log; linear light


@pytest.fixture(scope="module")
def band():
    """A band square to the wall before a camera that faces it, its pixels left out."""
    columns, rows = int(SIZE[0] / PX_PER_MM) - 20, int(SIZE[1] / PX_PER_MM) - 20
    centre = np.array([40.0, -300.0, 1500.0])
    camera = Camera(FACING["outside"], centre, PX_PER_MM * centre[2], 0.0, SIZE)
    seen = np.ones((rows, columns), bool)
    left, top = centre[0] - columns / 2, centre[1] + rows / 2
    return Band(seen, ~seen, camera, left, top, 0.0)


def picture(levels=LEVELS, gap=60.0, limb=(0.0, 0.0), blur=BLUR_PX, noise=0.0, seed=0):
    """Linear light (h, w): two logs that change like ``limb`` sqrt(px from the edge), and a gap."""
    w, h = SIZE
    y = ((np.arange(h * SAMPLES) + 0.5) / SAMPLES - 0.5)[:, None]
    edge = UPPER_PX + SLOPE * (np.arange(w) - w / 2)
    above, below = edge - y, y - edge - gap
    light = np.where(above > 0, levels[0] + limb[0] * np.sqrt(np.maximum(above, 0)), levels[1])
    light = np.where(below > 0, levels[2] + limb[1] * np.sqrt(np.maximum(below, 0)), light)
    # The average over a pixel's height is a blur of its own, of variance 1/12.
    sigma = np.sqrt(blur**2 - 1 / 12) * SAMPLES
    light = gaussian_filter1d(light, sigma, axis=0).reshape(h, SAMPLES, w).mean(1)
    return light + noise * np.random.default_rng(seed).standard_normal(light.shape)


def as_light(light):
    colours = np.repeat(light[..., None], 3, 2).astype(np.float32)
    return lambda x0, y0, x1, y1: colours[y0:y1, x0:x1]


def fit(band, linear_bgr, gap=60.0, off=0.0, least_good=0.999):
    """Both limbs from lines ``off`` px (one or both) below them: miss (2, n) px, u (2, n), true y (2, n) px.

    NaN where a fit says of itself that it does not hold, and that must be rare.
    """
    blocks = band.seen.shape[1] // BLOCK
    column = (np.arange(blocks) + 0.5) * BLOCK - 0.5
    x = band.to_image(column, 0 * column)[:, 0]
    true = UPPER_PX + SLOPE * (x - SIZE[0] / 2) + np.array([[0.0], [gap]])
    off = np.broadcast_to(off, 2)
    upper, lower = (
        band.from_image(np.stack([x, y + o], 1))[1] for y, o in zip(true, off, strict=True)
    )
    pull = np.full(blocks, PULL_PX)
    fits = fit_edges(linear_bgr, band, column, upper, lower, (pull, pull))
    assert all(f.good.mean() > least_good for f in fits)
    miss = np.array([np.where(f.good, f.shift_px, np.nan) for f in fits]) + off[:, None]
    return miss, np.array([f.u_px for f in fits]), true


def bound(noise, contrast, blur=BLUR_PX):
    """Standard deviation (px) that no unbiased estimate of a blurred step beats, one column.

    Known levels and white noise: (noise / contrast) sqrt(2 sqrt(pi) blur).
    """
    return noise / contrast * np.sqrt(2 * np.sqrt(np.pi) * blur)


def bound_with_free_limb(noise, contrast, blur=BLUR_PX):
    """The same where background, log and a limb like sqrt(d) are to be found too: Fisher's matrix."""
    d = np.arange(-BACK_PX, LOG_PX)
    fine = (np.arange(-40, 40 * SAMPLES) + 0.5) / SAMPLES
    kernel = np.exp(-0.5 * ((d[:, None] - fine) / blur) ** 2) / blur / np.sqrt(2 * np.pi) / SAMPLES
    log = 0.5 * (1 + erf(d / blur / np.sqrt(2)))
    limb = kernel @ np.sqrt(np.maximum(fine, 0))
    place = contrast * np.exp(-0.5 * (d / blur) ** 2) / blur / np.sqrt(2 * np.pi)
    a = np.stack([place, 1 - log, log, limb], 1)
    return noise * np.sqrt(np.linalg.inv(a.T @ a)[0, 0])


# --- noise ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("contrast", "known"), [(160, 0.033), (60, 0.087), (30, 0.174)], ids=lambda v: str(v)
)
def test_the_bound_is_the_published_closed_form(contrast, known):
    """Worked values for noise of 3 grey levels; both levels unknown cost another 15 %."""
    assert bound(3.0, contrast) == pytest.approx(known, abs=0.0005)
    free = bound_with_free_limb(3.0, contrast)
    assert 1.15 < free / bound(3.0, contrast) < 2.5


@pytest.mark.parametrize("noise", [0.03, 0.06])
@pytest.mark.parametrize("levels", [LEVELS, (0.45, 0.05, 0.40)], ids=["bright", "dark"])
def test_scatter_is_near_the_cramer_rao_bound(band, levels, noise):
    """A block has 7.2 columns of the picture. Its profile takes 5 of them, interpolated between
    neighbours, which is worth between 5 and 7.2; and the limb's three levels are free."""
    miss, _, true = fit(band, as_light(picture(levels, noise=noise, seed=4)))
    for k, log in enumerate((levels[0], levels[2])):
        # What depends on the place in the pixel is bias, and tested below.
        phase = np.stack(
            [np.cos(2 * np.pi * true[k]), np.sin(2 * np.pi * true[k]), 1 + 0 * true[k]]
        )
        left = miss[k] - phase.T @ np.linalg.lstsq(phase.T, miss[k], rcond=None)[0]
        contrast = abs(levels[1] - log)
        known = bound(noise, contrast) / np.sqrt(COLUMNS)
        free = bound_with_free_limb(noise, contrast) / np.sqrt(5)
        # Some 130 blocks give a standard deviation to 6 %: three of them either way.
        assert 0.82 * known < left.std() < 1.18 * free


def test_scatter_doubles_with_the_noise(band):
    one, two = (fit(band, as_light(picture(noise=n, seed=4)))[0].std(1) for n in (0.04, 0.08))
    # The same draws; what is left of the fit's own steps of 0.125 px, 0.016 px, is in the first.
    assert two / one == pytest.approx(2.0, rel=0.15)


@pytest.mark.parametrize("noise", [0.06, 0.1])
def test_stated_uncertainty_is_honest(band, noise):
    """Interpolated samples share noise, so that a third less is stated than is there, not less."""
    miss, u, _ = fit(band, as_light(picture(noise=noise, seed=8)))
    for k in range(2):
        assert 0.55 < np.median(u[k]) / miss[k].std() < 1.3


def test_no_less_than_the_least_uncertainty_is_claimed(band):
    _, u, _ = fit(band, as_light(picture()))
    assert u.min() >= 0.05


# --- bias -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("off", [-2.3, 0.0, 1.7])
def test_no_bias_over_the_place_in_the_pixel(band, off):
    """Nor from where the line lay that the search began at."""
    miss, _, true = fit(band, as_light(picture()), off=off)
    for k in range(2):
        for low in np.arange(0, 1, 0.1):
            inside = (true[k] % 1 >= low) & (true[k] % 1 < low + 0.1)
            assert inside.sum() >= 5
            assert abs(miss[k][inside].mean()) < 0.1


@pytest.mark.parametrize("limb", [(0.04, 0.05), (-0.03, -0.02), (0.05, -0.03)], ids=str)
def test_limb_that_changes_like_the_root_of_the_distance(band, limb):
    light = picture((0.30, 0.85, 0.28), limb=limb, noise=0.01)
    miss, _, _ = fit(band, as_light(light))
    assert np.abs(miss.mean(1)).max() < 0.3


def test_limb_as_bright_as_the_background_deep_in_the_log(band):
    """The steepest gradient lies off such a limb; the model's edge does not."""
    light = picture((0.05, 0.35, 0.05), limb=(0.1, 0.1), noise=0.005)
    miss, _, true = fit(band, as_light(light))
    assert np.abs(miss.mean(1)).max() < 0.3
    steepest = np.argmax(np.abs(np.diff(light[:140], axis=0)), axis=0) + 0.5
    edge = UPPER_PX + SLOPE * (np.arange(SIZE[0]) - SIZE[0] / 2)
    assert np.abs(miss[0].mean()) < np.abs(np.mean(steepest - edge)) + 0.1


@pytest.mark.parametrize("blur", [0.6, 1.0, 1.5])
def test_blur_other_than_expected(band, blur):
    """A sharp phone, a usual one, and one that shook a little."""
    miss, _, _ = fit(band, as_light(picture(blur=blur, noise=0.01)))
    assert np.abs(miss.mean(1)).max() < 0.3


@pytest.mark.parametrize(("sky", "most"), [(1.5, 0.5), (3.0, 0.5), (10.0, 1.0)])
def test_sky_that_is_burnt_out(band, sky, most):
    """A clipped sky looks wider than it is: by 0.9, 1.8 and 3 px of gap if taken as written. The
    brighter, the less of the edge is left to see: of ten times white only its foot."""
    light = picture((0.05, sky, 0.06), noise=0.0)
    light = np.minimum(light + 0.005 * np.random.default_rng(2).standard_normal(light.shape), 1.0)
    miss, _, _ = fit(band, as_light(light))
    assert abs(miss[1].mean() - miss[0].mean()) < most


# --- linear light ---------------------------------------------------------------------------------


def encoded(light):
    """8-bit values with the sRGB curve (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.repeat(np.rint(255 * curve).astype(np.uint8)[..., None], 3, 2)


@pytest.mark.parametrize(
    ("ratio", "bias"), [(5, 0.23), (20, 0.40), (45, 0.49)], ids=lambda v: str(v)
)
def test_works_in_linear_light(band, ratio, bias):
    """Encoded values put an edge off towards the dark by a known bias (blur 0.8 px); light does not.

    The logs are the bright side here, the gap the dark one.
    """
    values = encoded(picture((0.6, 0.6 / ratio, 0.6), blur=0.8))
    in_light, _, _ = fit(band, Crop(values, 0, 0).linear)
    assert np.abs(in_light.mean(1)).max() < 0.1
    as_written, _, _ = fit(band, as_light(values[..., 0] / 255))
    towards_dark = as_written.mean(1) * [1, -1]
    assert towards_dark == pytest.approx(bias, abs=0.15)


def test_strip_gives_the_photograph_s_light_at_its_own_rows():
    values = encoded(picture(noise=0.02))
    strip = Crop(values[80:220], 0, 80)
    np.testing.assert_array_equal(strip.linear(3, 90, 40, 130), linear(values[90:130, 3:40]))


# --- narrow gaps ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "off", [(-1.2, -1.2), (0.0, 0.0), (1.2, 1.2), (-1.0, 1.0), (0.6, -0.6)], ids=str
)
@pytest.mark.parametrize("gap", [8.0, 6.0, 5.0, 4.0, 3.0])
def test_narrow_gap(band, gap, off):
    """An edge fitted by itself reads 0.13 px off where the gap is 4 px wide, and 0.47 where it is 3,
    in linear light; both at once do not.

    The lines to start from are off by no more than the labels are, 1.2 px being 0.7 mm.
    """
    light = as_light(picture(gap=gap, noise=0.02, seed=3))
    miss, _, _ = fit(band, light, gap=gap, off=off, least_good=0.95)
    assert np.abs(np.nanmedian(miss, axis=1)).max() < 0.1
    assert np.nanmax(np.abs(miss)) < 0.5
