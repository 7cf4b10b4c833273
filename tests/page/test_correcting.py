"""What a person changes in the lines of a photograph: kept, refused in a sentence, told in the answer."""

import json

import pytest
from helpers.pages import PHOTOS, client, judged, measured, new_joint, send, serving, state_of


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    with serving(tmp_path_factory.mktemp("served") / "archive") as it:
        yield it


@pytest.fixture(scope="module")
def three(served):
    with client(served[0]) as page:
        joint = new_joint(page)
        for photo in PHOTOS:
            send(page, joint, photo.read_bytes(), photo.name)
        judged(page, joint)
        page.post(f"{joint}/measure")
        measured(page, joint)
    return joint


@pytest.fixture(autouse=True)
def uncorrected(page, three):
    """What one test changed is not there in the next."""
    yield
    for photo in page.get(f"{three}/outlines").json():
        correct(page, three, {photo: {}})


def correct(page, joint, values):
    headers = {"Content-Type": "application/json"}
    return page.post(f"{joint}/outlines", content=json.dumps(values), headers=headers)


def answer_of(page, joint):
    page.post(f"{joint}/measure")
    assert measured(page, joint)["state"] == "answered"
    return page.get(f"{joint}/answer.json").json()


def test_a_stretch_that_is_not_the_gap_enters_the_answer_and_leaves_it(page, three):
    before = answer_of(page, three)
    photo = state_of(page, three)["photos"][0]["sha256"]
    assert correct(page, three, {photo: {"not_gap": [[0.0, 300.0]]}}).status_code == 204
    assert state_of(page, three)["stale"]
    told = answer_of(page, three)
    (corrected,) = (p for p in told["photos"] if p["sha256"] == photo)
    assert corrected["by_hand"]["not_gap"] == [[0.0, 300.0]]
    assert "Corrected by hand" in page.get(f"{three}/answer").text
    assert page.get(f"{three}/outlines").json() == {photo: {"not_gap": [[0.0, 300.0]]}}
    assert correct(page, three, {photo: {}}).status_code == 204
    assert answer_of(page, three)["profile"] == before["profile"]


def test_a_photograph_left_out_is_told_in_the_answer(page, three):
    photo = state_of(page, three)["photos"][2]["sha256"]
    page.post(f"{three}/photo/{photo}/drop")
    told = answer_of(page, three)
    (left,) = (p for p in told["photos"] if p["sha256"] == photo)
    assert not left["used"] and left["lacked"]
    page.post(f"{three}/photo/{photo}/take-back")


@pytest.mark.parametrize(
    "values",
    [
        [], "x", {"a": 1}, {"not_gap": [[0, 1]]},
    ],
)  # fmt: skip
def test_what_is_no_correction_is_refused(page, three, values):
    refused = correct(page, three, values)
    assert refused.status_code in (404, 422) and refused.json()["sentence"]
    assert page.get(f"{three}/outlines").json() == {}


@pytest.mark.parametrize(
    "value",
    [
        {"upper": [[[1, 2], ["x", 3]]]}, {"not_gap": [[5, 1]]}, {"dropped": "yes"}, {"other": 1},
        {"upper": [[[1, 2]] * 30_000]}, {"u_mm": 1e9},
    ],
)  # fmt: skip
def test_what_nobody_can_have_drawn_is_refused(page, three, value):
    photo = state_of(page, three)["photos"][0]["sha256"]
    refused = correct(page, three, {photo: value})
    assert refused.status_code == 422 and "photo-1.jpg" in refused.json()["sentence"]
    assert page.get(f"{three}/outlines").json() == {}


def test_only_json_is_taken(page, three):
    answer = page.post(f"{three}/outlines", data={"a": "b"})
    assert answer.status_code == 415
