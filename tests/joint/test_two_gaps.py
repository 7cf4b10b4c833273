"""A joint photographed before and after its log was lowered."""

import re
from datetime import datetime, timedelta

import cv2
import numpy as np
import pytest
from helpers.demo import FOLDER
from PIL import Image

from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.gather import gather_photos
from gapvision.scene.priors import Priors
from gapvision.spine import measure

LOWERED_MM = 8.0
START = datetime(2026, 5, 14, 9, 10)


@pytest.fixture(scope="module")
def taken(tmp_path_factory):
    """Save a rendered photograph as taken some minutes later, all below the gap's middle raised."""
    folder = tmp_path_factory.mktemp("lowered")

    def save(number, minutes, lowered_mm=0.0):
        original = FOLDER / f"photo{number}.jpg"
        (seen,) = gather_photos(MeasureOptions(photos=(original,)), Priors(), None).photos
        picture = cv2.imread(str(original))
        h, w = picture.shape[:2]
        line = 0.5 * (seen.trace.upper.xy_px + seen.trace.lower.xy_px)
        middle = np.interp(np.arange(w), *line[np.argsort(line[:, 0])].T)
        px = lowered_mm / float(np.median(seen.trace.mm_per_px))
        x, y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
        from_y = np.where(y < middle - px / 2, y, y + px).astype(np.float32)
        moved = cv2.remap(picture, x, from_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        with Image.open(original) as opened:
            exif = opened.getexif()
        when = START + timedelta(minutes=minutes)
        exif.get_ifd(0x8769)[0x9003] = when.strftime("%Y:%m:%d %H:%M:%S")
        file = folder / f"{'after' if lowered_mm else 'before'}{number}-{minutes}.jpg"
        Image.fromarray(moved[..., ::-1]).save(file, quality=95, exif=exif)
        return file

    return save


def test_before_and_after_it_was_lowered_are_two_gaps(taken):
    photos = taken(0, 0), taken(1, 1), taken(0, 30, LOWERED_MM), taken(1, 31, LOWERED_MM)
    with pytest.raises(MeasurementError) as caught:
        measure(MeasureOptions(photos=photos))
    text = caught.value.text
    assert caught.value.code == "several-joints"
    before = re.search("two gaps: A: before0-0.jpg, before1-1.jpg: about ([0-9]+) mm", text)
    after = re.search("B: after0-30.jpg, after1-31.jpg: about ([0-9]+) mm", text)
    assert int(before[1]) - int(after[1]) == pytest.approx(LOWERED_MM, abs=2)


def test_a_pause_alone_is_no_reason(taken):
    photos = taken(0, 0), taken(1, 1), taken(2, 40)
    found = measure(MeasureOptions(photos=photos))
    assert all(p.used for p in found.photos) and "misfit" not in [c.code for c in found.cautions]
