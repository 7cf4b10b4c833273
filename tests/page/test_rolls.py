"""Photographs of many joints: each to the joint whose slip was photographed before it, and none lost."""

import hashlib
import io
import re
from datetime import datetime, timedelta

import cv2
import numpy as np
import pytest
from helpers.pages import client, judged, send, serving, state_of
from helpers.rolls import NORTH_3, NORTH_4, with_slip
from PIL import Image

from gapvision.page.drafts import all_drafts
from gapvision.page.photographs import photographs

START = datetime(2026, 5, 14, 9, 0, 0)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    async def nothing(*_):
        pass

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("gapvision.page.app.warm", nothing)
        with serving(tmp_path_factory.mktemp("served") / "archive") as it:
            yield it


def shot(grey, minute):
    """A JPEG taken so many minutes after the first."""
    exif = Image.Exif()
    taken = (START + timedelta(minutes=minute)).strftime("%Y:%m:%d %H:%M:%S")
    exif.get_ifd(0x8769)[0x9003] = taken
    exif[0x0132] = taken
    out = io.BytesIO()
    Image.fromarray(grey).save(out, "JPEG", exif=exif.tobytes(), quality=80)
    return out.getvalue()


def slip(of, minute):
    grey = with_slip(of, 0.3, 0, (0, 0), 0, np.random.default_rng(1), plain=180)
    return shot(cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), minute)


def plain(minute):
    rng = np.random.default_rng(minute + 10)
    return shot(cv2.resize(rng.integers(60, 180, (30, 40), np.uint8), (800, 600)), minute)


def names(drafts, found):
    return {d.joint.log: {p.sha256 for p in photographs(drafts, d.id)} for d in found if not d.roll}


def test_each_photograph_goes_to_the_joint_of_its_slip(served):
    base, drafts = served
    third, fourth = [plain(1), plain(2)], [plain(5)]
    before = plain(-1)
    with client(base) as page:
        files = [before, slip(NORTH_4, 4), *fourth, *third, slip(NORTH_3, 0)]
        sent = [("photographs", (f"{k}.jpg", f, "image/jpeg")) for k, f in enumerate(files[:3])]
        roll = page.post("/roll", files=sent).headers["location"]
        joint = roll.replace("/roll/", "/joint/")
        for content in files[3:]:
            assert send(page, joint, content).status_code == 200
        judged(page, joint)
        assert page.post(f"{roll}/sort").headers["location"] == roll
        found = names(drafts, all_drafts(drafts))
        hashes = [{hashlib.sha256(f).hexdigest() for f in group} for group in (third, fourth)]
        assert found == {"3": hashes[0], "4": hashes[1]}
        left = photographs(drafts, roll.rpartition("/")[2])
        assert {p.sha256 for p in left} == {hashlib.sha256(before).hexdigest()}
        for log in ("3", "4"):
            (draft,) = (d for d in all_drafts(drafts) if d.joint.log == log)
            assert draft.joint.title == f"Log {log}, north wall, Barn"
            assert all(
                p["name"].endswith(".jpg") for p in state_of(page, f"/joint/{draft.id}")["photos"]
            )


def test_sorted_again_what_came_later_joins_what_is_there(served):
    base, drafts = served
    with client(base) as page:
        files = [slip(NORTH_3, 60), plain(61)]
        sent = [("photographs", (f"{k}.jpg", f, "image/jpeg")) for k, f in enumerate(files)]
        roll = page.post("/roll", files=sent).headers["location"]
        judged(page, roll.replace("/roll/", "/joint/"))
        before = len([d for d in all_drafts(drafts) if not d.roll])
        led = page.post(f"{roll}/sort").headers["location"]
        assert re.fullmatch("/joint/[0-9a-f]{12}", led)  # one joint, and nothing left over
        assert len([d for d in all_drafts(drafts) if not d.roll]) == max(before, 1)
        sha256 = hashlib.sha256(files[1]).hexdigest()
        assert sha256 in {p["sha256"] for p in state_of(page, led)["photos"]}


def test_a_roll_is_no_joint(served):
    base, _ = served
    with client(base) as page:
        roll = page.post("/roll").headers["location"]
        joint = roll.replace("/roll/", "/joint/")
        assert page.get(joint).headers["location"] == roll
        answer = page.post(f"{joint}/measure")
        assert answer.status_code == 422 and "sort" in answer.json()["sentence"]
