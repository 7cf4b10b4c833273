"""Photographs that arrive in pieces: resumed, never twice, within limits, and nothing left behind."""

import hashlib
import os
import shutil
import threading
import time

import pytest
from helpers.disks import fill, small_disk
from helpers.pages import (
    APPEND,
    PHOTOS,
    begin,
    client,
    new_joint,
    raw,
    send,
    serving,
    state_of,
    wait_for,
)

from gapvision.page import uploads
from gapvision.page.drafts import UPLOADS

PHOTO = PHOTOS[0].read_bytes()
SHA256 = hashlib.sha256(PHOTO).hexdigest()
SMALL = b"\xff\xd8\xff" + bytes(5000)  # begins like a photograph, and is none


@pytest.fixture
def left(drafts):
    """What of this test lies among the uploads, but for the notes of those that are whole."""

    def found():
        return {p.name for p in (drafts / UPLOADS).iterdir() if p.suffix != ".json"}

    before = found()
    return lambda: found() - before


def stored(drafts, joint):
    folder = drafts / joint.rpartition("/")[2] / "photos"
    return sorted(p.name for p in folder.iterdir())


def test_a_photograph_goes_on_where_it_broke_off(page, joint, drafts, left):
    upload = begin(page, joint, PHOTO, "IMG_4711.JPG")
    first = page.patch(upload, content=PHOTO[:70_000], headers=APPEND | {"Upload-Offset": "0"})
    assert first.status_code == 204 and first.headers["upload-offset"] == "70000"
    waiting = state_of(page, joint)["uploads"]
    assert [(u["name"], u["offset"], u["length"]) for u in waiting] == [
        ("IMG_4711.JPG", 70_000, len(PHOTO))
    ]
    asked = page.head(upload)
    assert asked.headers["upload-offset"] == "70000" and asked.headers["upload-complete"] == "?0"
    rest = page.patch(upload, content=PHOTO[70_000:], headers=APPEND | {"Upload-Offset": "70000"})
    assert rest.status_code == 200
    assert rest.json() == {"sha256": SHA256, "name": "IMG_4711.JPG", "again": False}
    folder = drafts / joint.rpartition("/")[2] / "photos" / SHA256
    assert (folder / "photo-1.jpg").read_bytes() == PHOTO
    assert state_of(page, joint)["uploads"] == [] and not left()


def test_whoever_lost_the_last_answer_asks_again_and_sends_nothing(page, joint, drafts):
    upload = begin(page, joint, PHOTO)
    page.patch(upload, content=PHOTO, headers=APPEND | {"Upload-Offset": "0"})
    asked = page.head(upload)
    assert asked.headers["upload-offset"] == str(len(PHOTO))
    again = page.patch(upload, content=b"", headers=APPEND | {"Upload-Offset": str(len(PHOTO))})
    assert again.status_code == 200 and again.json()["sha256"] == SHA256
    assert stored(drafts, joint) == [SHA256]


def test_the_same_photograph_is_there_once_and_is_taken_back_where_it_was_dropped(
    page, joint, drafts
):
    assert send(page, joint, PHOTO, "a.jpg").json()["again"] is False
    page.post(f"{joint}/photo/{SHA256}/drop")
    assert state_of(page, joint)["photos"][0]["dropped"]
    assert send(page, joint, PHOTO, "b.jpg").json()["again"] is True
    assert stored(drafts, joint) == [SHA256]
    assert not state_of(page, joint)["photos"][0]["dropped"]


def test_a_wrong_offset_tells_the_right_one_and_changes_nothing(page, joint):
    upload = begin(page, joint, PHOTO)
    page.patch(upload, content=PHOTO[:1000], headers=APPEND | {"Upload-Offset": "0"})
    for wrong in ("0", "999", "1001"):
        answer = page.patch(upload, content=PHOTO[1000:], headers=APPEND | {"Upload-Offset": wrong})
        assert answer.status_code == 409 and answer.headers["upload-offset"] == "1000"


def test_a_connection_that_is_cut_keeps_what_came(served, page, joint, drafts):
    upload = begin(page, joint, PHOTO)
    headers = APPEND | {"Upload-Offset": "0", "Content-Length": len(PHOTO)}
    with raw(served[0], "PATCH", upload, headers, PHOTO[:200_000]):
        time.sleep(0.2)
    come = wait_for(lambda: int(page.head(upload).headers["upload-offset"]))
    assert 0 < come <= 200_000
    rest = page.patch(upload, content=PHOTO[come:], headers=APPEND | {"Upload-Offset": str(come)})
    assert rest.json()["sha256"] == SHA256


