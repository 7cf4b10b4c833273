"""The whole way on a phone, from the first visit to the report, and what a reload in the middle costs."""

from __future__ import annotations

import re
from datetime import datetime

import numpy as np
import pytest
from helpers.pages import PHOTOS
from helpers.rolls import NORTH_4, save, with_slip
from page.browser.conftest import looked_at, measured_joint


def test_from_first_visit_to_report(phone):
    page = phone()
    page.goto("/")
    page.get_by_role("link", name="New joint").tap()
    page.get_by_label("Building").fill("Mill")
    page.get_by_label("Wall", exact=True).fill("east")
    page.get_by_label("Log", exact=True).fill("7")
    page.get_by_label("Cover").fill("75")
    page.get_by_role("button", name="Start").tap()
    page.get_by_role("heading", name="Log 7, east wall, Mill").wait_for()

    page.get_by_label("Add photographs").set_input_files(PHOTOS)
    looked_at(page, 3)
    assert "Cards 1 and 2 found" in page.locator("#photographs > li").first.inner_text()

    page.get_by_role("button", name="Measure").tap()
    page.wait_for_url("**/answer")
    joint = re.search(r"/joint/[0-9a-f]+", page.url)[0]
    answer = page.request.get(f"{joint}/answer.json").json()
    verdict = page.get_by_role("region", name="The answer").inner_text()
    assert " ".join(verdict.split()) == answer["first_line"]
    assert verdict.startswith("SET")

    page.get_by_role("button", name="Keep").tap()
    page.wait_for_url("**/record/*")
    with page.expect_download() as download:
        page.get_by_role("link", name="PDF").tap()
    assert download.value.path().read_bytes().startswith(b"%PDF")
    page.get_by_role("link", name="Tell what came of it").tap()
    page.get_by_label("Points were set to").fill("54")
    page.get_by_label("Remarks").fill("closed well")
    page.get_by_role("button", name="Save").tap()
    page.get_by_text("closed well").wait_for()
    page.get_by_role("link", name="To the wall").tap()
    page.wait_for_url("**/wall?*")
    assert "SET" in page.get_by_role("link", name="Log 7").inner_text()


def test_the_whole_way_without_a_script(phone):
    page = phone(javascript=False)
    page.goto("/new?building=Mill&wall=west&log=1")
    page.get_by_role("button", name="Start").tap()
    page.locator("#plain").set_input_files(PHOTOS)
    page.get_by_role("button", name="Send").tap()
    page.get_by_role("button", name="Measure").tap()
    page.wait_for_url("**/answer")
    assert "SET" in page.get_by_role("region", name="The answer").inner_text()


def test_a_reload_loses_nothing_that_was_typed(phone):
    page = phone()
    page.goto("/new")
    page.get_by_label("Building").fill("Boat house")
    page.get_by_text("Taped: diameters, notches").tap()
    page.get_by_label("left notch").fill("-900")
    page.get_by_label("inches").check()
    page.reload()
    assert page.get_by_label("Building").input_value() == "Boat house"
    assert page.get_by_label("left notch").input_value() == "-900"
    assert page.get_by_label("inches").is_checked()
    assert page.get_by_label("Cover").get_attribute("inputmode") == "text"  # fractions can be typed


def test_what_cannot_be_read_is_told_beside_its_field(phone):
    page = phone(expected=["422"])
    page.goto("/new")
    for label, text in (("Building", "Mill"), ("Wall", "east"), ("Log", "8"), ("Cover", "7,5")):
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Start").tap()
    page.get_by_role("alert").wait_for()
    cover = page.get_by_label("Cover")
    assert cover.input_value() == "7,5"
    assert cover.get_attribute("aria-invalid") == "true"
    told = cover.get_attribute("aria-describedby").split()[-1]
    assert "write a point, not a comma" in page.locator(f"#{told}").inner_text()


@pytest.mark.parametrize("key, moved", [("ArrowLeft", -1), ("ArrowRight", 1)])
def test_the_profile_is_read_by_keys(phone, measured, key, moved):
    page = phone()
    page.goto(f"{measured}/answer")
    slider, told = page.get_by_label("Place along the log"), page.locator("#reading-here")
    before, at = told.inner_text(), int(slider.input_value())
    assert re.search(r"Gap \d+\.\d ± \d\.\d mm", before.replace("\u00a0", " "))
    slider.press(key)
    assert int(slider.input_value()) == at + moved
    assert told.get_attribute("aria-live") == "polite"
    assert "card" in slider.get_attribute("aria-valuetext").replace("\u00a0", " ")


