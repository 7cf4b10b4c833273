"""The form of a reference joint: what it says, and one sentence for each that cannot be used."""

import re
from pathlib import Path

import pytest

from gapvision.errors import MeasurementError
from gapvision.inputs.field_test import (
    FORM,
    KEYS,
    TEMPLATE,
    forms_in,
    load_field_test,
    write_template,
)
from gapvision.lengths import Reading, parse_trial

ROOT = Path(__file__).resolve().parents[2]
HEAD = 'format = "gapvision-field-test"\nversion = 1\n'
PAGE = (ROOT / "docs/field_test.md").read_text(encoding="utf-8")


def form(folder, text, head=HEAD):
    path = folder / FORM
    path.write_text(head + text, encoding="utf-8")
    return path


def loaded(folder, text):
    return load_field_test(form(folder, text))


def refused(folder, text, head=HEAD):
    with pytest.raises(MeasurementError) as caught:
        load_field_test(form(folder, text, head))
    assert "\n" not in caught.value.text and str(folder) in caught.value.text
    return caught.value


def test_the_page_s_example_is_read_as_it_says(tmp_path):
    (example,) = re.findall(r"^```\n(format = .*?)^```", PAGE, re.DOTALL | re.MULTILINE)
    f = load_field_test(form(tmp_path, example, ""))
    assert f.readings == (
        Reading(31.5, -600.0, 0.3), Reading(33.0, -500.0, 0.5), Reading(21 * 25.4 / 16, -400.0, 0.3),
    )  # fmt: skip
    assert f.widest == Reading(41.5, 310.0, 0.3)
    assert f.trials == (parse_trial("49:78@310~1.5"),)
    o = f.options
    assert o.photos == (tmp_path / ".",) and not o.inside and o.card_on == "upper"
    assert (o.cover_mm, o.cards.printed_bar_mm) == (76.0, 99.8)
    assert (o.stretch.from_mm, o.stretch.to_mm) == (-700.0, 720.0)
    assert o.upper_diameter.points == ((-700.0, 290.0), (700.0, 305.0))
    assert o.lower_diameter.points == ((None, 320.0),)
    assert f.u_station_mm == 3.0 and f.told["who"] == "A. Builder" and "where" not in f.told


def test_nothing_read_by_hand_goes_to_the_photographs(tmp_path):
    f = loaded(tmp_path, "readings = [[0, 30]]\nwidest = [10, 31]\ntrials = [[0, 40, 76]]")
    assert f.options.by_hand.entries == ()
    assert f.readings[0].u_mm == 0.5  # where neither the row nor u_reading tells


def test_every_key_is_told_on_the_page():
    for key in KEYS:
        assert re.search(rf"^\| [^|]*`{key}`", PAGE, re.MULTILINE), key


def test_the_template_is_a_form_that_only_lacks_readings(tmp_path):
    path = write_template(tmp_path)
    assert path == tmp_path / FORM and path.read_text(encoding="utf-8") == TEMPLATE
    with pytest.raises(MeasurementError, match="holds no readings yet") as caught:
        load_field_test(path)
    assert caught.value.code == "no-readings"
    # Every example that stands in it behind a # is right too.
    text = re.sub(r"^# (?=\w+ = )|^#(?=  \[)", "", TEMPLATE, flags=re.MULTILINE)
    path.write_text(text, encoding="utf-8")
    f = load_field_test(path)
    assert [r.station_mm for r in f.readings] == [-600, -450] and f.widest and f.trials
    assert f.options.cards.inside_cards == (5, 6) and f.options.camera == tmp_path / "phone.toml"


def test_the_template_never_replaces_a_form(tmp_path):
    form(tmp_path, "readings = [[0, 30]]")
    with pytest.raises(MeasurementError, match="exists already, and what stands in it is kept"):
        write_template(tmp_path)
    assert "[[0, 30]]" in (tmp_path / FORM).read_text(encoding="utf-8")
    with pytest.raises(MeasurementError, match="no folder"):
        write_template(tmp_path / "nowhere")


