"""Each screen: what axe finds, how large its targets are, whether it fits; how much the first one weighs."""

from __future__ import annotations

import pytest
from helpers.pages import PHOTOS
from page.browser.conftest import ACROSS, SMALL, UPRIGHT, begun, measured_joint, until

TARGET_PX = 72  # 12 mm where 390 px are 65 mm wide
FIRST_PAGE = 100_000  # bytes, all together
WHOLE_LOG = PHOTOS[0].parent / "whole_log"
GRAVE = ("serious", "critical")
LOOKS = ("light", "dark", "sun")
SCREENS = (
    "/", "/new", "/settings", "/roll", "/archive", "/walls", "/wall?building=Barn&wall=north",
    "{joint}", "{joint}/form", "{joint}/answer", "{joint}/picture", "{joint}/photo/{photo}",
    "{again}/answer", "{empty}", "{record}", "{record}/outcome", "/joint/000000000000",
)  # fmt: skip


@pytest.fixture(scope="session")
def addresses(served, measured) -> dict[str, str]:
    """What stands for the names in `SCREENS`."""
    with served.client() as client:
        photo = client.get(f"{measured}/state").json()["photos"][0]["sha256"]
        kept = measured_joint(client, log="2")
        record = client.post(f"{kept}/keep").headers["location"]
        again = measured_joint(client, log="5")
        client.post(f"{again}/readings", data={"kind": "reading", "value": "90"})
        empty = begun(client, "6")
        client.post(f"{empty}/measure")
        for joint, state in ((again, "answered"), (empty, "refused")):
            until(lambda at=joint, s=state: client.get(f"{at}/state").json()["state"] == s)
    named = {"joint": measured, "again": again, "empty": empty}
    return named | {"photo": photo, "record": record}


def test_where_photographs_and_caliper_disagree_no_number_is_told(phone, addresses):
    page = phone()
    page.goto(f"{addresses['again']}/answer")
    verdict = page.get_by_role("region", name="The answer").inner_text()
    assert " ".join(verdict.split()) == "MEASURE AGAIN"
    assert page.locator(".bar .do").inner_text().strip() == "Photo\u00adgraphs"
    page.goto("/")
    row = page.get_by_role("link", name="Log 5, north wall, Barn").inner_text()
    assert "MEASURE AGAIN" in row and " mm" not in row


@pytest.mark.parametrize("screen", SCREENS)
def test_axe_finds_nothing_grave(phone, addresses, screen):
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    page = phone(expected=["404"])
    page.goto(screen.format(**addresses))
    for details in page.locator("details").all():
        details.evaluate("d => { d.open = true; }")
    for look in LOOKS:
        page.evaluate("look => { document.documentElement.dataset.look = look; }", look)
        found = axe.Axe().run(page).response["violations"]
        assert not [(v["id"], v["nodes"][0]["html"]) for v in found if v["impact"] in GRAVE], look


def test_axe_finds_nothing_grave_while_measuring(phone, served):
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    page = phone(expected=["ERR_FAILED"])
    with served.client() as client:
        joint = begun(client, "8")
        whole = [
            path.read_bytes() for path in sorted(WHOLE_LOG.glob("*.jpg"))
        ]  # takes some seconds
        files = [
            ("photographs", (f"{n}.jpg", content, "image/jpeg")) for n, content in enumerate(whole)
        ]
        client.post(f"{joint}/photographs", files=files)
        client.post(f"{joint}/measure")
    page.goto(joint)
    page.route("**/*", lambda route: route.abort())  # it stays on this screen
    assert page.get_by_label("Photographs looked at").is_visible()
    for look in LOOKS:
        page.evaluate("look => { document.documentElement.dataset.look = look; }", look)
        found = axe.Axe().run(page).response["violations"]
        assert not [(v["id"], v["nodes"][0]["html"]) for v in found if v["impact"] in GRAVE], look


@pytest.mark.parametrize("size", [UPRIGHT, SMALL, ACROSS], ids=["upright", "small", "across"])
def test_targets_are_large_and_nothing_sticks_out(phone, addresses, size):
    page = phone(size=size, expected=["404"])
    for screen in SCREENS:
        page.goto(screen.format(**addresses))
        small = page.evaluate(
            """least => Array.from(document.querySelectorAll("a, button, input, select, summary, textarea"))
            .filter((e) => e.type !== "hidden" && !e.matches(".skip") && e.checkVisibility())
            .map((e) => e.matches(".choice input, .file input") ? e.closest("label") : e)
            .map((e) => [e, e.getBoundingClientRect()])
            .filter(([, box]) => Math.min(box.width, box.height) < least)
            .map(([e]) => e.outerHTML.slice(0, 90))""",
            TARGET_PX,
        )
        assert not small, screen
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, screen


@pytest.mark.parametrize("size", [UPRIGHT, SMALL, ACROSS], ids=["upright", "small", "across"])
def test_the_main_action_is_in_sight(phone, addresses, size):
    page = phone(size=size)
    for screen in ("/", "/new", "{joint}", "{joint}/answer", "{record}", "/archive"):
        page.goto(screen.format(**addresses))
        box = page.locator(".bar .do").last.bounding_box()
        assert box["y"] + box["height"] <= size[1] and box["y"] > size[1] / 2, screen


def test_the_first_page_is_light(chromium, served):
    context = chromium.new_context(base_url=served.address)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    sizes = []
    session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto("/", wait_until="networkidle")
    context.close()
    assert 0 < sum(sizes) < FIRST_PAGE


def test_the_look_is_kept(phone):
    page = phone()
    page.goto("/")
    with page.expect_response("**/settings"):
        page.get_by_role("button", name="Bright sun").tap()
    assert page.locator("html").get_attribute("data-look") == "sun"
    page.goto("/new")
    assert page.locator("html").get_attribute("data-look") == "sun"
    with page.expect_response("**/settings"):
        page.get_by_role("button", name="Bright sun").tap()
    page.goto("/")
    assert page.locator("html").get_attribute("data-look") == "auto"


def test_everything_of_the_joint_is_reached_by_keys(phone, addresses):
    page = phone()
    page.goto(f"{addresses['joint']}/answer")
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.textContent.trim().slice(0, 30)"))
    assert {"Read aloud", "Keep", "Enter caliper or trial line"} <= reached


def test_photographs_are_shown_small_in_lists(phone, addresses):
    page = phone()
    sizes = []
    page.on("response", lambda r: sizes.append(len(r.body())) if "thumb" in r.url else None)
    page.goto(addresses["joint"], wait_until="networkidle")
    assert len(sizes) >= len(PHOTOS)
    assert max(sizes) < 40_000
