"""One picture and its copies count once; two photographs from one place do not become one."""

from dataclasses import replace

import cv2
import pytest
from helpers.demo import FOLDER
from PIL import Image

from gapvision.answer.caution_text import caution_text
from gapvision.answer.lack_text import lack_text
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.copies import without_copies
from gapvision.joint.gather import gather_photos
from gapvision.scene.priors import Priors
from gapvision.spine import measure

ORIGINAL = FOLDER / "photo0.jpg"


def messenger_s(path, side=2000, quality=80):
    """As messengers copy: smaller, compressed again, nothing told of the camera."""
    with Image.open(ORIGINAL) as picture:
        scale = side / max(picture.size)
        small = picture.resize([round(s * scale) for s in picture.size], Image.Resampling.LANCZOS)
        small.save(path, quality=quality)
    return path


def turned(path):
    """Stored on its side, with the Exif orientation that turns it upright."""
    with Image.open(ORIGINAL) as picture:
        exif = picture.getexif()
        exif[0x0112] = 6
        picture.transpose(Image.Transpose.ROTATE_90).save(path, quality=92, exif=exif)
    return path


def gathered(*photos):
    return gather_photos(MeasureOptions(photos=photos), Priors(), None)


@pytest.mark.parametrize("copied", [messenger_s, turned])
def test_a_copy_is_left_out_whichever_comes_first(tmp_path, copied):
    copy = copied(tmp_path / "copy.jpg")
    for given in ((ORIGINAL, copy), (copy, ORIGINAL)):
        found = gathered(*given)
        assert len(found.photos) == 1
        (left,) = found.left_out
        assert left.lacked.code == "copy"
        assert "is left out: it is the same picture as" in lack_text(left, "mm")
    kept = gathered(messenger_s(tmp_path / "m.jpg"), ORIGINAL).photos[0]
    assert kept.facts.file == "photo0.jpg"  # the one of more pixels, which tells its focal length


def test_other_heights_are_no_copies():
    found = gathered(*(FOLDER / f"photo{k}.jpg" for k in range(3)))
    assert len(found.photos) == 3 and not found.left_out


def test_a_photograph_from_nearly_the_same_place_is_none(tmp_path):
    """A hand moves by more than the half pixel that a copy does: 1.5 px here."""
    picture = cv2.imread(str(ORIGINAL))
    moved = cv2.warpAffine(
        picture, cv2.getRotationMatrix2D((0, 0), 0.05, 1.0), picture.shape[1::-1],
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    cv2.imwrite(str(tmp_path / "again.jpg"), moved)
    assert len(gathered(ORIGINAL, tmp_path / "again.jpg").photos) == 2


@pytest.fixture(scope="module")
def original():
    return gathered(ORIGINAL).photos[0]


def retaken(photo, taken=None, closer_px=0.0):
    """The same picture from a stand, at another time, or with the lower log that much higher."""
    lower = replace(photo.trace.lower, xy_px=photo.trace.lower.xy_px - [0.0, closer_px])
    facts = replace(photo.facts, taken=taken or photo.facts.taken)
    return replace(photo, facts=facts, trace=replace(photo.trace, lower=lower), label="again.jpg")


def test_a_phone_on_a_stand_takes_no_copies(original):
    assert len(without_copies((original, retaken(original)))[0]) == 1
    assert len(without_copies((original, retaken(original, "2026-05-14T09:40:00")))[0]) == 2


def test_a_log_that_was_lowered_is_no_copy_though_all_else_is_alike(original):
    assert len(without_copies((original, retaken(original, closer_px=3.0)))[0]) == 2


def test_another_side_shape_or_card_is_no_copy(original):
    rows, facts = original.rows, original.facts
    renumbered = tuple(replace(s, number=s.number + 20) for s in rows.sightings)
    for other in (
        replace(original, rows=replace(rows, side="inside")),
        replace(original, facts=replace(facts, height=facts.height - 200)),
        replace(original, rows=replace(rows, sightings=renumbered)),
    ):
        assert len(without_copies((original, replace(other, label="again.jpg")))[0]) == 2


def test_the_answer_is_that_of_the_original_and_a_small_copy_alone_is_told_to_be_one(tmp_path):
    copy = messenger_s(tmp_path / "copy.jpg")
    both, alone = (measure(MeasureOptions(photos=p)) for p in ((ORIGINAL, copy), (ORIGINAL,)))
    assert both.setting == alone.setting
    assert "reduced-copy" not in [c.code for c in both.cautions + alone.cautions]
    small = measure(MeasureOptions(photos=(copy,)))
    (told,) = [c for c in small.cautions if c.code == "reduced-copy"]
    assert not told.doubtful
    assert "copy.jpg is small and tells no camera" in caution_text(told, small.cards, "mm")
    assert "Send it as a file, not as a picture" in caution_text(told, small.cards, "mm")
