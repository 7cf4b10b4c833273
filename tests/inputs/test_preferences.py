"""What a person states once: kept, shown, changed, and overridden by what is typed."""

import os
import tomllib
from pathlib import Path

import pytest
from helpers.commands import run

from gapvision.advice.cautions import beyond_scriber
from gapvision.answer.caution_text import caution_text
from gapvision.inputs.options import MeasureOptions, Scriber
from gapvision.inputs.preferences import Preferences, load_preferences, preferences_path
from gapvision.lengths import SIXTEENTH_MM, round_up


@pytest.fixture(autouse=True)
def empty_folder(own_folder, plain_terminal):
    own_folder.mkdir()


def test_nothing_is_stated_at_first_and_showing_writes_nothing():
    assert load_preferences() == Preferences()
    result = run("preferences")
    assert result.exit_code == 0 and result.stdout.count("not stated") == 6
    assert not preferences_path().exists()


def test_what_is_stated_is_kept_in_mm_and_shown_in_the_person_s_units():
    args = ["--units", "in", "--cover", "3in", "--scriber-largest", "6in", "--scriber-step", "1/16"]
    shown = run("preferences", *args, "--printed-bar", "99.4", "--printed-bar", "blue=99.8").stdout
    assert tomllib.loads(preferences_path().read_text()) == {
        "units": "in", "cover_mm": 76.2, "scriber_largest_mm": 152.4, "scriber_step_mm": 1.5875,
        "printed_bar_mm": 99.4, "printed_bars": {"blue": 99.8},
    }  # fmt: skip
    assert shown == run("preferences").stdout
    for text in ("3 in", "6 in", "1/16 in", "99.4 mm", "printed bar of blue", "99.8 mm"):
        assert text in shown


def test_changing_one_keeps_the_others_and_the_person_s_comments():
    preferences_path().write_text(
        '# mine\nunits = "mm"\ncover_mm = 75.0 # usual\n[printed_bars]\na = 99.0\n'
    )
    assert run("preferences", "--scriber-step", "0.5").exit_code == 0
    text = preferences_path().read_text()
    assert "# mine" in text and "# usual" in text
    assert load_preferences() == Preferences("mm", 75.0, None, 0.5, None, None, {"a": 99.0})
    assert run("preferences", "--forget", "cover", "--forget", "a").exit_code == 0
    assert load_preferences() == Preferences("mm", scriber_step_mm=0.5)


def test_measure_takes_them_and_flags_override(asked):
    camera = Path("lens.toml")
    camera.write_text(
        "focal_px = 3000.0\nu_focal_px = 30.0\nk1 = 0.0\nu_k1 = 0.01\nwidth_px = 4032\n"
    )
    run(
        "preferences", "--units", "in", "--cover", "3in", "--printed-bar", "99.4", "--printed-bar",
        "blue=99.8", "--camera", camera, "--scriber-largest", "5in", "--scriber-step", "1/8in",
    )  # fmt: skip
    assert run("measure", "level.jpg").exit_code == 0
    assert run(
        "measure", "level.jpg", "--units", "mm", "--cover", "70", "--printed-bar", "100.2",
        "--camera", "own.toml",
    ).exit_code == 0  # fmt: skip
    assert run("measure", "level.jpg", "--printed-bar", "blue").exit_code == 0
    first, second, third = asked
    assert (first.units, first.cover_mm, first.cards.printed_bar_mm) == ("in", 76.2, 99.4)
    assert first.scriber == Scriber(127.0, 3.175)
    assert first.camera == camera.resolve()
    assert (second.units, second.cover_mm, second.cards.printed_bar_mm) == ("mm", 70.0, 100.2)
    assert second.camera == Path("own.toml")
    assert third.cards.printed_bar_mm == 99.8


def test_without_preferences_measure_is_as_it_was(asked):
    run("measure", "level.jpg")
    assert asked[0] == MeasureOptions(photos=(Path("level.jpg"),))


@pytest.mark.parametrize(
    ("args", "match"),
    [
        (["--units", "feet"], "feet"),
        (["--cover", "wide"], "not a length"),
        (["--cover", "7000"], "10 to 400"),
        (["--scriber-step", "0"], "0.1 to 10"),
        (["--scriber-largest", "-5"], "20 to 400"),
        (["--printed-bar", "10"], "80 to 120"),
        (["--printed-bar", "12=99"], "give it a word"),
        (["--printed-bar", "=99"], "give it a word"),
        (["--forget", "shoes"], "shoes"),
    ],
)
def test_wrong_usage_changes_nothing(args, match):
    result = run("preferences", *args)
    assert result.exit_code == 2 and match in result.stderr and "Traceback" not in result.output
    assert not preferences_path().exists()


