"""`gapvision measure FOLDER_OF_JOINTS`: from a camera roll to kept joints and a wall's report."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from helpers.commands import run
from helpers.days import make_day
from helpers.demo import FOLDER
from helpers.rolls import START, background, save, with_slip
from PIL import Image

from gapvision.archive.query import Query, entries
from gapvision.archive.store import open_archive
from gapvision.day.state import FILE
from gapvision.shoot.slip import slip_of

pytestmark = pytest.mark.usefixtures("plain_terminal")


@pytest.fixture
def day(asked):
    """Two joints of one wall that are answered at once, in this process."""
    return make_day(Path("day"), "Barn/north/1", "Barn/north/2")


def measured(*args):
    return run("measure", "day", "--jobs", "1", *args)


# --- usage ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["--from", "-700"], "goes with one joint, not with a folder of joints"),
        (["--reading", "30@widest"], "write it into the joint.toml of its folder"),
        (["--json", "all.json"], "--json"),
        (["--picture", "a.jpg"], "--picture"),
        (["--details"], "--details"),
        (["--inside", "in.jpg"], "--inside"),
        (["--keep", "--log", "3"], "--log"),
        (["--archive", "kept"], "goes with --keep"),
        (["--report", "wall.txt"], "a report's name ends in .html or .pdf"),
        (["--jobs", "0"], "--jobs"),
        (["--shared"], "goes with --cluster"),
        (["--cluster", "tcp://a:1", "--jobs", "2"], "leave one of them out"),
    ],
)
def test_what_goes_with_one_joint_is_wrong_usage(day, asked, args, said):
    result = run("measure", "day", *args)
    assert result.exit_code == 2 and said in " ".join(result.stderr.split())
    assert not asked and not list(day.rglob(FILE))


@pytest.mark.parametrize(
    "args", [["--report", "wall.pdf"], ["--jobs", "2"], ["--cluster", "tcp://a:1"], ["--shared"]]
)
def test_what_goes_with_a_folder_of_joints_is_wrong_usage_with_one(asked, args):
    result = run("measure", "level.jpg", *args)
    assert result.exit_code == 2 and "goes with a folder of joints" in result.stderr and not asked
    assert ("then gapvision report" in " ".join(result.stderr.split())) == ("--report" in args)


def test_photographs_beside_folders_of_photographs_are_refused(day, asked):
    (day / "level.jpg").write_bytes(b"")
    result = run("measure", "day")
    assert result.exit_code == 1 and result.stderr.count("\n") == 1 and not asked
    assert (
        "name the photographs themselves" in result.stderr and "a joint a folder" in result.stderr
    )


def test_a_folder_without_photographs_is_refused_as_ever(asked):
    Path("empty/deep").mkdir(parents=True)
    from gapvision.spine import measure  # noqa: F401  # the fixture answers it at once

    assert run("measure", "empty").exit_code == 0  # and the spine is asked, which refuses it
    assert asked[0].photos == (Path("empty"),)


def test_without_dask_a_cluster_is_one_sentence(day, asked, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    result = run("measure", "day", "--cluster", "tcp://127.0.0.1:9")
    assert result.exit_code == 1 and not asked and not list(day.rglob(FILE))
    assert result.stderr == (
        "Refused: --cluster needs Dask: install it by pip install 'gapvision[cluster]'.\n"
    )


# --- a day ----------------------------------------------------------------------------------------


def test_each_joint_is_told_in_a_line_and_written_beside_its_photographs(day, asked):
    result = measured()
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines() == [
        "Barn/north/1  SET 48 mm", "Barn/north/2  SET 48 mm", "", "2 joints: 2 set.",
    ]  # fmt: skip
    for folder in ("1", "2"):
        assert json.loads((day / "Barn/north" / folder / FILE).read_text())["status"] == "measured"
    again = measured()
    assert len(asked) == 2 and "2 of them measured before" in again.stdout


def test_what_was_typed_is_asked_of_all_and_a_form_s_of_its_own(day, asked):
    (day / "Barn/north/2/joint.toml").write_text('log = "2"\ncover = 90')
    assert measured("--cover", "80", "--lower-diameter", "300").exit_code == 0
    assert [o.cover_mm for o in asked] == [80.0, 90.0]
    assert [o.lower_diameter.points for o in asked] == [((None, 300.0),)] * 2


def test_inches_in_a_form_are_answered_in_inches_unless_told_otherwise(day, asked):
    (day / "Barn/north/2/joint.toml").write_text('cover = "3in"')
    assert "SET 1 15/16 in" in measured().stdout and {o.units for o in asked} == {"in"}
    assert "SET 48 mm" in measured("--units", "mm").stdout


def test_status_1_where_a_joint_is_refused_and_the_others_are_measured(day):
    (day / "Barn/north/1/joint.toml").write_text("covr = 3")
    result = measured()
    assert result.exit_code == 1
    assert "Barn/north/1  NOT MEASURED\nBarn/north/2  SET 48 mm" in result.stdout
    assert "unknown key covr, perhaps cover" in " ".join(result.stdout.split())


def test_a_report_that_is_there_is_refused_before_anything_is_measured(day, asked):
    Path("wall.html").write_text("mine")
    result = measured("--report", "wall.html")
    assert result.exit_code == 1 and "exists already" in result.stderr and not asked
    assert measured("--report", "wall.html", "--overwrite").exit_code == 0
    assert Path("wall.html").read_text() != "mine"


def test_of_several_walls_each_has_a_report(day):
    make_day(day, "Barn/east/7")
    assert measured("--report", "day.html").exit_code == 0
    assert {p.name for p in Path().glob("*.html")} == {"day-Barn-north.html", "day-Barn-east.html"}
    assert "North wall, Barn" in Path("day-Barn-north.html").read_text()


def test_names_that_lack_are_asked_for_before_anything_is_measured(asked):
    make_day(Path("day"), "1", "2")
    result = measured("--keep")
    assert result.exit_code == 1 and "does not say its building and wall" in result.stderr
    assert not asked


# --- one joint's folder ---------------------------------------------------------------------------


def test_a_joint_s_folder_by_itself_is_asked_what_its_form_states(day, asked):
    folder = day / "Barn/north/2"
    (folder / "joint.toml").write_text('cover = "3 1/2in"\nto = 500')
    assert "1 15/16 in" in run("measure", folder).stdout
    assert (asked[0].cover_mm, asked[0].stretch.to_mm) == (pytest.approx(88.9), 500.0)


@pytest.mark.parametrize(
    ("args", "option"), [(["--cover", "80"], "--cover"), (["--keep", "--log", "5"], "--log")]
)
def test_what_is_typed_and_stands_in_the_form_is_refused(day, asked, args, option):
    folder = day / "Barn/north/2"
    (folder / "joint.toml").write_text('cover = 90\nlog = "2"')
    result = run("measure", folder, *args)
    assert result.exit_code == 2 and not asked
    assert option in result.stderr and "states it too" in result.stderr


# --- from a camera roll to a wall's report --------------------------------------------------------


@pytest.fixture(scope="module")
def camera(tmp_path_factory):
    """A roll of three joints: the slip of each, its level photograph; of the last a slip alone is sharp."""
    folder, rng = tmp_path_factory.mktemp("camera"), np.random.default_rng(7)
    clock = START
    for log in ("1", "2", "3"):
        slip = with_slip(slip_of("Lake/house", "north", log), 0.15, 3, (0.1, 0.0), 1.0, rng)
        save(folder / f"IMG_{log}0.jpg", slip[::2, ::2], clock)
        clock += timedelta(seconds=20)
        if log == "3":
            save(folder / "IMG_31.jpg", background(rng)[::2, ::2], clock)
        else:
            rendered(FOLDER / "photo0.jpg", folder / f"IMG_{log}1.jpg", clock)
        clock += timedelta(seconds=20)
    return folder


def rendered(source, target, taken):
    """A photograph that comes with the program, as if taken then."""
    with Image.open(source) as image:
        exif = image.getexif()
        exif.get_ifd(0x8769)[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
        image.save(target, quality=95, exif=exif)


def test_from_a_camera_roll_to_kept_joints_and_a_wall_s_report_in_two_commands(camera):
    assert run("sort", camera, "--copy-to", "day").exit_code == 0
    result = run("measure", "day", "--keep", "--report", "wall.pdf", "--jobs", "2")
    assert result.exit_code == 1, result.output  # of the third joint nothing is seen
    lines = result.stdout.splitlines()
    assert [line.split("  ")[0] for line in lines[:3]] == [
        f"Log {n}, north wall, Lake/house" for n in (1, 2, 3)
    ]
    assert lines[2].endswith("NOT MEASURED")
    assert "IMG_31.jpg" in result.stdout.split("Not measured:")[1]
    with open_archive() as archive:
        kept = list(entries(archive, Query()))
    assert sorted(e.joint.title for e in kept) == [
        "Log 1, north wall, Lake/house", "Log 2, north wall, Lake/house",
    ]  # fmt: skip
    with pypdfium2.PdfDocument("wall.pdf") as pdf:
        text = pdf[0].get_textpage().get_text_range()
    assert "North wall, Lake/house" in text
    again = run("measure", "day", "--keep", "--report", "again.pdf")
    assert "3 of them measured before" in again.stdout
    with open_archive() as archive:
        assert len(list(entries(archive, Query()))) == 2
    shutil.rmtree(Path(os.environ["GAPVISION_ARCHIVE"]))  # another archive has none of them
    assert "Kept: 2 joints" in run("measure", "day", "--keep", "--jobs", "1").stderr


@pytest.mark.skipif(os.name == "nt", reason="a terminal's Ctrl-C cannot be sent there")
@pytest.mark.parametrize("presses", [1, 2])
def test_ctrl_c_leaves_what_is_finished_and_no_process_behind(tmp_path, presses):
    day = make_day(Path("day"), *map(str, range(40)))
    for folder in day.iterdir():
        shutil.copy(FOLDER / "photo0.jpg", folder / "level.jpg")
    program = Path(sys.executable).with_name("gapvision")
    begun = subprocess.Popen(
        [program, "measure", "day", "--jobs", "2"], start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    while not list(day.rglob(FILE)):
        assert begun.poll() is None
        time.sleep(0.1)
    for _ in range(presses):
        os.killpg(begun.pid, signal.SIGINT)  # to all its processes, as a terminal does
        time.sleep(0.3)
    out, err = begun.communicate(timeout=120)  # which also waits until none holds the pipes
    finished = len(list(day.rglob(FILE)))
    assert begun.returncode == 130 and 1 <= finished < 40
    assert "Ctrl-C again stops at once" in err and "Traceback" not in err and "Warning" not in err
    if presses == 1:
        assert f"Stopped with {40 - finished} of 40 joints left" in err
        assert f"{finished} joint" in out
