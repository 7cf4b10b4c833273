"""A joint's name as it is typed, told and kept."""

import pytest

from gapvision.inputs.joint_name import JointName, parse_joint_name


def test_one_way_of_writing():
    typed = parse_joint_name(" Lake  house ", "no\u0308rd", "3")
    assert typed == JointName("Lake house", "n\u00f6rd", "3")


@pytest.mark.parametrize("bad", ["", "  ", "x" * 81, "a\x00b"])
@pytest.mark.parametrize("what", ["building", "wall", "log"])
def test_what_cannot_name_a_part(what, bad):
    with pytest.raises(ValueError, match=f"the {what}"):
        parse_joint_name(**({"building": "a", "wall": "b", "log": "3"} | {what: bad}))


@pytest.mark.parametrize(
    ("joint", "title"),
    [
        (JointName("Barn", "north", "3"), "Log 3, north wall, Barn"),
        (JointName("Barn", "The Wall", ""), "The Wall, Barn"),
        (JointName("", "", "3"), "Log 3"),
        (JointName(), ""),
    ],
)
def test_as_far_as_it_was_stated(joint, title):
    assert joint.title == title
