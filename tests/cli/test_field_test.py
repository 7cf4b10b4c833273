"""`gapvision field-test` end to end: the demo's photographs, readings drawn from its known truth."""

import json
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from gapvision.cli import main as cli

pytestmark = pytest.mark.usefixtures("plain_terminal")

DEMO = resources.files("gapvision").joinpath("cli/demo_photos")
TRUTH = json.loads(DEMO.joinpath("truth.json").read_text(encoding="utf-8"))
U_READING_MM, U_SETTING_MM, U_WIDTH_MM = 0.4, 0.4, 1.5


def run(*args):
    return CliRunner().invoke(cli.app, ["field-test", *(str(a) for a in args)])


def reference_joint(folder, seed, wrong_by=0.0):
    """A folder with the demo's photographs and readings right to their stated uncertainties."""
    rng = np.random.default_rng(seed)
    folder.mkdir()
    for name in TRUTH["files"]:
        (folder / name).write_bytes((DEMO / name).read_bytes())
    station = np.arange(-350, 1051, 100)
    gap = np.interp(station, TRUTH["station_mm"], TRUTH["gap_mm"])
    gap = gap + rng.normal(0, U_READING_MM, len(gap))
    gap[4] += wrong_by
    widest = TRUTH["widest_gap_mm"] + rng.normal(0, U_READING_MM)
    setting = TRUTH["setting_mm"] + rng.normal(0, U_SETTING_MM)
    width = TRUTH["cover_mm"] + rng.normal(0, U_WIDTH_MM)
    rows = [[int(s), round(float(g), 1)] for s, g in zip(station, gap, strict=True)]
    at = int(TRUTH["deciding_station_mm"])
    (folder / "field_test.toml").write_text(
        f'format = "gapvision-field-test"\nversion = 1\nnotes = "rendered"\n'
        f"cover = {TRUTH['cover_mm']}\nfrom = {TRUTH['from_mm']}\nto = {TRUTH['to_mm']}\n"
        f'upper_diameter = "{TRUTH["upper_diameter"]}"\n'
        f'lower_diameter = "{TRUTH["lower_diameter"]}"\n'
        f"u_reading = {U_READING_MM}\nu_station = 0\nreadings = {rows}\n"
        f"widest = [{at}, {widest:.1f}]\n"
        f"trials = [[{at}, {setting:.1f}, {width:.1f}, {U_WIDTH_MM}]]\n",
        encoding="utf-8",
    )
    return folder


@pytest.fixture(scope="module")
def joints(tmp_path_factory):
    """One folder with right readings, one with a reading 8 mm off, one whose form is broken."""
    folder = tmp_path_factory.mktemp("joints")
    reference_joint(folder / "good", seed=5)
    reference_joint(folder / "wrong", seed=5, wrong_by=8.0)
    (folder / "broken").mkdir()
    (folder / "broken/field_test.toml").write_text("readings = [[", encoding="utf-8")
    return folder


def test_right_readings_hold(joints):
    result = run(joints / "good", "--json", "score.json")
    assert result.exit_code == 0, result.stderr
    assert (
        result.stdout.startswith("HELD: ") and "measured from 3 photographs of 3" in result.stdout
    )
    told = json.loads(Path("score.json").read_text(encoding="utf-8"))
    (good,) = told["joints"]
    assert told["status"] == good["status"] == "held" and told["measured_at"]
    assert good["gap"]["n"] == 15 and good["gap"]["rms_mm"] < 1.5
    assert good["widest_gap"]["agrees"] and good["trials"][0]["agrees"]
    assert good["trials"][0]["photographs_mm"] == pytest.approx(
        good["measurement"]["setting"]["value_mm"], abs=2.0
    )  # at the deciding place, and a width within 3 mm of the cover's


def test_the_readings_do_not_enter_the_photographs_answer(joints, monkeypatch):
    """Both folders have the same photographs, and their readings differ by 8 mm."""
    seen = []
    from gapvision import spine

    real = spine.measure

    def measure(options, progress=None):
        seen.append(options)
        return real(options, progress)

    monkeypatch.setattr(spine, "measure", measure)
    result = run(joints, "--json", "-")
    assert result.exit_code == 0
    assert [o.by_hand.entries for o in seen] == [(), ()]
    told = json.loads(result.stdout)
    broken, good, wrong = told["joints"]
    assert good["measurement"]["setting"] == wrong["measurement"]["setting"]
    assert (good["status"], wrong["status"], broken["status"]) == ("held", "not-held", "refused")
    worst = max(wrong["readings"], key=lambda r: r["E_n"])
    assert worst["station_mm"] == 50.0 and worst["likelier_wrong"] == "reading"
    assert told["totals"]["held"] == 1 and told["totals"]["scored"] == 2
    lines = result.stderr.splitlines()
    assert lines[0] == "1 of 2 joints held." and any("not scored:" in line for line in lines)


def test_a_broken_form_is_one_sentence(joints):
    result = run(joints / "broken", "--json", "score.json")
    assert result.exit_code == 1 and not result.stdout
    assert result.stderr.startswith("Refused: ") and result.stderr.count("\n") == 1
    told = json.loads(Path("score.json").read_text(encoding="utf-8"))
    assert told["status"] == "refused" and told["joints"][0]["reason"]["code"] == "bad-form"


def test_where_nothing_can_be_scored_it_is_refused(tmp_path):
    for name in ("a", "b"):
        (tmp_path / "all" / name).mkdir(parents=True)
        assert run(tmp_path / "all" / name, "--template").exit_code == 0
    result = run(tmp_path / "all")
    assert result.exit_code == 1 and result.stdout.startswith("0 of 0 joints held.")
    assert result.stdout.count("holds no readings yet") == 2


def test_photographs_that_are_missing_or_none(tmp_path):
    text = 'format = "gapvision-field-test"\nversion = 1\nreadings = [[0, 30]]\n'
    (tmp_path / "field_test.toml").write_text(text, encoding="utf-8")
    result = run(tmp_path)
    assert result.exit_code == 1 and "no photograph" in result.stderr.lower()
    (tmp_path / "field_test.toml").write_text(f'{text}photos = ["no.jpg"]', encoding="utf-8")
    result = run(tmp_path)
    assert result.exit_code == 1 and "no.jpg" in result.stderr


def test_template_is_written_once(tmp_path):
    result = run(tmp_path, "--template")
    assert result.exit_code == 0 and str(tmp_path / "field_test.toml") in result.stdout
    before = (tmp_path / "field_test.toml").read_bytes()
    for more in ((), ("--overwrite",)):
        result = run(tmp_path, "--template", *more)
        assert result.exit_code == 1 and "exists already" in result.stderr
    assert (tmp_path / "field_test.toml").read_bytes() == before
    assert run(tmp_path, "--template", "--json", "x.json").exit_code == 2


def test_neither_form_nor_other_files_are_overwritten(joints):
    form = joints / "good/field_test.toml"
    for kept in (form, joints / "good" / TRUTH["files"][0]):
        before = kept.read_bytes()
        assert run(joints / "good", "--json", kept, "--overwrite").exit_code == 2
        assert kept.read_bytes() == before
    Path("mine.json").write_text("mine", encoding="utf-8")
    assert run(joints / "good", "--json", "mine.json").exit_code == 1
    assert Path("mine.json").read_text(encoding="utf-8") == "mine"


def test_no_folder_or_no_form(tmp_path):
    for folder, said in ((tmp_path / "no", "There is no folder"), (tmp_path, "--template")):
        result = run(folder)
        assert result.exit_code == 1 and said in result.stderr
