"""A file of outlines that a person changed: what was moved, taken out, drawn or marked in it."""

import json
import re
from dataclasses import replace

import pytest
from helpers.joints import joint, photo, whole_log

from gapvision.answer.as_json import answer_json, check_answer, measurement_of
from gapvision.answer.corrected_json import corrected_json
from gapvision.answer.outlines_file import (
    check_given,
    corrections_in,
    holds_changes,
    read_outlines,
)
from gapvision.answer.outlines_json import outlines_answer, outlines_refusal
from gapvision.errors import MeasurementError
from gapvision.inputs.corrections import Correction, correction_json
from gapvision.joint.photo_results import Corrected, Lack, PhotoResult

SHA = "0" * 64  # of the photograph of `joint`


@pytest.fixture
def told():
    """A file as it was written of one photograph."""
    return json.loads(json.dumps(outlines_answer(joint())))


def of(told):
    return corrections_in(told, "out.json")


def lines(told, log="upper"):
    return told["photos"][0]["outlines"][log]


def test_unchanged_it_changes_nothing(told):
    assert of(told) == {}
    m = whole_log()
    photos = tuple(replace(p, sha256=f"{k:064}") for k, p in enumerate(m.photos))
    assert of(json.loads(json.dumps(outlines_answer(replace(m, photos=photos))))) == {}


def test_numbers_written_anew_by_another_program_are_not_moved(told):
    """In single precision the last digits of 1234.56 are others."""
    for log in ("upper", "lower"):
        lines(told, log)[:] = [[x + 3e-5, y - 3e-5] for x, y in lines(told, log)]
    assert of(told) == {}


def test_points_moved_are_a_line_drawn(told):
    for point in lines(told, "lower")[40:60]:
        point[1] += 7.5
    moved = of(told)[SHA]
    assert moved == Correction(lower=(tuple(map(tuple, lines(told, "lower")[40:60])),))


def test_points_added_are_drawn_too_and_each_run_by_itself(told):
    lines(told)[10:10] = [[lines(told)[9][0] + 1.0, 600.0], [lines(told)[9][0] + 2.0, 601.0]]
    lines(told)[100][1] -= 4
    assert [len(stroke) for stroke in of(told)[SHA].upper] == [2, 1]


def test_a_line_drawn_with_fewer_points_replaces_those_between_its_ends(told):
    first, last = lines(told)[30], lines(told)[60]
    lines(told)[30:61] = [[first[0], 610.0], [last[0], 615.0]]
    changed = of(told)[SHA]
    assert changed == Correction(upper=(((first[0], 610.0), (last[0], 615.0)),))


def test_points_taken_out_are_a_stretch_that_is_not_the_gap(told):
    station = told["photos"][0]["outlines"]["blocks"]["station_mm"]
    del lines(told)[30:51]
    assert of(told)[SHA] == Correction(not_gap=((station[30] - 2.0, station[50] + 2.0),))


def test_what_is_drawn_beside_the_outlines(told):
    drawn = {"upper": [[[900, 620], [950, 621]]], "not_gap": [[100, 180]]}
    told["photos"][0]["by_hand"] = drawn
    lines(told, "lower")[0][1] += 3
    both = of(told)[SHA]
    assert correction_json(both) | {"lower": 0} == {
        "upper": [[[900.0, 620.0], [950.0, 621.0]]], "not_gap": [[100.0, 180.0]], "lower": 0,
    }  # fmt: skip
    assert both.lower == ((tuple(lines(told, "lower")[0]),),)


def test_photographs_alone_as_a_page_has_them(told):
    """Without outlines there is nothing to compare."""
    told["photos"] = [{"sha256": SHA, "by_hand": {"dropped": True}}]
    assert of(told) == {SHA: Correction(dropped=True)}


# --- what an answer says of it, and back ----------------------------------------------------------


def corrected():
    drawn = Correction(upper=(((900.0, 620.0), (950.0, 621.0)),), not_gap=((100.0, 180.0),))
    stretch = Corrected(drawn, upper_mm=((22.24, 77.8),))
    dropped = PhotoResult(
        "b.jpg", "1" * 64, "outside", False, Lack("dropped"),
        corrected=Corrected(Correction(dropped=True)),
    )  # fmt: skip
    return joint(photos=(photo(corrected=stretch), dropped))


def test_the_answer_holds_what_was_changed_and_is_read_back():
    told = json.loads(json.dumps(answer_json(corrected())))
    first, dropped = told["photos"]
    assert first["by_hand"] == {
        "upper": [[[900.0, 620.0], [950.0, 621.0]]], "not_gap": [[100.0, 180.0]],
        "upper_mm": [[22.2, 77.8]],
    }  # fmt: skip
    assert dropped["by_hand"] == {"dropped": True}
    assert dropped["lacked"] == "b.jpg is left out: it was dropped by hand."
    back = measurement_of(check_answer(told, "joint.json"))
    assert [corrected_json(p.corrected) for p in back.photos] == [
        {"by_hand": p["by_hand"]} | corrected_json(q.corrected)
        for p, q in zip(told["photos"], back.photos, strict=True)
    ]
    assert "by_hand" not in answer_json(joint())["photos"][0]