def test_the_profile_is_read_by_a_finger(phone, measured):
    page = phone()
    page.goto(f"{measured}/answer")
    drawing = page.locator("#profile svg")
    drawing.scroll_into_view_if_needed()
    box = drawing.bounding_box()
    page.touchscreen.tap(box["x"] + 0.3 * box["width"], box["y"] + 0.3 * box["height"])
    answer = page.request.get(f"{measured}/answer.json").json()
    stations = answer["profile"]["station_mm"]
    share = (0.3 * 360 - 48) / (360 - 44 - 6 - 8)  # of the log, by the drawing's margins
    index = int(page.get_by_label("Place along the log").input_value())
    assert index == pytest.approx(share * (len(stations) - 1), abs=2)
    gap = answer["profile"]["gap_mm"][index]
    assert f"Gap {gap:.1f}" in page.locator("#reading-here").inner_text().replace("\u00a0", " ")


def test_a_caliper_reading_is_entered_and_removed(phone, measured):
    page = phone()
    page.goto(f"{measured}/answer")
    page.get_by_text("Enter caliper or trial line").tap()
    answer = page.request.get(f"{measured}/answer.json").json()
    page.get_by_label("Gap, or width").fill(f"{answer['widest_gap']['value_mm']:.1f}")
    page.get_by_role("button", name="Enter and measure again").tap()
    page.wait_for_url("**/answer")
    row = page.locator(".row", has_text="Caliper")
    assert "agrees" in row.inner_text()
    row.get_by_role("button").tap()
    row.wait_for(state="detached")
    page.wait_for_url("**/answer")
    assert "agrees" not in page.locator("main").inner_text()


def test_photographs_of_many_joints_are_sorted_by_their_slip(phone, tmp_path):
    label = with_slip(NORTH_4, 0.2, 0, (0.0, 0.0), 0.0, np.random.default_rng(1), 128)
    slip = save(tmp_path / "slip.jpg", label, datetime(2026, 5, 14, 9, 10))
    page = phone()
    page.goto("/")
    page.get_by_role("link", name="Many joints").tap()
    page.get_by_label("Add photographs").set_input_files([slip, *PHOTOS])
    page.wait_for_url("**/roll/*")
    page.get_by_role("button", name="Sort").tap()
    page.get_by_role("link", name="Log 4, north wall, Barn").tap()
    page.get_by_role("heading", name="Log 4, north wall, Barn").wait_for()
    page.get_by_text("Cards 1 and 2 found").nth(2).wait_for()


def test_an_answer_of_before_is_no_answer(phone, served):
    with served.client() as client:
        joint = measured_joint(client, log="12")
    page = phone()
    page.goto(f"{joint}/answer")
    page.get_by_role("link", name="Look at its lines of photo-2").tap()
    page.get_by_role("button", name="Leave out").tap()
    page.wait_for_url(f"**{joint}")
    page.get_by_role("link", name="The last answer").tap()
    verdict = page.get_by_role("region", name="The answer")
    assert "MEASURE AGAIN" in verdict.inner_text() and "mm" not in verdict.inner_text()
    assert page.get_by_role("button", name="Keep").count() == 0
    for _ in range(3):  # the screen of before is asked for again
        page.go_back()
    assert "MEASURE AGAIN" in verdict.inner_text()
    page.goto("/")
    row = page.get_by_role("link", name="Log 12, north wall, Barn").inner_text()
    assert "measure again" in row and " mm" not in row
    page.goto(f"{joint}/answer")
    page.get_by_role("button", name="Measure again").tap()
    page.get_by_text("SET").first.wait_for()
    assert "1 photograph dropped" in page.locator(".hand").inner_text()


def test_what_another_phone_changes_ends_an_answer(phone, served):
    with served.client() as client:
        joint = measured_joint(client, log="13")
        page = phone()
        page.goto(f"{joint}/answer")
        assert "SET" in page.get_by_role("region", name="The answer").inner_text()
        photo = client.get(f"{joint}/state").json()["photos"][0]["sha256"]
        client.post(f"{joint}/photo/{photo}/drop")
    page.get_by_text("Something was changed since.").wait_for()


def test_the_answer_is_read_aloud(phone, measured):
    page = phone()
    page.add_init_script("speechSynthesis.speak = (speech) => { window.spoken = speech.text; };")
    page.goto(f"{measured}/answer")
    page.get_by_role("button", name="Read aloud").tap()
    answer = page.request.get(f"{measured}/answer.json").json()
    number = answer["first_line"].split()[1]
    assert page.evaluate("window.spoken").startswith(f"Set {number} millimetres.")
