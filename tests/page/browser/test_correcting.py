"""A person corrects the machine: a line dragged, a pin set, a stretch that is not the gap, all undone."""

from __future__ import annotations

import pytest
from page.browser.conftest import measured_joint, until


@pytest.fixture(scope="module")
def joint(served) -> str:
    with served.client() as client:
        return measured_joint(client, log="9")


@pytest.fixture
def opened(phone, served, joint):
    """A photograph of the joint, zoomed in on the middle of its upper line; its hash."""
    with served.client() as client:
        sha256 = client.get(f"{joint}/state").json()["photos"][0]["sha256"]
    page = phone(expected=["ERR_INTERNET_DISCONNECTED"])
    page.goto(f"{joint}/photo/{sha256}")
    page.locator("#zoom svg path").first.wait_for(state="attached")
    return page, sha256


def by_hand(served, joint: str, sha256: str) -> dict:
    with served.client() as client:
        return client.get(f"{joint}/outlines").json().get(sha256, {})


def on_line(page, share: float = 0.5) -> tuple[float, float]:
    """A point of the upper line on the screen."""
    x, y = page.evaluate(
        """share => { const path = document.querySelector("path.upper");
        const p = path.getPointAtLength(share * path.getTotalLength()).matrixTransform(path.getScreenCTM());
        return [p.x, p.y]; }""",
        share,
    )
    return x, y


def drag(page, start: tuple[float, float], by: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] + by[0], start[1] + by[1], steps=6)
    page.mouse.up()


def test_a_dragged_line_is_measured_again_and_told(opened, served, joint):
    page, sha256 = opened
    page.get_by_label("Line", exact=True).check()
    drag(page, on_line(page), (0, -6))
    until(lambda: by_hand(served, joint, sha256).get("upper"))
    stroke = by_hand(served, joint, sha256)["upper"][0]
    assert len(stroke) > 10
    page.get_by_role("button", name="Measure again").tap()
    page.wait_for_url("**/answer")
    assert "by hand" in page.locator(".hand").inner_text()
    answer = page.request.get(f"{joint}/answer.json").json()
    assert next(p for p in answer["photos"] if p["sha256"] == sha256)["by_hand"]["upper"]

    page.goto(f"{joint}/photo/{sha256}")
    page.get_by_role("button", name="Undo").tap()
    until(lambda: not by_hand(served, joint, sha256))


def test_a_line_is_drawn_where_none_was_traced(opened, served, joint):
    page, sha256 = opened
    page.get_by_label("Line", exact=True).check()
    page.get_by_label("Lower, dashed").check()
    x, y = on_line(page)
    drag(page, (x - 60, y + 110), (120, 4))
    until(lambda: by_hand(served, joint, sha256).get("lower"))
    stroke = by_hand(served, joint, sha256)["lower"][0]
    assert [p[0] for p in stroke] == sorted(p[0] for p in stroke)
    page.get_by_role("button", name="Undo").tap()
    until(lambda: not by_hand(served, joint, sha256))


def test_a_pin_and_a_stretch_that_is_not_the_gap(opened, served, joint):
    page, sha256 = opened
    x, y = on_line(page, 0.4)
    page.get_by_label("Pin").check()
    page.mouse.click(x, y)
    until(lambda: by_hand(served, joint, sha256).get("upper"))
    assert len(by_hand(served, joint, sha256)["upper"][0]) == 1
    page.get_by_label("Not the gap").check()
    drag(page, (x + 60, y), (50, 0))
    until(lambda: by_hand(served, joint, sha256).get("not_gap"))
    start, end = by_hand(served, joint, sha256)["not_gap"][0]
    assert 20 < end - start < 1000
    page.reload()  # nothing is lost, and all can still be undone
    for _ in range(2):
        page.get_by_role("button", name="Undo").tap()
    until(lambda: not by_hand(served, joint, sha256))


def test_a_line_is_moved_by_keys(opened, served, joint):
    page, sha256 = opened
    page.get_by_label("Line", exact=True).check()
    page.locator("#zoom").focus()
    for key in ("ArrowRight", "ArrowUp"):
        page.keyboard.press(key)
    until(lambda: by_hand(served, joint, sha256).get("upper"))
    assert "moved up" in page.locator("#said").inner_text()
    page.get_by_role("button", name="Undo").tap()
    until(lambda: not by_hand(served, joint, sha256))


def test_a_change_made_without_connection_is_sent_later(opened, served, joint):
    page, sha256 = opened
    page.context.set_offline(True)
    page.get_by_label("Line", exact=True).check()
    drag(page, on_line(page, 0.6), (0, -5))
    page.wait_for_timeout(300)
    assert not by_hand(served, joint, sha256)
    page.context.set_offline(False)
    until(lambda: by_hand(served, joint, sha256).get("upper"))
    page.get_by_role("button", name="Undo").tap()
    until(lambda: not by_hand(served, joint, sha256))


def test_two_fingers_zoom_whatever_the_tool(opened):
    page, _ = opened
    page.get_by_label("Line", exact=True).check()
    sheet = page.locator(".sheet")
    before = sheet.bounding_box()["width"]
    box = page.locator("#zoom").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)

    def fingers(kind: str, apart: float) -> None:
        points = [{"x": x - apart, "y": y, "id": 1}, {"x": x + apart, "y": y, "id": 2}]
        touch.send(
            "Input.dispatchTouchEvent", {"type": kind, "touchPoints": points if apart else []}
        )

    fingers("touchStart", 30)
    for apart in (40, 60, 90):
        fingers("touchMove", apart)
    fingers("touchEnd", 0)
    assert sheet.bounding_box()["width"] == pytest.approx(3 * before, rel=0.1)
