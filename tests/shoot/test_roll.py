"""A camera roll with slips in it, at the size that phones take."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from helpers.rolls import CODE_SHARE, NORTH_3, NORTH_4, SIZE, START, background, save, with_slip

from gapvision.errors import MeasurementError
from gapvision.inputs.joint_form import load_joint_form
from gapvision.inputs.joint_name import JointName
from gapvision.shoot.roll import (
    NO_TIME,
    UNREAD,
    Group,
    Roll,
    Shot,
    copy_groups,
    folder_of,
    read_shot,
    sort_roll,
)
from gapvision.shoot.slip import LABEL_MM, Slip

# Share of the picture's width, turn, tilt, blur (sd, px of 4032).
VIEWS = [
    (0.10, 17, (0.2, -0.2), 2.0),
    (0.20, 180, (-0.25, 0.1), 3.0),
    (0.28, -8, (0.0, 0.25), 3.0),
]


@pytest.mark.parametrize(("share", "turn", "tilt", "blur"), VIEWS)
def test_slips_are_read_in_photographs_of_twelve_megapixels(share, turn, tilt, blur, tmp_path):
    grey = with_slip(NORTH_3, share, turn, tilt, blur, np.random.default_rng(1))
    shot = read_shot(save(tmp_path / "a.jpg", grey, START))
    assert shot.slip == NORTH_3 and shot.taken == START and shot.camera == "EX-1"


@pytest.mark.parametrize("long_side", [1000, 1600, 2000])
def test_smaller_photographs_are_searched_too(long_side, tmp_path):
    grey = with_slip(NORTH_3, 0.2, 0, (0.0, 0.0), 0.0, np.random.default_rng(1), 128)
    scale = long_side / SIZE[0]
    grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    assert read_shot(save(tmp_path / "a.png", grey)).slip == NORTH_3


def test_a_roll_sorts_itself(tmp_path):
    rng = np.random.default_rng(2)
    plain = background(rng)
    names = {}
    for k, (name, grey) in enumerate(
        {
            "IMG_0009.jpg": plain,
            "IMG_0010.jpg": with_slip(NORTH_4, 0.15, 5, (0.1, 0.1), 1.5, rng),
            "IMG_0011.jpg": plain,
            # The slip of the log below, stapled to it and seen from the joint's distance.
            "IMG_0012.jpg": with_slip(NORTH_3, 0.05, 0, (0.0, 0.0), 0.0, rng),
            "IMG_0001.jpg": with_slip(NORTH_3, 0.15, -5, (-0.1, 0.1), 1.5, rng),
            "IMG_0002.jpg": plain,
        }.items()
    ):
        names[name] = save(tmp_path / name, grey, START + timedelta(seconds=10 * k))
    roll = sort_roll(map(read_shot, reversed(names.values())))
    assert [g.slip for g in roll.groups] == [NORTH_4, NORTH_3]
    assert [[p.name for p in g.photos] for g in roll.groups] == [
        ["IMG_0011.jpg", "IMG_0012.jpg"],
        ["IMG_0002.jpg"],
    ]
    assert [(p.name, why) for p, why in roll.unsorted] == [
        ("IMG_0009.jpg", "before the first slip")
    ]


def test_a_slip_seen_from_afar_is_told_and_not_taken(tmp_path):
    grey = with_slip(NORTH_3, 0.058, 0, (0.0, 0.0), 0.0, np.random.default_rng(6), 128)
    shot = read_shot(save(tmp_path / "b.jpg", grey, START))
    assert shot.slip is None and shot.in_passing == NORTH_3
    before = Shot(tmp_path / "a.jpg", START - timedelta(seconds=1), slip=NORTH_4)
    roll = sort_roll([before, shot])
    assert roll.groups[0].photos == (tmp_path / "b.jpg",)
    assert "b.jpg shows the slip of Log 3, north wall, Barn from afar" in roll.cautions[0]
    # Its own joint's slip in view is as it should be.
    assert not sort_roll([Shot(tmp_path / "a.jpg", START, slip=NORTH_3), shot]).cautions


def test_another_code_is_no_slip(tmp_path):
    import segno

    code = np.array(list(segno.make("https://example.org").matrix_iter(border=4)))
    grey = background(np.random.default_rng(3))
    grey[1000:2000, 1000:2000] = cv2.resize(
        np.uint8(255 * (1 - code)), (1000, 1000), interpolation=cv2.INTER_NEAREST
    )
    shot = read_shot(save(tmp_path / "a.jpg", grey))
    assert shot.slip is None and not shot.unread and shot.taken is None


def test_a_code_that_cannot_be_read_is_noticed(tmp_path):
    grey = with_slip(NORTH_3, 0.3, 0, (0.0, 0.0), 0.0, np.random.default_rng(4))
    # A hand over the code's middle, its three finder patterns left to be seen.
    code, right = 0.3 * SIZE[0], SIZE[0] / 2 + 0.3 * SIZE[0] / CODE_SHARE / 2
    side, x = code / 29, right - (code / 29) * (29 / 2 + 4)
    y = SIZE[1] / 2 - 0.3 * SIZE[0] / CODE_SHARE * LABEL_MM[1] / LABEL_MM[0] / 2 + side * 18.5
    half = round(5.5 * side)
    grey[round(y) - half : round(y) + half, round(x) - half : round(x) + half] = 120
    shot = read_shot(save(tmp_path / "a.jpg", grey))
    assert shot.slip is None and shot.unread


@pytest.mark.parametrize("content", [b"", b"\xff\xd8\xff\xe0 broken", b"text"])
def test_files_that_are_no_pictures(content, tmp_path):
    (tmp_path / "a.jpg").write_bytes(content)
    shot = read_shot(tmp_path / "a.jpg")
    assert shot.unreadable and not shot.slip


def at(name, second=None, **what):
    return Shot(Path(name), None if second is None else START + timedelta(seconds=second), **what)


def test_time_decides_and_then_the_number_in_the_name():
    shots = [
        at("IMG_10.jpg", 5), at("IMG_9.jpg", 5), at("IMG_2.jpg", 4.5), at("z.jpg", 1, slip=NORTH_3),
    ]  # fmt: skip
    (group,) = sort_roll(shots).groups
    assert [p.name for p in group.photos] == ["IMG_2.jpg", "IMG_9.jpg", "IMG_10.jpg"]


def test_without_any_time_names_decide():
    shots = [at("c10.jpg"), at("c9.jpg"), at("a.jpg"), at("b.jpg", slip=NORTH_3)]
    roll = sort_roll(shots)
    assert [p.name for p in roll.groups[0].photos] == ["c9.jpg", "c10.jpg"]
    assert roll.unsorted == ((Path("a.jpg"), "before the first slip"),)


def test_one_without_time_among_others_is_not_guessed():
    roll = sort_roll([at("a.jpg", 1, slip=NORTH_3), at("b.jpg"), at("c.jpg", 2)])
    assert roll.unsorted == ((Path("b.jpg"), NO_TIME),)
    assert roll.groups[0].photos == (Path("c.jpg"),)


def test_after_an_unread_slip_nothing_is_guessed_until_the_next():
    roll = sort_roll(
        [
            at("a.jpg", 1, slip=NORTH_3), at("b.jpg", 2), at("c.jpg", 3, unread=True),
            at("d.jpg", 4), at("e.jpg", 5, slip=NORTH_4), at("f.jpg", 6),
        ]
    )  # fmt: skip
    assert [g.photos for g in roll.groups] == [(Path("b.jpg"),), (Path("f.jpg"),)]
    assert dict(roll.unsorted) == {Path("c.jpg"): UNREAD, Path("d.jpg"): f"after {UNREAD} (c.jpg)"}


def test_a_slip_met_again_goes_on_with_its_group():
    shots = [at(f"{k}.jpg", k) for k in range(6)]
    shots[0] = at("0.jpg", 0, slip=NORTH_3)
    shots[2] = at("2.jpg", 2, slip=NORTH_4)
    shots[4] = at("4.jpg", 4, slip=NORTH_3)
    first, second = sort_roll(shots).groups
    assert [p.name for p in first.photos] == ["1.jpg", "5.jpg"]
    assert [p.name for p in first.slip_photos] == ["0.jpg", "4.jpg"]
    assert [p.name for p in second.photos] == ["3.jpg"]


def test_what_may_have_gone_wrong_is_said():
    roll = sort_roll(
        [
            at("a.jpg", 1, slip=NORTH_3, camera="EX-1"), at("b.jpg", 2, camera="EX-2"),
            at("c.jpg", 3, slip=NORTH_4, camera="EX-1"), at("d.jpg", unreadable="no picture"),
        ]
    )  # fmt: skip
    said = " ".join(roll.cautions)
    for part in ("2 cameras", "may have been a slip", "Log 4, north wall, Barn: no photograph"):
        assert part in said


def files(folder):
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


@pytest.fixture
def roll(tmp_path):
    """Two photographs of one name from two folders, and a third."""
    paths = []
    for name, content in (("1/a.jpg", b"one"), ("2/a.jpg", b"two"), ("2/b.jpg", b"three")):
        path = tmp_path / "roll" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        paths.append(path)
    return Roll((Group(NORTH_3, (), tuple(paths)),), (), ())


def test_copies_lose_nothing_and_may_be_made_again(roll, tmp_path):
    before, out = files(tmp_path / "roll"), tmp_path / "joints"
    target = out / "Barn/north/3"
    target.mkdir(parents=True)
    (target / "b.jpg").write_bytes(b"mine")
    wanted = {
        "Barn/north/3/a.jpg": b"one", "Barn/north/3/a-2.jpg": b"two",
        "Barn/north/3/b.jpg": b"mine", "Barn/north/3/b-2.jpg": b"three",
    }  # fmt: skip
    assert copy_groups(roll, out) == (3, 0)
    form = {"Barn/north/3/joint.toml": (target / "joint.toml").read_bytes()}
    assert files(out) == wanted | form
    assert copy_groups(roll, out) == (0, 3)
    assert files(out) == wanted | form
    assert files(tmp_path / "roll") == before


def test_each_joint_gets_a_form_with_the_slip_s_names(roll, tmp_path):
    """As the slip has them, whatever its folder is called."""
    odd = Slip(JointName("Barn", "N/E", "3"))
    roll = replace(roll, groups=(replace(roll.groups[0], slip=odd), *roll.groups[1:]))
    copy_groups(roll, tmp_path / "joints")
    (form,) = (tmp_path / "joints").rglob("Barn/N_E/3/joint.toml")
    assert load_joint_form(form.parent).name == odd.joint


def test_two_slips_whose_names_make_one_folder_are_not_mixed(roll, tmp_path):
    one, two = (Slip(JointName("Barn", wall, "3")) for wall in ("N/E", "N_E"))
    groups = tuple(replace(roll.groups[0], slip=slip) for slip in (one, two))
    with pytest.raises(
        MeasurementError, match="says Log 3, N/E wall, Barn, and the slip says Log 3, N_E"
    ):
        copy_groups(replace(roll, groups=groups), tmp_path / "joints")
    assert not [name for name in files(tmp_path / "joints") if name.endswith(".jpg")]


def test_a_copy_that_broke_off_leaves_no_photograph(roll, tmp_path, monkeypatch):
    def fail(*args, **more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("shutil.copystat", fail)  # once all bytes are copied
    with pytest.raises(MeasurementError, match="a.jpg could not be copied.*No space"):
        copy_groups(roll, tmp_path / "joints")
    assert not [n for n in files(tmp_path / "joints") if n.endswith(".jpg") or ".gapvision-" in n]


def test_where_nothing_can_be_copied_to(roll, tmp_path):
    with pytest.raises(MeasurementError, match="There is no folder"):
        copy_groups(roll, tmp_path / "none" / "joints")
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(MeasurementError, match="is a file"):
        copy_groups(roll, tmp_path / "file")


@pytest.mark.parametrize(
    ("name", "folder"),
    [("../..", "_"), ("a/b", "a_b"), ("C:\\x", "C__x"), ("con", "_con"), ("end.", "end"),
     ("..", "_"), ("nul.txt", "_nul.txt"), ("Süd", "Süd")],
)  # fmt: skip
def test_no_name_leaves_its_folder(name, folder):
    path = folder_of(Path("out"), Slip(JointName("Barn", name, "3")))
    assert path.parts[:2] == ("out", "Barn") and len(path.parts) == 4
    if folder != "_":
        assert path.parts[2] == folder
    assert path.parts[2] not in ("..", ".", "")