def test_one_folder_or_a_folder_of_folders(tmp_path):
    with pytest.raises(MeasurementError, match="nor does a folder in it"):
        forms_in(tmp_path)
    with pytest.raises(MeasurementError, match="There is no folder"):
        forms_in(tmp_path / "nowhere")
    for name in ("b", "a", "empty"):
        (tmp_path / name).mkdir()
    paths = [form(tmp_path / name, "") for name in ("a", "b")]
    assert forms_in(tmp_path) == paths
    assert forms_in(tmp_path / "b") == paths[1:]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("readings = [[0, 30]", "no TOML"),
        ("reading = [[0, 30]]", "unknown key reading, perhaps readings"),
        ("xyz = 1", r"unknown key xyz\)"),
        ("readings = [[0]]", r"each of the readings must be \[station, gap\]"),
        ("readings = [0, 30]", r"each of the readings must be"),
        ("readings = [[0, 30, 0.3, 4]]", "each of the readings must be"),
        ("readings = 30", "each of the readings must be"),
        ("widest = [[0, 30], [1, 2]]", "is neither a number of mm"),
        ("widest = 30", r"widest must be \[station, gap\]"),
        ("trials = [[0, 40]]", r"each of the trials must be \[station, setting, width\]"),
        ("readings = [[0, true]]", "True is neither a number"),
        ("readings = [[0, nan]]", "'nan' is not a length"),
        ('readings = [[0, "thirty"]]', "'thirty' is not a length"),
        ("readings = [[0, -30]]", "must be above zero"),
        ("readings = [[0, 30, 0]]", "must be above zero"),
        ("trials = [[0, 40, 0]]", "must be above zero"),
        ('readings = [["widest", 30]]', "a reading needs a station"),
        ("readings = [[0, 30], [0.0, 31]]", "two readings stand at station 0: write their mean"),
        ("readings = [[0, 30]]\ncover = false", "cover: False is neither"),
        ('readings = [[0, 30]]\nfrom = "left"', "from: 'left' is not a length"),
        ('readings = [[0, 30]]\nupper_diameter = "290,300,310"', "upper_diameter: .* need stations"),
        ('readings = [[0, 30]]\ncard_on = "side"', "card_on is one of upper, lower, free"),
        ('readings = [[0, 30]]\nphotos = "a.jpg"', "photos are files or folders"),
        ("readings = [[0, 30]]\ninside_cards = [true]", "inside_cards are card numbers"),
        ("readings = [[0, 30]]\ncamera = 3", "camera is a text"),
        ('readings = [[0, 30]]\ncamera = "/elsewhere/a.toml"', "camera must lie beside the form or below"),
        ('readings = [[0, 30]]\nphotos = ["../a.jpg"]', "photos must lie beside the form or below"),
        ("readings = [[0, 30]]\nwho = 3", "who is a text"),
        ("readings = [[0, 30]]\nu_reading = 0", "u_reading must be above zero"),
        ("readings = [[0, 30]]\nu_station = -1", "u_station not below"),
    ],
)  # fmt: skip
def test_a_form_that_cannot_be_used_is_refused_by_its_key(tmp_path, text, said):
    error = refused(tmp_path, text)
    assert error.code == "bad-form" and re.search(said, error.text), error.text
    assert error.text.endswith(": correct that file.")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("readings = []", "no-readings"),
        ("readings = [[0, 5000]]", "bad-reading"),
        ("widest = [0, 5000]", "bad-reading"),
        ("trials = [[0, 4000, 76]]", "bad-trial"),
        ("readings = [[0, 30]]\nupper_diameter = 12", "bad-diameter"),
        ("readings = [[0, 30]]\nfrom = 300\nto = -300", "from-after-to"),
        ("readings = [[0, 30]]\nprinted_bar = 50", "bad-printed-bar"),
        ("readings = [[0, 30]]\ncover = 0", "bad-cover"),
    ],
)
def test_what_no_joint_can_have_is_refused_with_the_file_s_name(tmp_path, text, code):
    assert refused(tmp_path, text).code == code


def test_another_format_or_version(tmp_path):
    assert "it must say format" in refused(tmp_path, "version = 1", "").text
    newer = HEAD.replace("= 1", "= 2")
    assert refused(tmp_path, "", newer).code == "newer-version"


def test_a_form_that_is_no_text(tmp_path):
    (tmp_path / FORM).write_bytes(b"\xff\xfe\x00")
    with pytest.raises(MeasurementError, match="it is no TOML"):
        load_field_test(tmp_path / FORM)
    (tmp_path / FORM).unlink()
    with pytest.raises(MeasurementError, match="cannot be read"):
        load_field_test(tmp_path / FORM)
