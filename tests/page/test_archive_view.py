"""The archive's lists: each log's latest, the top log first, and no setting where an answer has none."""

import pytest
from helpers.archives import named, new_record

from gapvision.advice.caution import told
from gapvision.archive.query import Query, entries, load_record, verdicts_of
from gapvision.archive.record import add_record
from gapvision.archive.store import open_archive
from gapvision.page.archive_view import outcome_context, record_context, wall_context
from gapvision.page.home_view import wall_rows
from gapvision.page.joint_view import JointRow

MISFIT = told("misfit", "The outlines miss the fitted logs.", doubtful=True)


@pytest.fixture
def archive(tmp_path):
    """Logs 2, 9 and 10 of one wall; 9 contradicts itself, and 2 was kept twice."""
    with open_archive(tmp_path / "kept", create=True) as opened:
        contradicts = {"status": "doubtful", "cautions": (MISFIT,)}
        for log, changes in (("2", {"set_to_mm": 60.0}), ("2", {}), ("9", contradicts), ("10", {})):
            add_record(opened, named(new_record(**changes), building="Barn", log=log))
        yield opened


def shown(archive, at_work=()):
    found = list(entries(archive, Query(building="Barn", wall="north")))
    verdicts = verdicts_of(archive, [e.record for e in found])
    return wall_context("Barn", "north", found, verdicts, at_work, "mm")


def test_the_top_log_comes_first_and_each_once(archive):
    rows = shown(archive, [JointRow("/joint/0", "Log 11", "measuring", "busy")])["rows"]
    assert [row.title for row in rows] == ["Log 11", "Log 10", "Log 9", "Log 2"]
    assert rows[-1].number == "49 mm"


def test_what_contradicts_itself_has_no_setting(archive):
    row = shown(archive)["rows"][1]
    assert (row.word, row.number, row.sign) == ("", "", "bad")
    assert row.text.startswith("Measure again, ")


def test_a_record_of_before_there_were_verdicts_has_none_in_lists(archive):
    archive.db.execute("UPDATE document SET result = json_remove(result, '$.verdict')")
    assert verdicts_of(archive, [1, 2, 3, 4]) == {}
    assert {row.number for row in shown(archive)["rows"]} == {""}


def test_a_damaged_record_does_not_keep_the_others_from_a_list(archive):
    archive.db.execute("UPDATE document SET result = '{' WHERE record = 4")
    assert set(verdicts_of(archive, [1, 2, 3, 4])) == {1, 2, 3}


def test_the_next_log_is_one_higher(archive):
    assert shown(archive)["new"] == "/new?building=Barn&wall=north&log=11"


def test_a_wall_is_one_however_it_is_written(archive):
    add_record(archive, named(new_record(), building="barn", wall="North", log="3"))
    (row,) = wall_rows(entries(archive, Query()))
    assert row.text == "4 logs, up to log 10"


def test_a_record_is_told_whole(archive):
    record = load_record(archive, 2)
    context = record_context(record, (), entries(archive, Query(log="2")), "mm")
    assert context["answer"].first_line == "SET 49 mm"
    assert dict(context["record"]["facts"])["Other records of this joint"] == "1"
    assert context["profile"].readings and not context["outcome"]
    assert outcome_context(record, {}, {})["cards"] == [1, 2]
