"""The command line: exit status, what goes to which stream, and one sentence for each bad input."""

import dataclasses
import hashlib
import json
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from helpers.commands import run
from helpers.demo import FOLDER
from helpers.measured import answer

import gapvision.spine
from gapvision import __version__
from gapvision.advice.caution import told
from gapvision.cli import main as cli
from gapvision.errors import OutlinesNotFound

pytestmark = pytest.mark.usefixtures("plain_terminal")

NOISE_SHAPE = (700, 900, 3)  # above the least size that is measured


def answering(monkeypatch, result):
    def measure(options, progress=None):
        if isinstance(result, BaseException):
            raise result
        return result

    monkeypatch.setattr(gapvision.spine, "measure", measure)


def files_below(folder):
    return {
        p.relative_to(folder): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in Path(folder).rglob("*")
        if p.is_file()
    }


# --- exit status and streams ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("status", "first"), [("measured", "SET 48 mm"), ("doubtful", "AT LEAST 48 mm")]
)
def test_measured_and_doubtful_are_status_0(monkeypatch, status, first):
    m = answer(status)
    unseen = (told("not-seen", "A hole.", 0.0, 70.0),) * (status == "doubtful")
    answering(monkeypatch, dataclasses.replace(m, cautions=(*unseen, *m.cautions)))
    result = run("measure", "level.jpg")
    assert result.exit_code == 0
    assert result.stdout.splitlines()[0] == first and not result.stderr


def test_details_print_what_stands_behind(monkeypatch):
    answering(monkeypatch, answer())
    short, long = run("measure", "level.jpg"), run("measure", "level.jpg", "--details")
    assert "Widest gap  " not in short.stdout and "--details" in short.stdout
    for said in ("Widest gap  ", "Setting needed  ", "One height only", "local codes"):
        assert said in long.stdout
    assert "--details" not in long.stdout


def test_refused_is_status_1_and_one_sentence_on_stderr(monkeypatch):
    answering(monkeypatch, OutlinesNotFound("no-outlines", "The gap could not be traced."))
    result = run("measure", "level.jpg", "--json", "out.json")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1 and "The gap could not be traced." in result.stderr
    assert not result.stdout
    said = json.loads(Path("out.json").read_text())
    assert said["status"] == "refused" and said["program_version"] == __version__
    assert said["reason"] == {"code": "no-outlines", "text": "The gap could not be traced."}


def test_interrupting_before_a_command_begins_is_quiet(monkeypatch, capsys):
    def interrupted():
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "app", interrupted)
    with pytest.raises(SystemExit) as told:
        cli.main()
    assert told.value.code == 130 and capsys.readouterr() == ("", "")


def test_interrupting_is_quiet(monkeypatch):
    answering(monkeypatch, KeyboardInterrupt())
    result = run("measure", "level.jpg")
    assert result.exit_code == 130  # 128 + SIGINT, as shells have it
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("args", "match"),
    [
        (["measure", "level.jpg", "--no-such-option"], "--no-such-option"),
        (["measure"], "PHOTO"),
        (["mesure", "level.jpg"], "mesure"),
        (["measure", "level.jpg", "--card-on", "side"], "side"),
        (["measure", "level.jpg", "--units", "feet"], "feet"),
        (["measure", "level.jpg", "--cover", "wide"], "'wide' is not a length"),
        (["measure", "level.jpg", "--cover", "75,5"], "write a point, not a comma"),
        (["measure", "level.jpg", "--cover", "3", "--units", "in"], "write 3in or 3mm"),
        (["measure", "level.jpg", "--from", "7 1/2mm"], "a fraction means inches"),
        (["measure", "level.jpg", "--to", "12", "--units", "in"], "write 12in or 12mm"),
        (["measure", "level.jpg", "--upper-diameter", "1,2,3"], "need stations"),
        (["measure", "level.jpg", "--lower-diameter", "290@0,310"], "station of its own"),
        (["measure", "level.jpg", "--inside-cards", "five"], "write them as 5,6"),
        (["measure", "level.jpg", "--reading", "41.5"], "say where it was read"),
        (["measure", "level.jpg", "--printed-bar", "long"], "'long' is not a length"),
        (["measure", "level.jpg", "--picture", "joint.txt"], "joint.txt"),
        (["card", "cards.pdf", "--paper", "a3"], "a3"),
        (["card", "cards.pdf", "--first", "0"], "1 to 40"),
        (["card", "cards.pdf", "--first", "40", "--count", "2"], "40"),
        (["card", "cards.pdf", "--count", "0"], "0"),
        (["card"], "FILE.pdf"),
    ],
)
def test_wrong_usage_is_status_2_and_measures_nothing(asked, args, match):
    result = run(*args)
    assert result.exit_code == 2
    assert match in result.stderr and "Traceback" not in result.output
    assert not asked and not files_below(".")


