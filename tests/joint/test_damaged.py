"""A damaged file that still shows its joint: measured, with a caution that says so, never in silence."""

import io

import pytest
from helpers.demo import FOLDER, TRUTH, options
from PIL import Image

from gapvision.answer.caution_text import caution_text
from gapvision.errors import PhotoUnreadable
from gapvision.spine import measure

WHOLE = (FOLDER / TRUTH["files"][0]).read_bytes()


def in_restarts():
    out = io.BytesIO()
    with Image.open(io.BytesIO(WHOLE)) as picture:
        exif = picture.info["exif"]
        picture.save(out, "JPEG", quality=90, exif=exif, restart_marker_rows=1)
    return out.getvalue()


def measured(tmp_path, content):
    path = tmp_path / "IMG_1.jpg"
    path.write_bytes(content)
    found = measure(options(path))
    cautions = [c for c in found.cautions if c.code == "damaged"]
    return found, cautions


def test_damage_below_the_joint_is_said_and_changes_nothing(tmp_path):
    whole, said = measured(tmp_path, WHOLE)
    assert not said
    cut, (caution,) = measured(tmp_path, WHOLE[: int(0.8 * len(WHOLE))])
    assert cut.status == whole.status == "measured" and not caution.doubtful
    assert cut.setting == whole.setting and cut.widest_gap == whole.widest_gap
    assert "The file IMG_1.jpg is damaged away from the joint" in caution_text(caution, (), "mm")
    assert not any("copy IMG_1" in str(step) for step in cut.to_do)


def test_damage_across_the_joint_makes_it_doubtful(tmp_path):
    at = int(0.5 * len(WHOLE))
    found, (caution,) = measured(tmp_path, WHOLE[:at] + bytes(512) + WHOLE[at + 512 :])
    assert found.status == "doubtful" and caution.doubtful
    assert "is damaged where the joint or a card lies" in caution_text(caution, (), "mm")


def test_damage_of_a_row_between_restarts(tmp_path):
    whole = in_restarts()
    marks = [i for i in range(len(whole) - 1) if whole[i] == 0xFF and 0xD0 <= whole[i + 1] <= 0xD7]
    for share, doubtful in ((0.48, True), (0.9, False)):
        at = marks[int(share * len(marks))] + 20
        found, (caution,) = measured(tmp_path, whole[:at] + bytes(300) + whole[at + 300 :])
        assert caution.doubtful == doubtful, share
        assert (found.status == "doubtful") == doubtful


def test_damage_that_may_be_anywhere_is_doubtful(tmp_path):
    out = io.BytesIO()
    with Image.open(io.BytesIO(WHOLE)) as picture:
        picture.save(out, "JPEG", quality=90, exif=picture.info["exif"], progressive=True)
    content = out.getvalue()
    _, (caution,) = measured(tmp_path, content[: int(0.97 * len(content))])
    assert caution.doubtful
    assert "where in the picture cannot be told" in caution_text(caution, (), "mm")


def test_a_damaged_file_without_a_card_left_is_called_damaged(tmp_path):
    out = io.BytesIO()
    Image.open(io.BytesIO(WHOLE)).convert("L").point(lambda v: v // 2 + 60).crop(
        (0, 0, 3264, 600)
    ).save(out, "JPEG")  # no card lies so high
    content = out.getvalue()
    with pytest.raises(PhotoUnreadable, match="is damaged, and what is left of it") as refused:
        measured(tmp_path, content[: int(0.9 * len(content))])
    assert refused.value.code == "truncated"
