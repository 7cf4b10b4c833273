"""A JPEG that is damaged and still decodes: noticed, and told from where on it is not to be trusted."""

import io

import cv2
import numpy as np
import pytest
from helpers.phones import pixels
from PIL import Image

from gapvision.errors import PhotoUnreadable
from gapvision.photo.damage import Damage, damage_of_jpeg, damaged_rows
from gapvision.photo.decode import decoded

WIDTH, HEIGHT = 800, 600


def jpeg(**save):
    out = io.BytesIO()
    pixels().resize((WIDTH, HEIGHT)).save(out, "JPEG", **({"quality": 90} | save))
    return out.getvalue()


KINDS = {
    "4:2:0": jpeg(),
    "4:4:4": jpeg(subsampling=0),
    "fitted tables": jpeg(optimize=True),
    "restarts": jpeg(restart_marker_rows=1),
    "grey": cv2.imencode(".jpg", np.asarray(pixels().resize((WIDTH, HEIGHT)).convert("L")))[1].tobytes(),
}  # fmt: skip


def truly_wrong(data, whole):
    """The first row that is decoded otherwise than in the whole file, None if there is none."""
    (got, _, _), (right, _, _) = decoded(data, "a"), decoded(whole, "a")
    rows = np.flatnonzero(np.abs(got.astype(int) - right).max((1, 2)) > 2)
    return int(rows[0]) if len(rows) else None


@pytest.mark.parametrize("kind", KINDS)
def test_whole_pictures_have_no_damage(kind):
    whole = KINDS[kind]
    assert damaged_rows(whole) is None
    assert decoded(whole, "a")[2] is None
    behind = whole + b"\0" * 500 + whole[:3000]
    assert damaged_rows(behind) is None and decoded(behind, "a")[2] is None
    padded = whole[:-2] + bytes(9) + whole[-2:]  # as some cameras write
    assert decoded(padded, "a")[2] is None


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("how", ["cut", "filled", "noise", "filled to the end"])
@pytest.mark.parametrize("share", [0.75, 0.9])
def test_all_that_is_wrong_lies_in_what_is_told(kind, how, share):
    whole = KINDS[kind]
    scan = whole.index(b"\xff\xda")
    at = scan + int(share * (len(whole) - scan))
    data = bytearray(whole)
    if how == "cut":
        del data[at:]
    elif how == "filled":
        data[at : at + 512] = bytes(512)
    elif how == "filled to the end":
        data[at:] = bytes(len(data) - at)
    else:
        data[at : at + 512] = np.random.default_rng(at).bytes(512)
    data = bytes(data[: len(whole)])
    bgr, _, damage = decoded(data, "a")
    assert bgr.shape == (HEIGHT, WIDTH, 3) and damage is not None
    first = truly_wrong(data, whole)
    assert damage.y0 <= first and (damage.x0, damage.x1) == (0, WIDTH)
    if damage.located:  # and not much more: a row of MCUs, or 200 of them
        assert first - damage.y0 <= 16 * (1 + 200 // (WIDTH // 16) + 1) + 2


def test_between_restarts_the_rest_stays_trusted():
    whole = KINDS["restarts"]
    at = whole.index(b"\xff\xd4") + 40
    data = whole[:at] + bytes(100) + whole[at + 100 :]
    damage = decoded(data, "a")[2]
    assert damage.located and damage.y1 - damage.y0 <= 36
    got, right = decoded(data, "a")[0], decoded(whole, "a")[0]
    assert (got[damage.y1 + 16 :] == right[damage.y1 + 16 :]).all()


def test_a_lost_restart_marker_leaves_nothing_after_it():
    whole = KINDS["restarts"]
    at = whole.rindex(b"\xff\xd0")
    data = whole[:at] + b"\x12\x34" + whole[at + 2 :]
    rows = damaged_rows(data)
    assert rows[1] == HEIGHT and rows[0] <= truly_wrong(data, whole)


def test_where_a_progressive_picture_is_damaged_cannot_be_told():
    whole = jpeg(progressive=True)
    assert decoded(whole, "a")[2] is None
    assert decoded(whole[: int(0.9 * len(whole))], "a")[2] == Damage(0, 0, WIDTH, HEIGHT, False)


def test_too_many_codes_tell_no_place():
    whole = KINDS["4:2:0"]
    data = whole[:-2] + whole[-200:]  # some blocks more than the picture has
    assert decoded(data, "a")[2] == Damage(0, 0, WIDTH, HEIGHT, False)


def test_bytes_that_fill_up_between_segments_are_none_of_them():
    """FF may stand before any marker (ITU-T T.81, B.1.1.2): the damage is told where it is all the same."""
    whole = KINDS["4:2:0"]
    filled = whole[:2] + b"\xff\xff" + whole[2:]
    assert damaged_rows(filled) is None
    for data in (whole, filled):
        scan = data.index(b"\xff\xda")
        at = scan + int(0.75 * (len(data) - scan))
        broken = data[:at] + bytes(300) + data[at + 300 :]
        rows = damaged_rows(broken)
        assert rows[0] <= truly_wrong(broken, whole) < rows[1]


@pytest.mark.parametrize("share", [0.05, 0.3])
def test_a_picture_of_which_most_is_lost_is_refused(share):
    whole = KINDS["4:2:0"]
    with pytest.raises(PhotoUnreadable, match="breaks off or is damaged"):
        decoded(whole[: int(share * len(whole))], "a")


@pytest.mark.parametrize("orientation", range(1, 9))
def test_damage_is_told_in_the_upright_picture(orientation):
    """The part that is told turns with the pixels, as OpenCV turns them."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    whole = jpeg(exif=exif)
    bgr, _, damage = decoded(whole[: int(0.8 * len(whole))], "a")
    right = decoded(whole, "a")[0]
    wrong = np.abs(bgr.astype(int) - right).max(2) > 2
    outside = wrong.copy()
    outside[damage.y0 : damage.y1, damage.x0 : damage.x1] = False
    assert damage.located and wrong.any() and not outside.any()
    told = (damage.x1 - damage.x0) * (damage.y1 - damage.y0) / wrong.size
    assert told < 0.45


def test_touching_is_by_boxes():
    damage = Damage(0, 400, 800, 600)
    assert damage.touches(np.array([[10.0, 100.0], [20.0, 400.0]]))
    assert not damage.touches(np.array([[10.0, 100.0], [20.0, 399.0]]))
    right = Damage(700, 0, 800, 600)
    assert right.touches(np.array([[750.0, 5.0]])) and not right.touches(np.array([[650.0, 5.0]]))


def test_no_bytes_make_it_stumble():
    rng = np.random.default_rng(8)
    for kind in KINDS.values():
        for _ in range(60):
            data = bytearray(kind)
            for at in rng.integers(2, 700, rng.integers(1, 6)):
                data[at] = rng.integers(0, 256)
            rows = damaged_rows(bytes(data))
            assert rows is None or 0 <= rows[0] <= rows[1]
            damage_of_jpeg(bytes(data), (WIDTH, HEIGHT), 6)
