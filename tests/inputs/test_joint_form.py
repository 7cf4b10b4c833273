"""What a joint's own form states, and what it may not."""

import pytest

from gapvision.errors import MeasurementError
from gapvision.inputs.form_values import CARD_ON
from gapvision.inputs.joint_form import FORM, KEYS, load_joint_form, with_form, write_joint_form
from gapvision.inputs.joint_name import JointName
from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import Diameter

BARN_3 = JointName("Barn", "north", "3")


def form_of(folder, text):
    (folder / FORM).write_text(text, encoding="utf-8")
    return load_joint_form(folder)


def test_a_folder_without_a_form(tmp_path):
    assert load_joint_form(tmp_path) is None


def test_the_form_that_is_written_says_the_names_and_nothing_else(tmp_path):
    odd = JointName('The "old" barn', "N/E \\ side", "3½")
    write_joint_form(tmp_path, odd)
    form = load_joint_form(tmp_path)
    assert form.name == odd and not form.stated and not form.inches
    asked = MeasureOptions(photos=(tmp_path,))
    assert with_form(asked, form) == asked


def test_every_line_of_the_written_form_may_be_uncommented(tmp_path):
    """What it shows is what can be stated: all keys, with values that are taken."""
    write_joint_form(tmp_path, BARN_3)
    shown = (tmp_path / FORM).read_text(encoding="utf-8").partition("building =")
    form = form_of(tmp_path, "".join(shown[1:]).replace("\n# ", "\n"))
    assert {key.removesuffix("_mm") for key in form.stated} == set(KEYS) - {
        "building",
        "wall",
        "log",
    }
    asked = with_form(MeasureOptions(photos=(tmp_path,)), form)
    assert asked.cover_mm == 76 and asked.card_on == "lower"
    assert asked.upper_diameter == Diameter(((None, 290.0), (None, 310.0)))
    assert asked.lower_diameter == Diameter(((None, 320.0),))
    assert (asked.stretch.from_mm, asked.stretch.to_mm) == (-700, 700)
    assert asked.inside == (tmp_path / "in1.jpg",)
    assert (asked.cards.inside_cards, asked.cards.wall_thickness_mm) == ((5, 6), 330)


def test_what_was_asked_of_all_stays_where_the_form_states_nothing(tmp_path):
    asked = MeasureOptions(photos=(tmp_path,), cover_mm=80.0, card_on="free")
    stated = with_form(asked, form_of(tmp_path, "to = 500"))
    assert (stated.cover_mm, stated.card_on, stated.stretch.to_mm) == (80.0, "free", 500.0)


def test_lengths_are_texts_too_and_numbers_mm_beside_them(tmp_path):
    form = form_of(tmp_path, 'cover = "3in"\nfrom = -700\nupper_diameter = "11in,1ft"')
    assert form.inches
    assert form.stated["cover_mm"] == pytest.approx(76.2) and form.stated["from_mm"] == -700
    assert form.stated["upper_diameter"].points == ((None, 279.4), (None, 304.8))
    assert not form_of(tmp_path, 'cover = "7.5cm"').inches


def test_a_form_that_is_there_stays(tmp_path):
    text = 'building = "Barn"\nwall = "north"\nlog = "3"\ncover = 90\n'
    form_of(tmp_path, text)
    write_joint_form(tmp_path, BARN_3)
    assert (tmp_path / FORM).read_text() == text


def test_the_form_of_another_joint_is_refused_and_stays(tmp_path):
    write_joint_form(tmp_path, BARN_3)
    before = (tmp_path / FORM).read_bytes()
    with pytest.raises(
        MeasurementError, match="says Log 3, north wall, Barn, and the slip says Log 4"
    ):
        write_joint_form(tmp_path, JointName("Barn", "north", "4"))
    assert (tmp_path / FORM).read_bytes() == before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("covr = 75", r"unknown key covr, perhaps cover\)"),
        ("cover = 75,5", "it is no TOML"),
        ('cover = "7,5cm"', r"cover: '7,5cm' is not a length: write a point, not a comma: 7\.5cm"),
        ("cover = true", "cover: True is neither"),
        ('upper_diameter = "29,5cm"', "upper_diameter: .*29 has no unit and another has"),
        ('card_on = "side"', f"card_on is one of {', '.join(CARD_ON)}, not 'side'"),
        ('inside = "in.jpg"', "inside are files or folders"),
        ('inside = ["../in.jpg"]', "inside must lie beside the form or below"),
        ("inside_cards = [1.5]", "inside_cards are card numbers"),
        ("log = 3", "log is a text, not 3"),
        (f'wall = "{"a" * 81}"', "the name of the wall has 81 letters"),
    ],
)
def test_a_form_that_cannot_be_used_is_refused_by_its_key(tmp_path, text, said):
    with pytest.raises(MeasurementError, match=rf"joint\.toml cannot be used \(.*{said}") as told:
        form_of(tmp_path, text)
    assert told.value.code == "bad-form" and told.value.text.endswith("correct that file.")
