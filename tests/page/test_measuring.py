"""From photographs to a record: verdicts, the answer, work that is cancelled, killed or taken up again."""

import hashlib
import json
import os
import re
import shutil
import signal
import threading
import time
from dataclasses import replace
from pathlib import Path

import anyio
import cv2
import numpy as np
import pytest
from helpers.pages import (
    APPEND,
    PHOTOS,
    begin,
    client,
    judged,
    measured,
    new_joint,
    program,
    send,
    serving,
    state_of,
    wait_for,
)
from helpers.rolls import NORTH_3, with_slip

from gapvision.answer.as_json import answer_json, check_answer
from gapvision.archive.query import Query, entries, load_record
from gapvision.archive.store import open_archive
from gapvision.archive.verify import verify
from gapvision.inputs.options import MeasureOptions
from gapvision.page.drafts import MEASURING, change_draft, load_draft
from gapvision.page.workers import warm
from gapvision.spine import measure


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A page with its workers, as it is used."""
    with serving(tmp_path_factory.mktemp("served") / "archive") as it:
        yield it


@pytest.fixture(scope="module")
def in_order(tmp_path_factory):
    """The same photographs as files whose names are in the order of their hashes, as drafts have them."""
    folder = tmp_path_factory.mktemp("in_order")
    for photo in PHOTOS:
        shutil.copy(photo, folder / f"{hashlib.sha256(photo.read_bytes()).hexdigest()}.jpg")
    return tuple(sorted(folder.iterdir()))


@pytest.fixture(scope="module")
def three(served):
    """A joint of three photographs, each with its verdict: its address."""
    with client(served[0]) as page:
        joint = new_joint(page)
        for photo in PHOTOS:
            assert send(page, joint, photo.read_bytes(), photo.name).status_code == 200
        judged(page, joint)
    return joint


def children():
    """The workers of this process."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                stat = (entry / "stat").read_text()
                command = (entry / "cmdline").read_text()
            except OSError:
                continue
            if int(stat.rpartition(")")[2].split()[1]) == os.getpid() and "to_process" in command:
                found.append(int(entry.name))
    return found


def test_a_page_stopped_as_soon_as_it_begins_leaves_no_worker_behind():
    """One that is cancelled before it is ready is not killed by those who began it."""

    async def stopped_at_once():
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(warm, anyio.CapacityLimiter(2))
            while set(children()) <= before:
                await anyio.sleep(0.002)
            tasks.cancel_scope.cancel()

    before = set(children())
    anyio.run(stopped_at_once)
    assert set(children()) <= before


def test_each_photograph_is_told_what_it_shows_and_which_is_next(page, three):
    told = state_of(page, three)
    texts = [p["verdict"]["text"] for p in told["photos"]]
    assert all(text.startswith("Cards 1 and 2 found, sharp; ") for text in texts)
    assert [p["verdict"]["details"]["height"] for p in told["photos"]] == [
        "level",
        "above",
        "below",
    ]
    seen = re.search(
        r"Joint seen from (\d+) mm left of card 1 to (\d+) mm right of card 2\.", texts[0]
    )
    assert [int(mm) for mm in seen.groups()] == pytest.approx([920, 1000], abs=30)
    assert told["due"] == "" and told["next"].startswith("Measure now")


def test_the_answer_is_that_of_the_command_line(page, three, in_order):
    """It is made of what was traced as the photographs came, whatever order that was in."""
    page.post(f"{three}/measure")
    assert measured(page, three)["state"] == "answered"
    told = page.get(f"{three}/answer.json").json()
    same = answer_json(measure(MeasureOptions(photos=in_order, cover_mm=75.0)))
    assert check_answer(told, "it")["setting"] == same["setting"]
    assert told["profile"] == same["profile"] and told["first_line"] == same["first_line"]
    names = sorted(Path(p["file"]).name for p in told["photos"])
    assert names == [f"photo-{k}.jpg" for k in (1, 2, 3)]
    assert told["first_line"].split()[-2] in page.get(f"{three}/answer").text
    assert page.get(f"{three}/picture.jpg").content.startswith(b"\xff\xd8")


def test_an_answer_that_was_overtaken_is_told_and_not_kept(page, three):
    page.post(f"{three}/measure")
    told = measured(page, three)
    assert told["state"] == "answered" and not told["stale"]
    sha256 = told["photos"][2]["sha256"]
    page.post(f"{three}/photo/{sha256}/drop")
    assert state_of(page, three)["stale"]
    refused = page.post(f"{three}/keep")
    assert refused.status_code == 409 and "measure again" in refused.json()["sentence"]
    page.post(f"{three}/photo/{sha256}/take-back")
    assert not state_of(page, three)["stale"]


