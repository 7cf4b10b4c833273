"""Joints at work on the disk: whole or not there, changed by one at a time, known to the archive."""

import hashlib
import threading
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from helpers.commands import run
from helpers.pages import JOINT

from gapvision.archive.store import open_archive
from gapvision.archive.verify import repair, verify
from gapvision.files import PART
from gapvision.page.drafts import (
    DRAFT,
    KEPT,
    KEPT_FOR,
    Draft,
    NoDraft,
    all_drafts,
    change_draft,
    drafts_folder,
    load_draft,
    new_draft,
    remove_draft,
    remove_kept,
)
from gapvision.page.photographs import (
    add_photograph,
    damaged,
    drop,
    photograph,
    photographs,
    suffix_of,
)

SHA256 = "ab" * 32


@pytest.fixture
def drafts(tmp_path):
    return drafts_folder(tmp_path / "archive")


@pytest.fixture
def draft(drafts):
    return new_draft(drafts, Draft("", JOINT["building"], JOINT["wall"], JOINT["log"]))


def arrived(drafts, content=b"\xff\xd8\xff and more"):
    part = drafts / "uploads" / "x.part"
    part.write_bytes(content)
    return part


def test_a_draft_is_read_as_it_was_written(drafts, draft):
    wanted = {"cover": "75", "from": "-7ft 2in"}
    changed = change_draft(
        drafts, draft.id, lambda d: replace(d, entries=wanted, readings=("41@widest",), units="in")
    )
    assert load_draft(drafts, draft.id) == changed
    assert changed.entries == wanted and changed.changed_at >= draft.begun_at
    assert changed.joint.title == "Log 3, north wall, Barn"


def test_changes_by_several_at_once_are_all_there(drafts, draft):
    def add(k):
        change_draft(drafts, draft.id, lambda d: replace(d, readings=(*d.readings, f"{k}@widest")))

    threads = [threading.Thread(target=add, args=(k,)) for k in range(20)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert sorted(load_draft(drafts, draft.id).readings) == sorted(f"{k}@widest" for k in range(20))


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"id": 5}', b"\xff\xfe", b"null"])
def test_a_damaged_draft_keeps_no_other_from_being_found(drafts, draft, content):
    other = new_draft(drafts, Draft("", "Barn", "north", "4"))
    (drafts / draft.id / DRAFT).write_bytes(content)
    assert [d.id for d in all_drafts(drafts)] == [other.id]
    with pytest.raises(NoDraft):
        load_draft(drafts, draft.id)


@pytest.mark.parametrize(
    "name", ["..", "../x", "0" * 11, "0" * 13, "G" * 12, "", "uploads", "٣" * 12]
)
def test_what_is_no_id_names_no_folder(drafts, name):
    with pytest.raises(NoDraft):
        load_draft(drafts, name)
    with pytest.raises(NoDraft):
        photograph(drafts, "0" * 12, name)


def test_photographs_are_numbered_as_they_come_and_never_anew(drafts, draft):
    for k in range(3):
        add_photograph(
            drafts, draft.id, arrived(drafts, b"\xff\xd8\xff%d" % k), f"{k}" * 64, "a.jpg"
        )
    drop(drafts, draft.id, "1" * 64, True)
    add_photograph(drafts, draft.id, arrived(drafts), SHA256, "a.jpg")
    assert [(p.number, p.dropped) for p in photographs(drafts, draft.id)] == [
        (1, False), (2, True), (3, False), (4, False),
    ]  # fmt: skip
    assert not any(f.name.startswith(PART) for f in (drafts / draft.id / "photos").iterdir())


def test_a_photograph_of_which_nothing_can_be_read_keeps_no_other_out_and_can_be_sent_again(
    drafts, draft
):
    for sha256 in (SHA256, "cd" * 32):
        add_photograph(drafts, draft.id, arrived(drafts), sha256, "a.jpg")
    (drafts / draft.id / "photos" / SHA256 / "photo.json").write_bytes(b"{")
    assert [p.sha256 for p in photographs(drafts, draft.id)] == ["cd" * 32]
    assert add_photograph(drafts, draft.id, arrived(drafts), SHA256, "a.jpg")
    assert {p.sha256 for p in photographs(drafts, draft.id)} == {SHA256, "cd" * 32}
    assert not add_photograph(drafts, draft.id, arrived(drafts), SHA256, "a.jpg")


@pytest.mark.parametrize(
    "content, suffix",
    [
        (b"\xff\xd8\xff\xe1", ".jpg"), (b"\x89PNG\r\n", ".png"), (b"II*\0", ".tif"), (b"MM\0*", ".tif"),
        (b"\0\0\0\x18ftypheic", ".heic"), (b"GIF89a", ""), (b"", ""), (b"<html>", ""),
    ],
)  # fmt: skip
def test_what_a_file_is_it_tells_itself(tmp_path, content, suffix):
    path = tmp_path / "file.exe"
    path.write_bytes(content)
    assert suffix_of(path) == suffix


def test_the_archive_is_whole_with_drafts_in_it_and_repair_leaves_them(drafts, draft):
    content = b"\xff\xd8\xff and more"
    sha256 = hashlib.sha256(content).hexdigest()
    add_photograph(drafts, draft.id, arrived(drafts, content), sha256, "a.jpg")
    with open_archive(drafts.parent) as archive:
        assert not verify(archive).faults and not verify(archive).unclaimed
        repair(archive)
    assert photograph(drafts, draft.id, sha256).name == "a.jpg"
    assert damaged(drafts) == []


def test_archive_verify_tells_of_joints_at_work(drafts, draft):
    done = run("archive", "verify", "--archive", drafts.parent)
    assert "At work on the page: 1 joint" in done.stdout
    remove_draft(drafts, draft.id)
    assert "At work" not in run("archive", "verify", "--archive", drafts.parent).stdout


def test_a_photograph_that_is_no_longer_what_came_is_a_fault(drafts, draft):
    add_photograph(drafts, draft.id, arrived(drafts), SHA256, "a.jpg")
    done = run("archive", "verify", "--archive", drafts.parent)
    assert (
        done.exit_code == 1 and "a.jpg of Log 3, north wall, Barn at work is damaged" in done.stdout
    )


def test_what_is_kept_is_removed_after_some_days_and_nothing_else(drafts, draft):
    kept = new_draft(drafts, Draft("", "Barn", "north", "4", state=KEPT, record=1))
    now = datetime.now().astimezone()
    assert remove_kept(drafts, now + KEPT_FOR - timedelta(hours=1)) == 0
    assert remove_kept(drafts, now + KEPT_FOR + timedelta(hours=1)) == 1
    assert [d.id for d in all_drafts(drafts)] == [draft.id]
    assert not (drafts / kept.id).exists()


def test_halves_of_a_killed_program_are_removed_at_the_next_start(drafts):
    half = drafts / f"{PART}0123"
    half.mkdir()
    (half / DRAFT).write_bytes(b"{")
    drafts_folder(drafts.parent)
    assert not half.exists() and (drafts / "uploads").is_dir()