def test_a_request_that_hangs_is_ended_by_the_one_that_goes_on(served, page, joint):
    """A phone that changed networks leaves the old connection open, for minutes."""
    upload = begin(page, joint, PHOTO)
    headers = APPEND | {"Upload-Offset": "0", "Content-Length": len(PHOTO)}
    with raw(served[0], "PATCH", upload, headers, PHOTO[:100_000]):
        time.sleep(0.3)
        asked = page.head(upload, timeout=10)
        come = int(asked.headers["upload-offset"])
        assert come == 100_000
        rest = page.patch(
            upload, content=PHOTO[come:], headers=APPEND | {"Upload-Offset": str(come)}
        )
        assert rest.json()["sha256"] == SHA256


def test_a_phone_that_falls_silent_is_not_waited_for(served, page, joint, monkeypatch):
    monkeypatch.setattr("gapvision.page.upload_pages.SILENT_S", 0.3)
    upload = begin(page, joint, PHOTO)
    headers = APPEND | {"Upload-Offset": "0", "Content-Length": len(PHOTO)}
    with raw(served[0], "PATCH", upload, headers, PHOTO[:50_000]) as line:
        answer = line.recv(1000)
    assert answer.startswith(b"HTTP/1.1 204 ") and b"upload-offset: 50000" in answer.lower()


def test_two_phones_send_to_one_joint_at_once(served, joint, drafts):
    """The same photographs and others: each is there once, under a number of its own."""
    contents = [SMALL + bytes([k]) for k in range(12)]
    failed = []

    def phone(mine):
        with client(served[0]) as asking:
            for content in mine:
                if send(asking, joint, content).status_code != 200:
                    failed.append(content)

    phones = [
        threading.Thread(target=phone, args=(part,))
        for part in (contents, contents[::-1], contents[3:9])
    ]
    for each in phones:
        each.start()
    for each in phones:
        each.join()
    assert not failed
    assert stored(drafts, joint) == sorted(hashlib.sha256(c).hexdigest() for c in contents)
    with client(served[0]) as asking:
        numbers = [p["number"] for p in state_of(asking, joint)["photos"]]
    assert sorted(numbers) == list(range(1, 13))


@pytest.mark.parametrize(
    "length, code, says",
    [
        (uploads.MOST_BYTES + 1, 413, "at most 120"),
        (0, 422, "empty"),
    ],
)
def test_a_photograph_too_large_or_empty_is_refused_before_it_comes(
    page, joint, length, code, says
):
    answer = page.post(f"{joint}/uploads", headers={"Upload-Length": str(length)})
    assert answer.status_code == code and says in answer.json()["sentence"]


@pytest.mark.parametrize("length", ["", "-5", "5.0", "1e3", "9" * 40, "٣"])
def test_a_length_that_is_no_number_is_refused(page, joint, length):
    answer = page.post(f"{joint}/uploads", headers={"Upload-Length": length.encode()})
    assert answer.status_code == 422 and answer.json()["code"] == "bad-header"


def test_more_than_was_announced_is_not_taken(page, joint, drafts):
    upload = begin(page, joint, SMALL)
    answer = page.patch(upload, content=SMALL * 2, headers=APPEND | {"Upload-Offset": "0"})
    assert answer.status_code == 413
    assert int(page.head(upload).headers["upload-offset"]) <= len(SMALL)
    assert stored(drafts, joint) == []


def test_what_is_no_photograph_is_refused_and_removed(page, joint, drafts, left):
    answer = send(page, joint, b"%PDF-1.7 and so on", "plan.pdf")
    assert answer.status_code == 422
    assert answer.json()["sentence"].startswith("plan.pdf is no photograph")
    assert stored(drafts, joint) == [] and not left()


def test_what_only_begins_like_a_photograph_cannot_be_shown(page, joint):
    sha256 = send(page, joint, SMALL).json()["sha256"]
    for name in ("view.jpg", "thumb.jpg"):
        assert page.get(f"{joint}/photo/{sha256}/{name}").status_code == 404


