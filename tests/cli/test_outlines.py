"""`measure --outlines FILE`: written where it is not there, read where it is, kept and measured again."""

import json
import re
from pathlib import Path

import pytest
from helpers.commands import run
from helpers.demo import FOLDER
from helpers.joints import joint

pytestmark = pytest.mark.usefixtures("plain_terminal")

PHOTO = str(FOLDER / "photo0.jpg")
STATED = ("--from", "-400", "--to", "1100")


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The demo's level photograph: its outlines as they were written, and what was answered."""
    path = tmp_path_factory.mktemp("outlines") / "out.json"
    result = run("measure", PHOTO, *STATED, "--outlines", str(path))
    assert result.exit_code == 0, result.stderr
    return path.read_text(encoding="utf-8"), result.stdout


@pytest.fixture
def told(written):
    return json.loads(written[0])


def put(told, path="out.json"):
    Path(path).write_text(json.dumps(told), encoding="utf-8")


def measured(*more):
    return run("measure", PHOTO, *STATED, "--outlines", "out.json", *more)


def test_an_unchanged_file_changes_nothing(written):
    Path("out.json").write_text(written[0], encoding="utf-8")
    result = measured("--json", "all.json")
    assert result.exit_code == 0 and result.stdout == written[1]
    assert result.stderr == "Outlines: out.json was there already: it was read, not written\n"
    assert Path("out.json").read_text(encoding="utf-8") == written[0]
    assert run("measure", PHOTO, *STATED, "--json", "plain.json").exit_code == 0
    with_file, without = (
        re.sub(r'"measured_at": ".*"', "", Path(name).read_text(encoding="utf-8"))
        for name in ("all.json", "plain.json")
    )
    assert with_file == without


def test_what_was_changed_is_counted_kept_and_measured_again(told):
    line = told["photos"][0]["outlines"]["lower"][100:140:8]
    told["photos"][0]["by_hand"] = {"lower": [line], "not_gap": [[900, 980]]}
    put(told)
    names = "--building", "barn", "--wall", "north", "--log", "3"
    result = measured("--json", "all.json", "--picture", "joint.png", "--keep", *names)
    assert result.exit_code == 0, result.stderr
    assert re.search(r"^Corrected by hand: 1 photograph, from ", result.stdout, re.MULTILINE)
    answer = json.loads(Path("all.json").read_text(encoding="utf-8"))
    by_hand = answer["photos"][0]["by_hand"]
    assert by_hand["lower"] == [line] and by_hand["not_gap"] == [[900, 980]]

    again = run("archive", "remeasure", "1", "--keep")
    assert again.exit_code == 0 and "then" in again.stdout
    first, second = (
        json.loads(run("archive", "show", n, "--json", "-").stdout) for n in ("1", "2")
    )
    assert first["options"]["corrections"] == second["options"]["corrections"]
    assert first["result"]["setting"] == second["result"]["setting"] == answer["setting"]
    assert second["result"]["photos"][0]["by_hand"] == by_hand
    assert "Corrected by hand: 1 photograph" in run("archive", "show", "2").stdout
    assert run("report", "all.json", "--out", "joint.html").exit_code == 0
    page = Path("joint.html").read_text(encoding="utf-8")
    assert "Corrected by hand" in page and "lower log&#39;s line drawn" in page


def test_overwriting_never_loses_what_was_done_by_hand(told, written, monkeypatch):
    told["photos"][0]["by_hand"] = {"not_gap": [[900, 980]]}
    put(told)
    before = Path("out.json").read_bytes()
    Path("joint.json").touch()
    result = measured("--json", "joint.json", "--overwrite")
    assert result.exit_code == 0 and "Corrected by hand: 1 photograph" in result.stdout
    assert "holds corrections by hand: it was read, not written" in result.stderr
    assert Path("out.json").read_bytes() == before and Path("joint.json").stat().st_size
    Path("out.json").write_text(written[0], encoding="utf-8")
    monkeypatch.setattr("gapvision.spine.measure", lambda *_: joint())
    assert measured("--overwrite").exit_code == 0
    assert Path("out.json").read_text(encoding="utf-8") != written[0]


@pytest.mark.parametrize("content", ["mine", '{"format": "gapvision-measurement", "version": 1}'])
def test_a_file_of_another_kind_is_refused_as_ever(content):
    Path("out.json").write_text(content, encoding="utf-8")
    result = measured()
    assert result.exit_code == 1 and "exists already" in result.stderr
    assert Path("out.json").read_text(encoding="utf-8") == content


def spoilt():
    def by_hand(value):
        return lambda t: t["photos"][0].update(by_hand=value)

    yield by_hand({"upper": [[[-9, 4], [8, 8]]]}), "photo0.jpg: .*outside the picture"
    yield by_hand({"upper": [[[900, 30]]]}), "photo0.jpg: .*by the card the joint cannot be"
    yield by_hand({"not_gap": [[5000, 5100]]}), "photo0.jpg: .*this photograph shows"
    yield by_hand({"not_gap": [[100, -100]]}), "photo0.jpg: .*begin left of its end"
    yield by_hand({"dropped": True}), "All photographs were dropped by hand"
    yield by_hand({"drop": True}), "by_hand knows no 'drop'"
    yield lambda t: t["photos"][0].update(sha256="0" * 64), "no photograph given is the same file"
    yield lambda t: t["photos"][0].update(traced={}), "out.json is damaged"
    yield lambda t: t.update(version=7), "version 7"
    yield lambda t: t.update(status="refused", photos=None), "tells of a refusal"


@pytest.mark.parametrize(("spoil", "match"), list(spoilt()))
def test_what_cannot_be_is_one_sentence(told, spoil, match):
    spoil(told)
    put(told)
    result = measured("--json", "all.json")
    assert result.exit_code == 1 and not result.stdout
    *read, refused = result.stderr.splitlines()
    assert len(read) <= 1 and re.match(rf"Refused: .*{match}", refused)
    answer = Path("all.json")
    if answer.exists():  # where the file itself could be read
        assert json.loads(answer.read_text(encoding="utf-8"))["status"] == "refused"


def test_lines_that_cross_are_one_sentence(told):
    outlines = told["photos"][0]["outlines"]
    told["photos"][0]["by_hand"] = {
        "upper": [outlines["lower"][100:140:8]], "lower": [outlines["upper"][100:140:8]]
    }  # fmt: skip
    put(told)
    assert "lies below that for the lower log" in measured().stderr


def test_broken_json_is_not_taken_for_another_file(written):
    Path("out.json").write_text(written[0].replace("],", "]", 1), encoding="utf-8")
    result = measured()
    assert result.exit_code == 1 and "no JSON any more" in result.stderr
