"""Stored joints measured again: only what is not yet, nothing lost, and what changed in a table."""

import hashlib
from dataclasses import replace

import pytest
from helpers.archives import jpeg, keep, named, new_record
from helpers.joints import joint, photo

from gapvision.answer.as_json import answer_json, refusal_json, stamped
from gapvision.archive.originals import path_of
from gapvision.archive.query import Query, entries, load_record
from gapvision.archive.record import add_record
from gapvision.archive.record import new_record as record_of
from gapvision.archive.store import open_archive
from gapvision.day.again import measured_again, worth_it
from gapvision.day.again_text import change_of, changes_table
from gapvision.day.processes import Finished
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions

WHEN = "2026-05-14T09:00:00+00:00"


@pytest.fixture
def archive(tmp_path):
    with open_archive(tmp_path / "a", create=True) as opened:
        yield opened


def answered(asked, keep):
    """What a later program says: 2 mm more, or by what the photographs hold nothing."""
    options = asked.options
    held = [p.read_bytes() for p in options.photos]
    if jpeg(13) in held:
        return Finished(None, failed="ValueError: this is a mistake")
    if jpeg(14) in held:
        error = MeasurementError("no-card", f"{options.photos[0].name} shows no card: hang one.")
        return Finished(stamped(refusal_json(error), WHEN))
    shown = tuple(
        photo(str(p), sha256=hashlib.sha256(c).hexdigest())
        for p, c in zip(options.photos, held, strict=True)
    )
    measured = joint(photos=shown, first=-500.0, last=500.0, set_to_mm=51.0)
    new = record_of(asked.name, options, measured) if keep else None
    return Finished(stamped(answer_json(measured), WHEN), new)


@pytest.fixture(autouse=True)
def no_picture(monkeypatch):
    monkeypatch.setattr("gapvision.answer.picture.picture.picture_bytes", lambda *_: b"drawn")


def again(archive, records, keep=False, **more):
    found = measured_again(archive, records, keep, 1, work=answered, **more)
    return {one.record: one for one in found}


def test_what_is_kept_is_the_record_s_own_files_beside_the_old_answer(archive):
    record = keep(archive, jpeg(1), jpeg(2))
    found = again(archive, [record], keep=True)[record]
    kept = load_record(archive, found.kept.record)
    assert (kept.entry.remeasured, kept.entry.set_to_mm, kept.entry.revision) == (1, 51.0, 2)
    assert [f.sha256 for f in kept.photographs] == [
        f.sha256 for f in load_record(archive, record).photographs
    ]
    assert [p["file"] for p in kept.result["photos"]] == ["photo0.jpg", "photo1.jpg"]
    assert found.new["setting"]["set_to_mm"] == 51.0 and found.old.entry.set_to_mm != 51.0


def test_a_run_that_was_stopped_is_gone_on_with(archive):
    records = [keep(archive, jpeg(n)) for n in range(4)]
    told = []
    found = again(
        archive, records, keep=True, progress=lambda *n: told.append(n), stop=lambda: len(told) > 2
    )
    assert list(found) == records[:2] and told == [(0, 4), (1, 4), (2, 4)]
    wanted = worth_it(entries(archive, Query()), keep=True)
    assert sorted(wanted) == records  # not what was kept just now
    found = again(archive, wanted, keep=True)
    assert [r for r, a in sorted(found.items()) if a.before is None] == records[2:]
    assert all(a.new["setting"]["set_to_mm"] == 51.0 for a in found.values())
    assert len(list(entries(archive, Query()))) == 8
    assert len(worth_it(entries(archive, Query()), keep=False)) == 8
    assert not any(a.before for a in again(archive, records).values())  # of which nothing is kept


def test_another_program_s_answer_is_measured_again(archive, monkeypatch):
    record = keep(archive)
    again(archive, [record], keep=True)
    monkeypatch.setattr("gapvision.day.again.__version__", "9")
    assert again(archive, [record], keep=True)[record].before is None
    assert len(worth_it(entries(archive, Query()), keep=True)) == 3


def test_one_bad_record_never_stops_the_rest(archive):
    records = [keep(archive, jpeg(n)) for n in (1, 13, 14, 2, 3, 4)]
    (gone,) = (f.sha256 for f in load_record(archive, records[3]).photographs)
    path_of(archive, gone).unlink()
    archive.db.execute("UPDATE document SET result = '[]' WHERE record = ?", (records[4],))
    found = again(archive, records, keep=True)
    lacked = [found[r].lacked for r in records]
    assert lacked[0] == lacked[5] == ""
    assert "this is a mistake" in lacked[1] and "shows no card" in lacked[2]
    assert "is not in the archive" in lacked[3] and "cannot be read" in lacked[4]
    assert len(list(entries(archive, Query()))) == 8
    rows = [change_of(found[r], "mm") for r in records]
    assert changes_table(rows, "mm").endswith("6 records: 2 changed, 0 the same, 4 not measured.")


def test_photographs_of_one_name_keep_their_order(archive):
    contents = [jpeg(n) for n in range(12)]
    new = new_record(contents)
    same = replace(new, files=tuple(replace(f, name="level.jpg") for f in new.files))
    record = add_record(archive, same).record
    seen = []

    def looked_at(asked, keep):
        seen.extend(p.read_bytes() for p in sorted(asked.options.photos))
        return answered(asked, keep)

    list(measured_again(archive, [record], False, 1, work=looked_at))
    assert seen == contents


def test_a_camera_file_that_was_named_then_is_used_as_it_was(archive, tmp_path):
    lens = tmp_path / "lens.toml"
    lens.write_text("k1 = 0.5")
    record = keep(archive, options=MeasureOptions(photos=(), camera=lens))
    lens.write_text("k1 = 0.7")
    seen = []

    def looked_at(asked, keep):
        seen.append((asked.options.camera.name, asked.options.camera.read_text()))
        return answered(asked, keep)

    list(measured_again(archive, [record], False, 1, work=looked_at))
    assert seen == [("lens.toml", "k1 = 0.5")]


# --- what is told ---------------------------------------------------------------------------------


def test_a_line_for_each_that_changed_and_a_count_of_the_others(archive):
    long = named(new_record((jpeg(1),)), building="The house at the end of the lake road")
    records = [keep(archive, jpeg(0)), add_record(archive, long).record]
    found = again(archive, records)
    rows = [change_of(found[r], "mm") for r in records]
    same = replace(rows[0], record=9, now=rows[0].then)
    doubtful = replace(
        rows[0], record=8, now=(*rows[0].then[:2], "doubtful", *rows[0].then[3:]), before=True
    )
    cautioned = replace(rows[0], record=7, now=(*rows[0].then, "one-height"))
    text = changes_table([same, doubtful, cautioned, *rows[::-1]], "mm")
    lines = text.splitlines()
    assert lines[1].startswith("     1 Lake house/north/3 ") and "49 > 51" in lines[1]
    assert "~" in lines[2] and lines[3].endswith("cautions") and lines[4].endswith("DOUBTFUL")
    assert lines[-1] == "5 records: 4 changed, 1 the same. 1 of them measured again before."
    assert max(map(len, lines)) <= 80


def test_where_nothing_changed_there_is_no_table(archive):
    record = keep(archive)
    row = change_of(again(archive, [record])[record], "mm")
    assert changes_table([replace(row, now=row.then)], "mm") == "1 records: 0 changed, 1 the same."
