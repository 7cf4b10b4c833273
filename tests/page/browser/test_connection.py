"""A connection that comes and goes, a page reloaded, a program killed: nothing is lost, nothing twice."""

from __future__ import annotations

import pytest
from helpers.pages import PHOTOS
from page.browser.conftest import begun, looked_at, until
from page.browser.line import Line

SLOW = 500_000  # bytes a second: a photograph takes four seconds
CUT = ["ERR_CONNECTION", "ERR_EMPTY_RESPONSE", "ERR_SOCK", "ERR_PROXY"]


def joint_of(served) -> str:
    with served.client() as client:
        return begun(client, "1", wall="south")


@pytest.fixture
def line():
    """The connection of a phone of this test."""
    opened = Line()
    yield opened
    opened.close()


def by(line: Line) -> dict:
    return {"proxy": {"server": line.address, "bypass": "<-loopback>"}}


def arrived(served, joint: str) -> list[str]:
    with served.client() as client:
        return sorted(p["name"] for p in client.get(f"{joint}/state").json()["photos"])


def part(served, joint: str) -> int:
    """Bytes of the photograph that is arriving."""
    with served.client() as client:
        return sum(u["offset"] for u in client.get(f"{joint}/state").json()["uploads"])


def choose(page, photos) -> None:
    """Choose photographs on a slow line, so that their sending is seen."""
    page.get_by_label("Add photographs").set_input_files(photos)
    page.locator("#photographs").get_by_text("Sending").first.wait_for()


def test_an_upload_that_is_cut_goes_on_where_it_was(own_served, own_phone, line):
    page, joint = own_phone(expected=CUT, **by(line)), joint_of(own_served)
    sent = []
    page.on("request", lambda r: sent.append(r) if r.method == "PATCH" else None)
    page.goto(joint)
    line.bytes_a_second = SLOW
    choose(page, PHOTOS[:1])
    page.wait_for_timeout(1000)
    line.cut()
    page.locator("#photographs").get_by_text("No connection").wait_for()
    come = part(own_served, joint)
    line.mend()
    line.bytes_a_second = None
    looked_at(page, 1)
    assert arrived(own_served, joint) == [PHOTOS[0].name]
    assert int(sent[-1].headers["upload-offset"]) == come > 0


def test_what_was_chosen_is_sent_after_a_reload(own_served, own_phone, line):
    page, joint = own_phone(expected=CUT, **by(line)), joint_of(own_served)
    page.goto(joint)
    line.bytes_a_second = SLOW
    choose(page, PHOTOS)
    page.wait_for_timeout(500)
    assert len(arrived(own_served, joint)) < 3
    line.bytes_a_second = None
    page.reload()
    looked_at(page, 3)
    assert arrived(own_served, joint) == [p.name for p in PHOTOS]
    page.reload()  # and not once more
    page.wait_for_timeout(800)
    assert page.locator("#photographs > li").count() == 3


def test_a_killed_program_finds_everything_again(own_served, own_phone, line):
    page, joint = own_phone(expected=CUT, **by(line)), joint_of(own_served)
    page.goto(joint)
    page.get_by_label("Add photographs").set_input_files(PHOTOS[:1])
    looked_at(page, 1)
    line.bytes_a_second = SLOW
    choose(page, PHOTOS[1:2])
    page.wait_for_timeout(1000)
    own_served.kill()
    page.locator("#photographs").get_by_text("No connection").wait_for()
    line.bytes_a_second = None
    own_served.start()
    looked_at(page, 2)
    assert arrived(own_served, joint) == [p.name for p in PHOTOS[:2]]


def test_two_phones_at_one_joint(served, phone):
    joint = joint_of(served)
    one, other = phone(), phone()
    one.goto(joint)
    other.goto(joint)
    one.get_by_label("Add photographs").set_input_files(PHOTOS[:2])
    other.get_by_label("Add photographs").set_input_files(PHOTOS[1:])  # the middle one from both
    until(lambda: len(arrived(served, joint)) == 3)
    for page in (one, other):
        looked_at(page, 3)
    assert arrived(served, joint) == [p.name for p in PHOTOS]
