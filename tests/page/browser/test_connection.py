"""A connection that comes and goes, a page reloaded, a program killed: nothing is lost, nothing twice."""

from __future__ import annotations

from page.browser.conftest import PHOTOS, until

SLOW = 400_000  # bytes a second: a photograph of 1.5 MB takes some seconds
OFFLINE = ["ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION", "ERR_EMPTY_RESPONSE", "ERR_SOCKET"]


def begun(served) -> str:
    with served.client() as client:
        names = {"building": "Barn", "wall": "south", "log": "1", "units": "mm"}
        return client.post("/new", data=names).headers["location"]


def throttle(page, bytes_a_second: int) -> None:
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.send(
        "Network.emulateNetworkConditions",
        {"offline": False, "latency": 5, "downloadThroughput": -1, "uploadThroughput": bytes_a_second},
    )


def arrived(served, joint: str) -> list[str]:
    with served.client() as client:
        return [p["name"] for p in client.get(f"{joint}/state").json()["photos"]]


def part(served, joint: str) -> int:
    """Bytes of the photograph that is arriving."""
    with served.client() as client:
        return sum(u["offset"] for u in client.get(f"{joint}/state").json()["uploads"])


def test_an_upload_that_is_cut_goes_on_where_it_was(own_served, own_phone):
    page, joint = own_phone(expected=OFFLINE), begun(own_served)
    sent = []
    page.on("request", lambda r: sent.append(r) if r.method == "PATCH" else None)
    page.goto(joint)
    throttle(page, SLOW)
    page.get_by_label("Add photographs").set_input_files(PHOTOS[:1])
    page.locator("#photographs").get_by_text("MB").wait_for()
    page.wait_for_timeout(1500)
    page.context.set_offline(True)
    page.locator("#photographs").get_by_text("No connection").wait_for()
    come = part(own_served, joint)
    page.context.set_offline(False)
    page.locator("#photographs li[data-kind=good], #photographs li[data-kind=warn]").wait_for()
    assert arrived(own_served, joint) == [PHOTOS[0].name]
    last = sent[-1].headers["upload-offset"]
    assert int(last) == come > 0


def test_what_was_chosen_is_sent_after_a_reload(own_served, own_phone):
    page, joint = own_phone(expected=OFFLINE), begun(own_served)
    page.goto(joint)
    throttle(page, SLOW)
    page.get_by_label("Add photographs").set_input_files(PHOTOS)
    page.locator("#photographs").get_by_text("MB").first.wait_for()
    page.wait_for_timeout(1000)
    page.reload()
    page.locator("#photographs li[data-kind=good], #photographs li[data-kind=warn]").nth(2).wait_for()
    assert sorted(arrived(own_served, joint)) == [p.name for p in PHOTOS]
    page.reload()  # and not once more
    page.wait_for_timeout(800)
    assert page.locator("#photographs > li").count() == 3


def test_a_killed_program_finds_everything_again(own_served, own_phone):
    page, joint = own_phone(expected=OFFLINE), begun(own_served)
    page.goto(joint)
    throttle(page, SLOW)
    page.get_by_label("Add photographs").set_input_files(PHOTOS[:2])
    until(lambda: len(arrived(own_served, joint)) == 1 and part(own_served, joint) > 0)
    own_served.kill()
    page.locator("#photographs").get_by_text("No connection").wait_for()
    own_served.start()
    page.locator("#photographs li[data-kind=good], #photographs li[data-kind=warn]").nth(1).wait_for()
    assert sorted(arrived(own_served, joint)) == [p.name for p in PHOTOS[:2]]


def test_two_phones_at_one_joint(served, phone):
    joint = begun(served)
    one, other = phone(), phone()
    one.goto(joint)
    other.goto(joint)
    one.get_by_label("Add photographs").set_input_files(PHOTOS[:2])
    other.get_by_label("Add photographs").set_input_files(PHOTOS[1:])  # the middle one from both
    for page in (one, other):
        page.locator("#photographs li[data-kind=good], #photographs li[data-kind=warn]").nth(2).wait_for()
        assert page.locator("#photographs > li").count() == 3
    assert sorted(arrived(served, joint)) == [p.name for p in PHOTOS]