def test_readings_enter_the_answer_and_leave_it(page, three, drafts):
    page.post(f"{three}/measure")
    measured(page, three)
    alone = page.get(f"{three}/answer.json").json()
    cards = {c["number"]: c["station_mm"] for c in alone["cards"]}
    entry = {"kind": "caliper", "value": "40", "card": "2", "place": "100", "hand": "left"}
    assert page.post(f"{three}/readings", data=entry).status_code == 303
    measured(page, three)
    told = page.get(f"{three}/answer.json").json()["readings"]
    assert [r["station_mm"] for r in told] == [pytest.approx(cards[2] - 100, abs=0.06)]
    (text,) = load_draft(drafts, three.rpartition("/")[2]).readings
    page.post(f"{three}/readings", data={"kind": "caliper", "remove": text})
    measured(page, three)
    assert page.get(f"{three}/answer.json").json()["setting"] == alone["setting"]


@pytest.mark.parametrize(
    "entry, says",
    [
        ({"value": ""}, "length"),
        ({"value": "40", "card": "9", "place": "10"}, "card 9"),
        ({"value": "80", "kind": "trial", "setting": "", "place": "1"}, "length"),
        ({"value": "40", "place": "here"}, "length"),
    ],
)
def test_a_reading_that_is_none_is_refused(page, three, entry, says):
    answer = page.post(f"{three}/readings", data={"kind": "caliper"} | entry)
    assert answer.status_code == 422 and says in answer.json()["sentence"].lower()


def test_kept_once_whoever_presses_and_however_often(served, page, three):
    page.post(f"{three}/measure")
    measured(page, three)
    led = []

    def press():
        with client(served[0]) as phone:
            led.append(phone.post(f"{three}/keep").headers["location"])

    both = [threading.Thread(target=press) for _ in range(2)]
    for each in both:
        each.start()
    for each in both:
        each.join()
    assert len(set(led)) == 1
    number = int(led[0].rpartition("/")[2])
    with open_archive(served[1].parent) as archive:
        assert [e.record for e in entries(archive, Query())].count(number) == 1
        kept = load_record(archive, number)
        assert kept.entry.joint.title == "Log 3, north wall, Barn"
        assert sorted(f.name for f in kept.photographs) == [f"photo-{k}.jpg" for k in (1, 2, 3)]
        assert not verify(archive).faults
    for path in ("", "/report.html", "/report.pdf", "/outcome"):
        assert page.get(led[0] + path).status_code == 200
    assert page.get("/archive", params={"q": "barn"}).text.count("/record/") >= 1
    assert page.get("/wall", params={"building": "Barn", "wall": "north"}).status_code == 200


def test_what_came_of_it_is_told_on_the_page(served, page, three):
    page.post(f"{three}/measure")
    measured(page, three)
    record = page.post(f"{three}/keep").headers["location"]
    told = {"setting_used": "54", "narrowest_cover": "77", "remarks": "tight <all> along"}
    assert page.post(f"{record}/outcome", data=told).status_code == 303
    text = page.get(record).text
    assert "54 mm" in text and "tight &lt;all&gt; along" in text
    for wrong, says in (
        ({}, "Nothing was told"),
        ({"setting_used": "2.1"}, "5 to 400"),
        ({"open_from": "10"}, "two ends"),
        ({"setting_used": "wide"}, "no length|not a length"),
    ):
        refused = page.post(f"{record}/outcome", data=wrong)
        assert refused.status_code == 422 and re.search(says, refused.text)


def test_a_joint_without_photographs_is_refused_in_a_sentence(page):
    joint = new_joint(page)
    page.post(f"{joint}/measure")
    told = measured(page, joint)
    assert told["state"] == "refused" and "add at least one" in told["sentence"]
    assert page.get(f"{joint}/report.html").status_code == 404


def test_what_cannot_be_measured_is_refused_in_a_sentence(page):
    joint = new_joint(page)
    grey = np.random.default_rng(1).integers(0, 255, (1200, 1600), np.uint8)
    send(page, joint, cv2.imencode(".jpg", grey)[1].tobytes())
    told = judged(page, joint)["photos"][0]["verdict"]
    assert not told["ok"] and "photo-1.jpg" in told["text"]
    page.post(f"{joint}/measure")
    told = measured(page, joint)
    assert told["state"] == "refused" and told["sentence"].endswith(".")


def test_a_slip_among_the_photographs_is_known_and_not_measured(page):
    joint = new_joint(page)
    slip = with_slip(NORTH_3, 0.3, 0, (0, 0), 0, np.random.default_rng(1), plain=180)
    send(page, joint, cv2.imencode(".jpg", slip)[1].tobytes())
    told = judged(page, joint)["photos"][0]["verdict"]
    assert told["ok"] and "slip of Log 3, north wall, Barn" in told["text"]
    page.post(f"{joint}/measure")
    assert "add at least one" in measured(page, joint)["sentence"]


