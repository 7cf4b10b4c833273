"""A joint photographed before and after its log was lowered."""

import re
from datetime import datetime, timedelta
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from helpers.demo import FOLDER
from PIL import Image

from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.joint import two_gaps
from gapvision.joint.gather import Gathered, gather_photos
from gapvision.joint.two_gaps import check_one_gap
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


APART = timedelta(minutes=30)


def parts_of(pause=APART, times=True, makes=("A", "A")):
    """Two photographs and two some time later."""
    taken = START, START + timedelta(minutes=1), START + pause, START + pause + timedelta(minutes=1)
    return tuple(
        SimpleNamespace(
            label=f"{k}.jpg",
            facts=SimpleNamespace(
                make=makes[k // 2], model="", taken=at.isoformat() if times or k else None
            ),
        )
        for k, at in enumerate(taken)
    )


def alone(gap_mm=20.0, first=1, disagrees=False, stretch=(0.0, 1000.0)):
    """What is solved of one part."""
    sections = SimpleNamespace(gap=lambda: np.full(5, gap_mm))
    cards = [SimpleNamespace(number=n) for n in (first, first + 1)]
    joint = SimpleNamespace(cards=cards, sections=lambda at: sections)
    return SimpleNamespace(joint=joint, disagrees=disagrees, stretch_mm=stretch)


NOT_FITTED = JointNotFitted("nothing-seen", "")


@pytest.mark.parametrize(
    ("photos", "second", "two"),
    [
        ({}, alone(28.0), True),
        ({}, alone(22.9), False),  # as wide
        ({"pause": timedelta(minutes=4)}, alone(28.0), False),
        ({"times": False}, alone(28.0), False),
        ({"makes": ("A", "B")}, alone(28.0), False),  # whose clocks may differ
        ({}, alone(28.0, first=3), False),  # whose stations count from another card
        ({}, alone(28.0, disagrees=True), False),
        ({}, alone(28.0, stretch=(1000.0, 2000.0)), False),  # nothing of the same log
        ({}, NOT_FITTED, False),
    ],
)
def test_only_two_that_each_agree_within_and_not_with_the_other_are_two_gaps(
    monkeypatch, photos, second, two
):
    """Else a wrong line makes them contradict each other, and the answer says that."""
    solved = iter([alone(20.0), second])

    def solve(*_):
        found = next(solved)
        if found is NOT_FITTED:
            raise found
        return found

    monkeypatch.setattr(two_gaps, "solve", solve)
    monkeypatch.setattr(two_gaps, "_is_level", lambda photo: True)
    given = Gathered(parts_of(**photos), (), ())
    asked = MeasureOptions(photos=())
    if not two:
        return check_one_gap(asked, given, alone(disagrees=True), Priors())
    check_one_gap(asked, given, alone(disagrees=False), Priors())  # who do not contradict are one
    with pytest.raises(
        JointNotFitted, match="A: 0.jpg, 1.jpg: about 20 mm; B: 2.jpg, 3.jpg: about 28"
    ):
        check_one_gap(asked, given, alone(disagrees=True), Priors())


def test_a_pause_alone_is_no_reason(taken):
    photos = taken(0, 0), taken(1, 1), taken(2, 40)
    found = measure(MeasureOptions(photos=photos))
    assert all(p.used for p in found.photos) and "misfit" not in [c.code for c in found.cautions]
