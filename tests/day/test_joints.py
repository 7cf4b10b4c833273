"""Which folders are joints, and what they are called."""

import numpy as np
import pytest
from helpers.days import make_day
from helpers.rolls import NORTH_3, save, with_slip

from gapvision.day.joints import joint_folders, joints_of, named
from gapvision.errors import MeasurementError
from gapvision.inputs.joint_form import FORM, write_joint_form
from gapvision.inputs.joint_name import JointName
from gapvision.inputs.options import MeasureOptions

ASKED = MeasureOptions(photos=(), cover_mm=80.0)


def joints(day, **more):
    return joints_of(day, joint_folders(day), ASKED, **more)


def test_folders_with_photographs_are_joints_in_the_order_in_which_they_are_counted(tmp_path):
    day = make_day(tmp_path / "day", "Barn/north/10", "Barn/north/9", "Barn/east/1", ".trash/2")
    (day / "notes").mkdir()
    (day / "notes/list.txt").write_text("nothing to measure")
    (day / "._level.jpg").write_bytes(b"kept by another system")
    found = joint_folders(day)
    assert [f.relative_to(day).as_posix() for f in found] == [
        "Barn/east/1", "Barn/north/9", "Barn/north/10",
    ]  # fmt: skip
    assert not any(found.values())


def test_names_are_of_the_form_else_as_typed_else_after_the_folders(tmp_path):
    day = make_day(tmp_path / "day", "Barn/north/1", "north/2", "3", "x/y/z/4")
    (day / "3" / FORM).write_text('building = "Shed"\nlog = "three"')
    assert [j.name for j in joints(day)] == [
        JointName("Shed", "", "three"), JointName("Barn", "north", "1"), JointName("", "north", "2"),
        JointName("y", "z", "4"),
    ]  # fmt: skip
    assert [j.label for j in joints(day)] == [
        "Log three, Shed",
        "Barn/north/1",
        "north/2",
        "x/y/z/4",
    ]
    typed = joints(day, wall="south")
    assert [j.name for j in typed][1] == JointName("Barn", "south", "1")


def test_a_name_that_was_typed_does_not_override_a_form_s(tmp_path):
    day = make_day(tmp_path, "a")
    write_joint_form(day / "a", JointName("Barn", "north", "1"))
    assert joints(day, building="Barn")[0].name.building == "Barn"
    with pytest.raises(MeasurementError, match="says building Barn, and --building Shed was typed"):
        joints(day, building="Shed")


def test_what_a_form_states_holds_for_its_joint_alone(tmp_path):
    day = make_day(tmp_path, "a", "b")
    (day / "b" / FORM).write_text('cover = 90\nupper_diameter = "1ft"')
    a, b = joints(day)
    assert (a.options.cover_mm, b.options.cover_mm) == (80.0, 90.0)
    assert (a.inches, b.inches) == (False, True)
    assert a.options.photos == (day / "a",)


def test_photographs_from_inside_lie_in_a_folder_of_the_joint_s_or_beside_the_others(tmp_path):
    day = make_day(tmp_path, "a", "a/in", "b")
    (day / "a" / FORM).write_text('inside = ["in"]')
    (day / "b/in.jpg").write_bytes(b"inside")
    (day / "b" / FORM).write_text('inside = ["in.jpg"]')
    a, b = joints(day)
    assert a.refused is None and a.options.inside == (day / "a/in",)
    assert a.options.photos == (day / "a",)
    assert (b.options.photos, b.options.inside) == ((day / "b/level.jpg",), (day / "b/in.jpg",))


def test_photographs_beside_folders_of_photographs_are_of_one_joint_or_of_several(tmp_path):
    day = make_day(tmp_path, "a", "a/old", "b")
    a, b = joints(day)
    assert a.refused.code == "joint-and-joints" and b.refused is None
    assert "a holds photographs, and so does old in it" in a.refused.text
    assert "name the photographs themselves" in a.refused.text
    assert "a folder of their own" in a.refused.text


def test_a_bad_form_refuses_its_joint_alone(tmp_path):
    day = make_day(tmp_path, "a", "b")
    (day / "a" / FORM).write_text("covr = 75")
    a, b = joints(day)
    assert a.refused.code == "bad-form" and b.refused is None


def test_what_is_kept_has_a_whole_name_of_its_own(tmp_path):
    day = make_day(tmp_path / "day", "Barn/north  wall/1", "Barn/north wall/2")
    assert [j.name.wall for j in named(joints(day))] == ["north wall", "north wall"]
    make_day(day, "Barn/north wall/1")
    with pytest.raises(MeasurementError, match="are both Log 1, north wall, Barn: put") as told:
        named(joints(day))
    assert told.value.code == "same-name"


def test_a_slip_among_the_photographs_names_the_joint(tmp_path):
    day = make_day(tmp_path / "day", "a", "b")
    grey = with_slip(NORTH_3, 0.2, 0, (0.0, 0.0), 0.0, np.random.default_rng(1), 128)
    save(day / "a/IMG_1.jpg", grey[::2, ::2])
    (a, b) = joints(day, building="Shed")
    (called,) = named([a])
    assert called.name == NORTH_3.joint and called.label == "Log 3, north wall, Barn"
    with pytest.raises(MeasurementError, match="b does not say its wall: .*photograph of its slip"):
        named([a, b])


def test_what_a_name_lacks_is_said_with_the_folder(tmp_path):
    day = make_day(tmp_path / "day", "1")
    with pytest.raises(MeasurementError, match="1 does not say its building and wall: write"):
        named(joints(day))
    assert named(joints(day, building="Barn", wall="north"))[0].name == JointName(
        "Barn", "north", "1"
    )