def test_everything_stated_reaches_the_measurement(asked):
    result = run(
        "measure", "a.jpg", "b.jpg", "--inside", "c.jpg", "--inside", "d.jpg",
        "--inside-cards", "5,6", "--cover", "3in", "--card-on", "lower",
        "--upper-diameter", "290,310", "--lower-diameter", "290@-750,310@750",
        "--from", "-1 1/2in", "--to", "750mm", "--printed-bar", "99.4", "--camera", "phone.toml",
        "--wall-thickness", "330mm", "--reading", "41.5mm@1200mm", "--reading", "40mm@widest~1mm",
        "--units", "mm",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    (o,) = asked
    assert o.photos == (Path("a.jpg"), Path("b.jpg"))
    assert o.inside == (Path("c.jpg"), Path("d.jpg"))
    assert (o.cards.inside_cards, o.card_on, o.camera) == ((5, 6), "lower", Path("phone.toml"))
    stated = (
        o.cover_mm, o.stretch.from_mm, o.stretch.to_mm, o.cards.printed_bar_mm,
        o.cards.wall_thickness_mm,
    )  # fmt: skip
    assert stated == pytest.approx((76.2, -38.1, 750.0, 99.4, 330.0))
    assert o.upper_diameter.points == ((None, 290.0), (None, 310.0))
    assert o.lower_diameter.points == ((-750.0, 290.0), (750.0, 310.0))
    assert [(r.value_mm, r.station_mm, r.u_mm) for r in o.by_hand.readings] == [
        (41.5, 1200.0, 0.5),
        (40.0, None, 1.0),
    ]


def test_only_inside_photographs_are_no_wrong_usage(asked):
    assert run("measure", "--inside", "c.jpg").exit_code == 0
    assert asked[0].photos == ()


@pytest.mark.parametrize(
    ("args", "units"),
    [
        (["--cover", "3in"], "in"),
        (["--cover", "2-1/2"], "in"),
        (["--to", "6' 3 1/2\""], "in"),
        (["--upper-diameter", "11 1/2in,1ft"], "in"),
        (["--reading", "1 5/8@widest"], "in"),
        (["--limit", "width=5in"], "in"),
        (["--limit", "width=3/8"], "mm"),  # a share of the diameter
        (["--cover", "75"], "mm"),
        (["--cover", "7.5cm", "--to", "1.2m"], "mm"),
        (["--cover", "3in", "--units", "mm", "--to", "800"], "mm"),
        (["--printed-bar", "99.4", "--cover", "3in"], "in"),  # always mm
    ],
)
def test_units_are_those_that_were_typed_unless_told_otherwise(asked, args, units):
    result = run("measure", "level.jpg", *args)
    assert result.exit_code == 0, result.output
    assert asked[0].units == units
    first = result.stdout.splitlines()[0]
    assert ("48 mm" in first) == (units == "mm") and ("1 15/16 in" in first) == (units == "in")


def test_a_preference_is_told_otherwise(asked):
    assert run("preferences", "--units", "mm").exit_code == 0
    assert run("measure", "level.jpg", "--cover", "3in", "--to", "800").exit_code == 0
    assert (asked[0].units, asked[0].cover_mm, asked[0].stretch.to_mm) == ("mm", 76.2, 800.0)


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["--cover", "3in", "--upper-diameter", "11,12"], "--upper-diameter: '11' has no unit"),
        (["--cover", "7.5cm", "--from", "-75"], "write -75cm or -75mm"),
        (["--from", "-2m", "--to", "3"], "write 3m or 3mm"),
        (["--cover", "75", "--reading", "1 1/2in@widest"], "write 75in or 75mm"),
    ],
)
def test_a_bare_number_beside_lengths_with_units_is_refused(asked, args, said):
    result = run("measure", "level.jpg", *args)
    assert result.exit_code == 2 and said in result.stderr and not asked


