"""What goes wrong is one sentence on the phone, and the page goes on."""

import shutil
import time

import pytest
from helpers.disks import fill, small_disk
from helpers.pages import JOINT, client, new_joint, raw, serving, state_of

from gapvision.page import serve
from gapvision.page.drafts import MEASURING, change_draft


async def nothing(*_):
    pass


@pytest.fixture(autouse=True)
def unwarmed(monkeypatch):
    monkeypatch.setattr("gapvision.page.app.warm", nothing)


def test_a_full_disk_refuses_a_joint_in_a_sentence_and_takes_it_later(tmp_path):
    with small_disk(tmp_path / "disk", 12) as disk:
        if disk is None:
            pytest.skip("nobody may mount a disk here")
        with serving(disk / "archive") as (base, _), client(base) as page:
            filling = fill(disk)
            refused = page.post("/new", data=JOINT, headers={"Accept": "text/html"})
            assert refused.status_code == 507 and "is full" in refused.text
            assert page.get("/").status_code == 200
            filling.unlink()
            assert state_of(page, new_joint(page))["state"] == "collecting"


def test_a_disk_that_is_unplugged_is_told(tmp_path):
    with serving(tmp_path / "archive") as (base, drafts), client(base) as page:
        shutil.rmtree(drafts)
        refused = page.get("/")
        assert refused.status_code == 503 and "unplugged" in refused.json()["sentence"]


def test_a_mistake_of_the_program_ends_one_request_and_is_told_once(tmp_path, monkeypatch):
    told = []

    def fail(*_):
        raise RuntimeError("boom")

    once = serve._once(told.append)
    with serving(tmp_path / "archive", tell_mistake=once) as (base, _), client(base) as page:
        joint = new_joint(page)
        with monkeypatch.context() as patch:
            patch.setattr("gapvision.page.joint_pages.given_photographs", fail)
            for _ in range(2):
                failed = page.get(f"{joint}/state")
                assert failed.status_code == 500 and "RuntimeError" in failed.json()["sentence"]
                assert failed.headers["x-content-type-options"] == "nosniff"
        assert [str(error) for error in told] == ["boom"]
        assert state_of(page, joint)["state"] == "collecting"


def test_what_only_says_that_it_is_measured_is_told_as_interrupted(tmp_path):
    """As where a full disk did not take that it had ended."""
    from dataclasses import replace

    with serving(tmp_path / "archive") as (base, drafts), client(base) as page:
        joint = new_joint(page)
        change_draft(drafts, joint.rpartition("/")[2], lambda d: replace(d, state=MEASURING))
        told = state_of(page, joint)
        assert told["state"] == "refused" and "interrupted" in told["sentence"]


def test_a_form_that_breaks_off_is_no_mistake_of_the_program(tmp_path):
    told = []
    with (
        serving(tmp_path / "archive", tell_mistake=told.append) as (base, _),
        client(base) as page,
    ):
        headers = {"Content-Length": 1000, "Content-Type": "application/x-www-form-urlencoded"}
        with raw(base, "POST", "/new", headers, b"building=Barn"):
            pass
        files = {"Content-Length": 9000, "Content-Type": "multipart/form-data; boundary=x"}
        with raw(base, "POST", f"{new_joint(page)}/photographs", files, b"--x\r\n"):
            pass
        time.sleep(0.5)
        assert page.get("/").status_code == 200 and told == []


@pytest.mark.parametrize(
    "field, typed, says",
    [
        ("cover", "0", "above zero"), ("cover", "3", "inches"), ("cover", "-75", "above zero"),
        ("upper_diameter", "12", "inches"), ("from", "900", "exchange"), ("printed_bar", "9.9", "bar"),
    ],
)  # fmt: skip
def test_what_no_joint_can_have_is_refused_in_the_form(tmp_path, field, typed, says):
    with serving(tmp_path / "archive") as (base, _), client(base) as page:
        answer = page.post("/new", data=JOINT | {"to": "800"} | {field: typed})
        assert answer.status_code == 422 and says in answer.text