def test_a_joint_takes_no_more_than_so_many(page, joint, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_PHOTOGRAPHS", 2)
    for k in range(2):
        send(page, joint, SMALL + bytes([k]))
    answer = page.post(f"{joint}/uploads", headers={"Upload-Length": "1000"})
    assert answer.status_code == 429 and "2 photographs" in answer.json()["sentence"]
    files = [("photographs", ("c.jpg", SMALL + b"c", "image/jpeg"))]
    assert page.post(f"{joint}/photographs", files=files).status_code == 429


def test_room_is_kept_on_the_disk(page, joint, monkeypatch):
    usage = shutil.disk_usage("/")
    monkeypatch.setattr(
        "shutil.disk_usage", lambda _: usage._replace(free=uploads.FREE_KEPT + 5000)
    )
    answer = page.post(f"{joint}/uploads", headers={"Upload-Length": "6000"})
    assert answer.status_code == 507 and "make room" in answer.json()["sentence"]
    assert page.post(f"{joint}/uploads", headers={"Upload-Length": "4000"}).status_code == 201


def test_a_disk_that_fills_up_is_told_and_the_photograph_goes_on_later(tmp_path, monkeypatch):
    async def nothing(*_):
        pass

    monkeypatch.setattr("gapvision.page.app.warm", nothing)
    with small_disk(tmp_path / "disk", 24) as disk:
        if disk is None:
            pytest.skip("nobody may mount a disk here")
        monkeypatch.setattr(uploads, "FREE_KEPT", 0)
        with serving(disk / "archive") as (base, drafts), client(base) as page:
            joint = new_joint(page)
            upload = begin(page, joint, PHOTO)
            page.patch(upload, content=PHOTO[:1000], headers=APPEND | {"Upload-Offset": "0"})
            filling = fill(disk)
            answer = page.patch(
                upload, content=PHOTO[1000:], headers=APPEND | {"Upload-Offset": "1000"}
            )
            assert answer.status_code == 507 and "is full" in answer.json()["sentence"]
            assert page.get("/").status_code == 200
            filling.unlink()
            come = int(page.head(upload).headers["upload-offset"])
            assert 1000 <= come < len(PHOTO)
            headers = APPEND | {"Upload-Offset": str(come)}
            assert (
                page.patch(upload, content=PHOTO[come:], headers=headers).json()["sha256"] == SHA256
            )


def test_an_upload_of_a_joint_that_was_removed_is_refused(page, joint, left):
    upload = begin(page, joint, SMALL)
    page.post(f"{joint}/remove")
    answer = page.patch(upload, content=SMALL, headers=APPEND | {"Upload-Offset": "0"})
    assert answer.status_code == 404 and not left()


def test_an_upload_can_be_abandoned(page, joint, left):
    upload = begin(page, joint, SMALL)
    assert page.delete(upload).status_code == 204
    assert page.head(upload).status_code == 404 and not left()


def test_what_nobody_went_on_with_is_removed_after_a_day_and_nothing_else(page, joint, drafts):
    old, new = (begin(page, joint, SMALL) for _ in range(2))
    then = time.time() - uploads.KEPT_S - 60
    for path in (drafts / UPLOADS).glob(f"{old.rpartition('/')[2]}.*"):
        os.utime(path, (then, then))
    (drafts / UPLOADS / "tmp0123").write_bytes(b"of a killed program")
    os.utime(drafts / UPLOADS / "tmp0123", (then, then))
    assert uploads.remove_stale(drafts) == 3
    assert page.head(old).status_code == 404 and page.head(new).status_code == 204


def test_several_photographs_by_a_plain_form(page, joint, left):
    files = [("photographs", (p.name, p.read_bytes(), "image/jpeg")) for p in PHOTOS]
    answer = page.post(f"{joint}/photographs", files=files)
    assert answer.status_code == 303 and answer.headers["location"] == joint
    assert [p["name"] for p in state_of(page, joint)["photos"]] == [p.name for p in PHOTOS]
    assert not left()


def test_two_at_once_of_one_upload_write_it_once(served, page, joint, drafts):
    upload = begin(page, joint, PHOTO)
    answers = []

    def sender():
        with client(served[0]) as asking:
            headers = APPEND | {"Upload-Offset": "0"}
            answers.append(asking.patch(upload, content=PHOTO, headers=headers).status_code)

    both = [threading.Thread(target=sender) for _ in range(2)]
    for each in both:
        each.start()
    for each in both:
        each.join()
    assert set(answers) <= {200, 409}
    end = page.head(upload).headers["upload-offset"]
    if end != str(len(PHOTO)):
        headers = APPEND | {"Upload-Offset": end}
        page.patch(upload, content=PHOTO[int(end) :], headers=headers)
    assert stored(drafts, joint) == [SHA256]