def test_units_reach_the_text(asked):
    first = run("measure", "level.jpg", "--units", "in").stdout.splitlines()[0]
    assert "1 15/16 in" in first and " mm" not in first.split("cover")[0]
    assert asked[0].units == "in"


# --- JSON -----------------------------------------------------------------------------------------


def test_json_dash_is_alone_on_standard_output(asked):
    result = run("measure", "level.jpg", "--json", "-")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["status"] == "measured"
    assert "48 mm" in result.stderr.splitlines()[0]


def test_json_dash_of_a_refusal_too(monkeypatch):
    answering(monkeypatch, OutlinesNotFound("no-outlines", "The gap could not be traced."))
    result = run("measure", "level.jpg", "--json", "-")
    assert result.exit_code == 1
    assert json.loads(result.stdout)["reason"]["code"] == "no-outlines"


def test_json_file(asked):
    result = run("measure", "level.jpg", "--json", "out.json", "--units", "in")
    said = json.loads(Path("out.json").read_text(encoding="utf-8"))
    assert said["program_version"] == __version__
    told = datetime.fromisoformat(said["measured_at"])  # RFC 3339, with the offset from UTC
    assert abs(datetime.now(UTC) - told) < timedelta(minutes=5)
    assert said["setting"]["set_to_mm"] == 48.0  # mm whatever the units on screen
    assert result.stdout.startswith("SET ")


# --- files are kept -------------------------------------------------------------------------------


@pytest.mark.parametrize("option", ["--json", "--picture"])
def test_existing_files_are_never_overwritten(asked, option):
    name = {"--json": "out.json", "--picture": "out.jpg"}[option]
    Path(name).write_text("mine")
    result = run("measure", "level.jpg", option, name)
    assert result.exit_code == 1
    assert f"{name} exists already" in result.stderr
    assert Path(name).read_text() == "mine" and not asked


def test_json_is_overwritten_where_that_was_said(asked):
    Path("out.json").write_text("old")
    assert run("measure", "level.jpg", "--json", "out.json", "--overwrite").exit_code == 0
    assert json.loads(Path("out.json").read_text())["status"] == "measured"


def test_file_that_came_into_being_while_measuring_is_kept(monkeypatch):
    def measure(options, progress=None):
        Path("out.json").write_text("mine")
        return answer()

    monkeypatch.setattr(gapvision.spine, "measure", measure)
    result = run("measure", "level.jpg", "--json", "out.json")
    assert result.exit_code == 1
    assert "48 mm" in result.stdout  # the answer is not lost
    assert Path("out.json").read_text() == "mine"


@pytest.mark.parametrize("option", ["--json", "--picture"])
def test_a_photograph_is_never_overwritten_whatever_was_said(asked, option):
    Path("level.jpg").write_bytes(b"picture")
    result = run("measure", "level.jpg", option, "./level.jpg", "--overwrite")
    assert result.exit_code == 2
    assert "one of the photographs" in result.stderr
    assert Path("level.jpg").read_bytes() == b"picture" and not asked


def test_picture_among_the_photographs_is_refused(asked):
    Path("photos").mkdir()
    result = run("measure", "photos", "--picture", "photos/joint.jpg")
    assert result.exit_code == 2 and not asked
    assert "name another folder" in result.stderr


@pytest.mark.parametrize("option", ["--json", "--picture"])
def test_missing_folder_is_said_before_measuring(asked, option):
    result = run("measure", "level.jpg", option, "nowhere/out.jpg")
    assert result.exit_code == 1 and not asked
    assert "nowhere" in result.stderr