def test_inches_are_answered_in_inches():
    said = run("preferences", "--cover", "3in", "--scriber-largest", "6in").stdout
    assert "3 in" in said and "6 in" in said and "76.2 mm" not in said
    assert run("preferences").stdout.count("76.2 mm") == 1  # no units were stated
    assert run("preferences", "--cover", "3in", "--scriber-step", "1").exit_code == 2


def test_camera_file_of_no_use_is_not_remembered():
    result = run("preferences", "--camera", "missing.toml")
    assert result.exit_code == 1 and "missing.toml" in result.stderr
    assert not preferences_path().exists()


@pytest.mark.parametrize(
    "text",
    [
        "units = 3", 'units = "feet"', "cover_mm = -1", "cover_mm = true", "camera = 1", "shoes = 44",
        "cover_mm", "printed_bars = 3", "printed_bars = []",
        "[printed_bars]\na = 9.0", 'scriber_step_mm = "fine"',
    ],
)  # fmt: skip
def test_broken_file_is_one_sentence_and_stays_as_it_is(text, asked):
    preferences_path().write_text(text)
    for args in (["preferences"], ["preferences", "--cover", "70"], ["measure", "level.jpg"]):
        result = run(*args)
        assert result.exit_code == 1 and result.stderr.count("\n") == 1
        assert "preferences.toml" in result.stderr and "correct that file" in result.stderr
    assert preferences_path().read_text() == text and not asked


def test_setting_is_rounded_up_to_the_scriber_s_step():
    """By hand: the next multiple that is not less."""
    assert round_up(46.2, "mm", 0.5) == 46.5
    assert round_up(46.5, "mm", 0.5) == 46.5
    assert round_up(46.2, "mm", 2.0) == 48.0
    assert round_up(46.2, "in", 2 * SIXTEENTH_MM) == pytest.approx(47.625)  # 1 7/8 in


def test_setting_wider_than_the_scriber_opens_is_told():
    options = MeasureOptions(photos=(), scriber=Scriber(largest_mm=50.0))
    assert not beyond_scriber(50.0, options)
    (caution,) = beyond_scriber(58.0, options)
    assert caution.code == "scriber-too-small"
    text = caution_text(caution, (), "mm")
    assert "50 mm" in text and "8 mm lower" in text
    assert not beyond_scriber(500.0, MeasureOptions(photos=()))


# --- a file that is broken is never taken for one that says nothing --------------------------------


def break_it(how):
    path = preferences_path()
    if how == "empty":
        path.write_bytes(b"")
    elif how == "blank":
        path.write_text("\n \n")
    elif how == "zeros":
        path.write_bytes(bytes(100))
    elif how == "half":
        path.write_text("printed_bar_mm = 9")
    elif how == "deep":
        path.write_text("camera = " + "[" * 5000 + "]" * 5000)
    elif how == "digits":
        path.write_text("printed_bar_mm = " + "9" * 400)
    elif how == "link":
        path.symlink_to("on-a-stick.toml")
    elif how == "pipe":
        os.mkfifo(path)
    elif how == "folder":
        path.mkdir()
    elif how == "not-a-folder":
        path.parent.rmdir()
        path.parent.write_text("a file where the folder should be")


@pytest.mark.skipif(os.name == "nt", reason="links and pipes")
@pytest.mark.parametrize(
    "how",
    ["empty", "blank", "zeros", "half", "deep", "digits", "link", "pipe", "folder", "not-a-folder"],
)
def test_a_broken_file_is_named_and_nothing_is_measured(how, asked):
    """Defaults in its place would be a quiet wrong number: the bar of the print would be 100."""
    break_it(how)
    for args in (["preferences"], ["preferences", "--cover", "70"], ["measure", "level.jpg"]):
        result = run(*args)
        assert result.exit_code == 1 and result.stderr.count("\n") == 1, result.output
        assert "preferences.toml" in result.stderr
    assert not asked


def test_what_was_all_forgotten_is_no_broken_file(asked):
    run("preferences", "--cover", "70")
    assert run("preferences", "--forget", "cover").exit_code == 0
    assert load_preferences() == Preferences()
    assert preferences_path().read_text().startswith("#")
    assert run("measure", "level.jpg").exit_code == 0 and len(asked) == 1


def test_an_empty_file_says_what_to_do():
    preferences_path().write_bytes(b"")
    text = run("preferences").stderr
    assert "empty" in text and "remove that file" in text