def test_outlines_written_of_a_corrected_joint_bring_the_same_corrections():
    told = json.loads(json.dumps(outlines_answer(corrected())))
    assert of(told) == {p.sha256: p.corrected.given for p in corrected().photos}


@pytest.mark.parametrize(
    "by_hand", [7, [], {"upper": 3}, {"upper_mm": [[1]]}, {"dropped": "yes"}, {"left": []}]
)
def test_an_answer_in_which_it_is_damaged(by_hand):
    told = answer_json(corrected())
    told["photos"][0]["by_hand"] = by_hand
    with pytest.raises(MeasurementError, match="damaged"):
        check_answer(told, "joint.json")


# --- files from anybody ---------------------------------------------------------------------------


def spoilt():
    def outlines(of):
        return of["photos"][0]["outlines"]

    yield lambda t: t.pop("photos"), "no list of photographs"
    yield lambda t: t.update(photos={"a": 1}), "no list of photographs"
    yield lambda t: t["photos"].append(3), "no list of photographs"
    yield lambda t: t["photos"][0].pop("sha256"), "no sha256"
    yield lambda t: t["photos"].append(t["photos"][0]), "twice"
    yield lambda t: t["photos"][0].pop("traced"), "KeyError at 'traced'"
    yield lambda t: outlines(t).pop("blocks"), "KeyError"
    yield lambda t: outlines(t)["upper"].append([1]), "ValueError"
    yield lambda t: outlines(t)["upper"].append("ab"), "ValueError"
    yield lambda t: outlines(t)["upper"].append([[], {}]), "TypeError"
    yield lambda t: outlines(t)["blocks"]["upper_state"].pop(), "not a point for each block"
    yield lambda t: outlines(t).update(lower=None), "TypeError"
    yield lambda t: outlines(t)["upper"].append([10**400, 1]), "OverflowError"
    yield lambda t: outlines(t)["upper"].append([1e300, 1]), "no place in a picture"
    yield lambda t: t["photos"][0].update(by_hand=[1]), "group of values"
    yield lambda t: t["photos"][0].update(by_hand={"upper": [[[1, "a"]]]}), "not of its form"
    yield lambda t: t["photos"][0].update(file="\x1b[31mred\n"), None


@pytest.mark.parametrize(("spoil", "match"), list(spoilt()))
def test_what_is_damaged_is_refused_in_one_sentence(told, spoil, match):
    spoil(told)
    if match is None:
        told["photos"][0]["by_hand"] = {"dropped": 3}
    with pytest.raises(MeasurementError, match=match or "red") as refused:
        of(told)
    assert re.fullmatch(r"[^\n\x1b]{20,400}\.", refused.value.text)


@pytest.mark.parametrize(
    "content",
    [b"", b"mine", b"[1, 2]", b'{"format": "gapvision-measurement"}', b"[" * 100_000, b"\xff\xfe"],
)
def test_other_files_are_not_taken_for_it(tmp_path, content):
    path = tmp_path / "out.json"
    path.write_bytes(content)
    assert read_outlines(path) is None and not holds_changes(path)
    assert read_outlines(tmp_path / "none.json") is None
    assert read_outlines(tmp_path) is None


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ('{"format": "gapvision-outlines", "version": 1, "photos": [}', "no JSON any more"),
        ('{"format": "gapvision-outlines", "version": 1, "x": NaN}', "NaN is no number"),
        ('{"format": "gapvision-outlines", "version": 2}', "version 2"),
        ('{"format": "gapvision-outlines", "version": "\\u001b"}', "newer one"),
        ('{"format": "gapvision-outlines"' + "[" * 100_000, "no JSON any more"),
    ],
)
def test_one_that_can_be_read_no_more(tmp_path, text, match):
    path = tmp_path / "out.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MeasurementError, match=match) as refused:
        read_outlines(path)
    assert re.fullmatch(r"[^\n\x1b]{20,400}\.", refused.value.text)


def test_a_refusal_holds_nothing_to_correct(told):
    told.update(status="refused", photos=[])
    with pytest.raises(MeasurementError, match="tells of a refusal"):
        of(told)


def test_in_photographs_that_were_refused_lines_can_be_drawn_all_the_same():
    refused = outlines_refusal(MeasurementError("no-outlines", "None."), {SHA: "a/level.jpg"})
    assert of(refused) == {}
    refused["photos"][0]["by_hand"] = {"lower": [[[1, 2], [30, 4]]]}
    assert of(refused)[SHA].lower == (((1.0, 2.0), (30.0, 4.0)),)


def test_photographs_that_were_not_given_are_named(told):
    check_given(told, "out.json", {SHA, "2" * 64})
    with pytest.raises(MeasurementError, match="out.json holds outlines of joint.jpg, and no"):
        check_given(told, "out.json", {"2" * 64})