# --- bad input through the real program -----------------------------------------------------------


def noise_picture(seed=7, level=120):
    """Brown noise with structure of some ten pixels: nothing in it is a card."""
    rng = np.random.default_rng(seed)
    coarse = rng.normal(0, 1, (NOISE_SHAPE[0] // 12, NOISE_SHAPE[1] // 12)).astype(np.float32)
    wood = cv2.resize(coarse, NOISE_SHAPE[1::-1], interpolation=cv2.INTER_CUBIC)
    picture = level * np.float32([0.6, 0.8, 1.0]) + 30 * wood[..., None]
    return np.clip(picture + rng.normal(0, 3, NOISE_SHAPE), 0, 255).astype(np.uint8)


def write(name, picture):
    assert cv2.imwrite(name, picture)
    return name


def truncated():
    write("whole.jpg", noise_picture())
    data = Path("whole.jpg").read_bytes()
    Path("whole.jpg").unlink()
    Path("photo.jpg").write_bytes(data[: len(data) // 2])


def make_folder(name):
    Path(name).mkdir()
    (Path(name) / "notes.txt").write_text("no photograph")


BAD_FILES = {
    "not-an-image": lambda: Path("photo.jpg").write_bytes(b"GIF89a and some more bytes"),
    "truncated": truncated,
    "empty-file": lambda: Path("photo.jpg").touch(),
    "no-file": lambda: None,
    "no-photos": lambda: make_folder("photo.jpg"),
    "no-card": lambda: write("photo.jpg", noise_picture()),
    "too-dark": lambda: write("photo.jpg", np.full(NOISE_SHAPE, 3, np.uint8)),
    "burnt-out": lambda: write("photo.jpg", np.full(NOISE_SHAPE, 254, np.uint8)),
    "too-small": lambda: write("photo.jpg", noise_picture()[:300, :400]),
    "blurred": lambda: write("photo.jpg", cv2.GaussianBlur(noise_picture(), (0, 0), 12)),
}


def refused(*args):
    """The sentence of a refusal and its code, the same on screen and in the JSON."""
    before = files_below(".")
    result = run("measure", *args, "--json", "out.json")
    assert result.exit_code == 1, result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert not result.stdout
    said = json.loads(Path("out.json").read_text(encoding="utf-8"))
    assert said["status"] == "refused"
    assert not {"setting", "widest_gap", "profile"} & set(said)
    text = said["reason"]["text"]
    assert text in result.stderr and result.stderr.count("\n") == 1
    assert "Traceback" not in result.stderr
    # One sentence: what was seen and what to do, ended by its only full stop before a capital.
    assert re.fullmatch(r"[^\n]+\.", text) and not re.search(r"[a-z)]\. [A-Z]", text)
    assert len(re.split(r"[:;,]", text)) > 1
    Path("out.json").unlink()
    assert files_below(".") == before
    return said["reason"]["code"], text


@pytest.mark.parametrize("code", BAD_FILES)
def test_bad_photographs(code):
    BAD_FILES[code]()
    found, text = refused("photo.jpg")
    assert found == code
    assert "photo.jpg" in text


@pytest.mark.parametrize(
    ("args", "code", "match"),
    [
        (["--cover", "0"], "bad-cover", "above zero"),
        (["--cover", "-75"], "bad-cover", "above zero"),
        (["--cover", "310", "--upper-diameter", "300"], "bad-cover", "carries at most"),
        (["--cover", "5000"], "bad-cover", "carries at most"),
        (["--upper-diameter", "7500"], "bad-diameter", "upper log"),
        (["--lower-diameter", "12"], "bad-diameter", "12in"),
        (["--lower-diameter", "290@-750,7750@750"], "bad-diameter", "lower log"),
        (["--from", "750", "--to", "-750"], "from-after-to", "exchange them"),
        (["--printed-bar", "10"], "bad-printed-bar", "check bar"),
        (["--wall-thickness", "13"], "bad-thickness", "through the wall"),
        (["--camera", "missing.toml"], "no-camera-file", "missing.toml"),
    ],
)
def test_bad_statements(args, code, match, monkeypatch):
    if "--camera" in args:  # is only read for a photograph with a card
        from gapvision.photo.lens.prior import lens_of

        def measure(options, progress=None):
            lens_of(None, options.camera)

        monkeypatch.setattr(gapvision.spine, "measure", measure)
    found, text = refused("photo.jpg", *args)
    assert found == code
    assert match in text


def test_bad_photographs_among_each_other_are_refused_once():
    Path("photos").mkdir()
    write("photos/a.jpg", noise_picture(1))
    (Path("photos") / "b.jpg").touch()
    assert refused("photos")[0] in ("no-card", "empty-file")


# --- cards ----------------------------------------------------------------------------------------


def test_card_writes_a_pdf_and_keeps_it(tmp_path):
    result = run("card", "cards.pdf", "--paper", "letter", "--first", "3", "--count", "3")
    assert result.exit_code == 0
    assert "cards.pdf" in result.stdout and "100" in result.stdout
    with pypdfium2.PdfDocument(tmp_path / "cards.pdf") as pdf:
        assert len(pdf) == 2  # two cards to a sheet
    before = files_below(".")
    again = run("card", "cards.pdf")
    assert again.exit_code == 1
    assert "cards.pdf" in again.stderr and again.stderr.count("\n") == 1
    assert files_below(".") == before
    assert run("card", "cards.pdf", "--overwrite").exit_code == 0
    assert files_below(".") != before


def test_card_into_a_missing_folder_is_refused():
    result = run("card", "nowhere/cards.pdf")
    assert result.exit_code == 1
    assert "nowhere" in result.stderr and "Traceback" not in result.output


# --- the program as installed ---------------------------------------------------------------------


def program(*args):
    script = Path(sys.executable).with_name("gapvision")
    return subprocess.run(
        [script, *args], capture_output=True, text=True, encoding="utf-8", timeout=60, check=False
    )


def test_installed_program_refuses_as_promised():
    write("photo.jpg", noise_picture())
    result = program("measure", "photo.jpg", "--json", "-")
    assert result.returncode == 1
    assert json.loads(result.stdout)["reason"]["code"] == "no-card"
    assert result.stderr.count("\n") == 1 and "photo.jpg" in result.stderr


def test_installed_program_knows_wrong_usage_and_help():
    wrong = program("measure", "photo.jpg", "--no-such-option")
    assert wrong.returncode == 2 and not wrong.stdout and "Traceback" not in wrong.stderr
    shown = program("measure", "--help")
    assert shown.returncode == 0 and not shown.stderr
    assert "--upper-diameter" in shown.stdout and "Exit status: 0" in shown.stdout


def test_help_does_not_wait_for_opencv():
    """Importing OpenCV and scipy takes longer than everything else in front of a help text."""
    for words in (["--help"], ["archive", "--help"], ["measure", "--help"]):
        assert not {"cv2", "scipy", "PIL"} & loaded_by(*words)


def test_a_command_does_not_wait_for_the_others():
    of_measure = {m for m in loaded_by("measure", "--help") if m.startswith("gapvision.cli.")}
    assert "gapvision.cli.measure" in of_measure
    assert not {"gapvision.cli.page", "gapvision.cli.archive.listing"} & of_measure


def test_a_plain_measurement_loads_neither_scipy_nor_what_writes_files():
    loaded = loaded_by("measure", FOLDER / "photo0.jpg")
    heavy = {"scipy", "rich", "reportlab", "jinja2", "joblib"}
    assert "cv2" in loaded and not heavy & loaded


def loaded_by(*words):
    """Names of the modules that a command has loaded by its end."""
    code = (
        "import sys; from gapvision.cli.main import main\ntry: main()\n"
        "except SystemExit: pass\nprint('LOADED', *sys.modules)"
    )
    result = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=60, check=True
    )
    return set(result.stdout.splitlines()[-1].removeprefix("LOADED ").split())