def test_measuring_is_cancelled_at_once_and_can_be_repeated(page, three, served, monkeypatch):
    monkeypatch.setattr("gapvision.page.jobs.remembered", lambda *_: {})  # so that it takes a while
    page.post(f"{three}/measure")
    wait_for(lambda: state_of(page, three)["progress"]["done"] >= 1)
    before = time.monotonic()
    page.post(f"{three}/cancel")
    assert measured(page, three)["state"] == "collecting"
    assert time.monotonic() - before < 1.0
    monkeypatch.undo()
    page.post(f"{three}/measure")
    assert measured(page, three)["state"] == "answered"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads Linux's list of processes")
def test_a_worker_that_is_killed_is_told_and_measuring_can_be_repeated(page, three, monkeypatch):
    monkeypatch.setattr("gapvision.page.jobs.remembered", lambda *_: {})
    page.post(f"{three}/measure")
    wait_for(lambda: state_of(page, three)["progress"]["done"] >= 1)
    for pid in children():
        os.kill(pid, signal.SIGKILL)
    told = measured(page, three)
    assert told["state"] == "refused" and "was stopped" in told["sentence"]
    monkeypatch.undo()
    page.post(f"{three}/measure")
    assert measured(page, three)["state"] == "answered"


def test_inches_are_answered_in_inches(page):
    joint = new_joint(page, units="in", cover="3in", upper_diameter="11 1/2in")
    send(page, joint, PHOTOS[0].read_bytes())
    assert " in left of card 1" in judged(page, joint)["photos"][0]["verdict"]["text"]
    page.post(f"{joint}/measure")
    measured(page, joint)
    assert page.get(f"{joint}/answer.json").json()["units"] == "in"


def test_a_form_with_faults_is_shown_again_with_what_was_typed(page):
    wrong = {"building": "Barn", "wall": "", "log": "3", "cover": "29,5cm", "upper_diameter": "5"}
    answer = page.post("/new", data=wrong)
    assert answer.status_code == 422
    assert "29,5cm" in answer.text and "Barn" in answer.text


def test_what_was_stated_later_is_looked_at_again(page, three, in_order):
    """Of other diameters a photograph may show something else: what was traced before is not used."""
    form = {"building": "Barn", "wall": "north", "log": "3", "cover": "75", "lower_diameter": "300"}
    page.post(f"{three}/measure")
    before = measured(page, three)
    page.post(f"{three}/form", data=form)
    assert state_of(page, three)["stale"] and not before["stale"]
    page.post(f"{three}/measure")
    measured(page, three)
    told = page.get(f"{three}/answer.json").json()
    same = answer_json(
        measure(MeasureOptions(photos=in_order, cover_mm=75.0, lower_diameter=diameter("300")))
    )
    assert told["profile"] == same["profile"]
    page.post(f"{three}/form", data=form | {"lower_diameter": ""})


def diameter(text):
    from gapvision.lengths import parse_diameter

    return parse_diameter(text)


# --- a program that ends ----------------------------------------------------------------------------


def test_a_program_that_is_killed_and_started_again_finds_all(tmp_path):
    archive, port, photo = tmp_path / "archive", free_port(), PHOTOS[0].read_bytes()
    base = f"http://127.0.0.1:{port}"
    with program(archive, port) as first, client(base) as page:
        joint = new_joint(page)
        send(page, joint, PHOTOS[1].read_bytes())
        upload = begin(page, joint, photo, "half.jpg")
        page.patch(upload, content=photo[:100_000], headers=APPEND | {"Upload-Offset": "0"})
        page.post(f"{joint}/measure")
        first.send_signal(signal.SIGKILL)
        first.wait()
    with program(archive, port), client(base) as page:
        told = state_of(page, joint)
        assert told["state"] == "refused" and "interrupted" in told["sentence"]
        assert [u["offset"] for u in told["uploads"]] == [100_000]
        rest = page.patch(
            upload, content=photo[100_000:], headers=APPEND | {"Upload-Offset": "100000"}
        )
        assert rest.status_code == 200
        assert len(judged(page, joint)["photos"]) == 2
        page.post(f"{joint}/measure")
        assert measured(page, joint)["state"] == "answered"


def test_ctrl_c_ends_it_quietly(tmp_path):
    port = free_port()
    with program(tmp_path / "archive", port) as process:
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=30)
    assert "Traceback" not in out and "Error" not in out


def free_port():
    import socket

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def test_what_was_at_work_is_told_as_interrupted(tmp_path, monkeypatch):
    async def nothing(*_):
        pass

    monkeypatch.setattr("gapvision.page.app.warm", nothing)
    archive = tmp_path / "archive"
    with serving(archive) as (base, drafts), client(base) as page:
        joint = new_joint(page)
        change_draft(drafts, joint.rpartition("/")[2], lambda d: replace(d, state=MEASURING))
    with serving(archive) as (base, _), client(base) as page:
        told = state_of(page, joint)
        assert told["state"] == "refused" and "interrupted" in told["sentence"]
    with open_archive(archive) as opened:
        assert not verify(opened).faults
    assert json.loads((drafts / joint.rpartition("/")[2] / "draft.json").read_text())["log"] == "3"
