"""Photographs tied into one joint by the cards they share; those that are not, and why."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from helpers.simulator import PROTOCOLS, draw_joint, fit

from gapvision.answer.chains import find_chains
from gapvision.answer.lack_text import lack_text
from gapvision.answer.picture.extent_strip import extent_strip
from gapvision.errors import JointNotFitted
from gapvision.inputs.options import Cards, MeasureOptions
from gapvision.joint.connect import _check_chain, _check_thickness, connect_photographs
from gapvision.joint.disagreement import u_label
from gapvision.joint.gather import gather_photos, paths_of
from gapvision.joint.photo_results import PhotoOutlines, PhotoResult
from gapvision.joint.sides import check_inside_cards
from gapvision.photo.pose import place_cards
from gapvision.scene.priors import Priors
from gapvision.trace.outlines import SEEN

DEMO = Path(__file__).parents[2] / "gapvision" / "cli" / "demo_photos"


@pytest.fixture(scope="module")
def joint():
    return draw_joint(np.random.default_rng(5), PROTOCOLS["heights"])


def showing(view, *numbers):
    """A photograph of two cards whose numbers are others."""
    renamed = zip(view.sightings, numbers, strict=False)
    return replace(view, sightings=tuple(replace(s, number=n) for s, n in renamed))


def placed(joint, *cards):
    views = [showing(v, *numbers) for v, numbers in zip(joint.views, cards, strict=True)]
    return place_cards(views, joint.lenses, joint.hung_on)


@pytest.mark.parametrize("cards", [((1, 2), (5, 6), (6, 7)), ((5, 6), (1, 2), (6, 7))])
def test_the_longest_chain_is_measured_not_that_of_the_lowest_card(joint, cards):
    found = placed(joint, *cards)
    assert sorted(found.cameras) == [i for i, numbers in enumerate(cards) if 1 not in numbers]
    assert min(found.cards) == 5
    np.testing.assert_allclose(found.cards[5].nail_mm, 0)  # and stations count from its first card


def test_of_equal_chains_that_of_the_lowest_card_is_measured(joint):
    assert set(placed(joint, (7, 8), (3, 4), (5, 6)).cards) == {3, 4}


def test_a_chain_hangs_together_whatever_the_order(joint):
    found = placed(joint, (1, 2), (3, 4), (2, 3))
    assert sorted(found.cameras) == [0, 1, 2] and set(found.cards) == {1, 2, 3, 4}


def sight(file, *numbers):
    rows = SimpleNamespace(sightings=[SimpleNamespace(number=n) for n in numbers])
    return SimpleNamespace(label=file, rows=rows)


def test_photographs_of_which_no_two_share_a_card_are_refused():
    with pytest.raises(JointNotFitted, match="No two of the 2 photographs from outside") as caught:
        _check_chain("outside", [sight("a.jpg", 1), sight("b.jpg", 3, 4)], 1)
    assert caught.value.code == "untied"
    assert "a.jpg shows card 1; b.jpg shows cards 3 and 4" in caught.value.text
    _check_chain("outside", [sight("a.jpg", 1)], 1)
    _check_chain("outside", [sight("a.jpg", 1), sight("b.jpg", 1), sight("c.jpg", 9)], 2)


def test_two_of_the_inside_that_share_no_card_do_not_cost_the_joint_of_the_outside():
    """Both may be left out, each by name; what the outside shows is measured."""
    options = MeasureOptions(photos=tuple(DEMO / f"photo{k}.jpg" for k in (0, 1)))
    gathered = gather_photos(options, Priors(), None)
    first = gathered.photos[0]
    inside = tuple(
        replace(first, label=name, rows=replace(showing(first.rows, number), side="inside"))
        for number, name in ((7, "in7.jpg"), (9, "in9.jpg"))
    )
    found = connect_photographs(
        options, replace(gathered, photos=gathered.photos + inside), Priors()
    )
    assert {p.traced.label for p in found.placed.photos} >= {"photo0.jpg", "photo1.jpg"}
    said = [lack_text(p, "mm") for p in found.left_out]
    assert any("in9.jpg is left out: it shows card 9 and none" in s for s in said)


@pytest.mark.parametrize(
    ("stated", "why"), [(310.0, None), (900.0, "300 mm thick hang some 306 mm")]
)
def test_a_wall_that_the_stated_log_cannot_have_is_refused(stated, why):
    options = MeasureOptions(photos=(Path("a.jpg"),), cards=Cards(wall_thickness_mm=stated))
    if why is None:
        _check_thickness(options, 150.0, Priors())
        return
    with pytest.raises(JointNotFitted, match=why):
        _check_thickness(options, 150.0, Priors())
    _check_thickness(replace(options, card_on="free"), 150.0, Priors())
    _check_thickness(options, None, Priors())


def test_file_named_as_inside_is_so_also_where_a_folder_holds_it(tmp_path):
    for k in range(3):
        (tmp_path / f"photo{k}.jpg").write_bytes(b"\xff\xd8")
    options = MeasureOptions(photos=(tmp_path,), inside=(tmp_path / "." / "photo1.jpg",))
    found, failed = paths_of(options)
    assert not failed
    assert [(p.name, side) for p, side in found] == [
        ("photo0.jpg", "outside"), ("photo2.jpg", "outside"), ("photo1.jpg", "inside"),
    ]  # fmt: skip


def test_photographs_of_one_name_are_told_apart_by_their_folders(tmp_path):
    for side, file in (("out", "photo0.jpg"), ("in", "photo1.jpg")):
        (tmp_path / side).mkdir()
        (tmp_path / side / "IMG_1.jpg").write_bytes((DEMO / file).read_bytes())
    options = MeasureOptions(photos=(tmp_path / "out", tmp_path / "in"))
    photos = gather_photos(options, Priors(), None).photos
    assert [p.label for p in photos] == ["in/IMG_1.jpg", "out/IMG_1.jpg"]  # by folder and name
    assert [p.facts.file for p in photos] == ["IMG_1.jpg", "IMG_1.jpg"]  # the file keeps its name
    result = PhotoResult(str(photos[0].facts.path), "", "outside", True)
    assert result.name == "IMG_1.jpg"
    assert replace(result, label=photos[0].label).name == "in/IMG_1.jpg"


def test_inside_card_that_no_photograph_shows(joint):
    with pytest.raises(JointNotFitted, match="Card 7 was stated to hang inside"):
        check_inside_cards([SimpleNamespace(rows=v) for v in joint.views], (7,))
    check_inside_cards([SimpleNamespace(rows=v) for v in joint.views], (2,))


def test_a_photograph_that_shows_nothing_of_the_stretch_adds_no_doubt(joint):
    """It may be needed to tie others; of the stretch it knows nothing, wrong or right."""
    states = SimpleNamespace(state=np.full(100, SEEN), sure=np.full(100, 0.9))
    trace = SimpleNamespace(upper=states, lower=states)
    fitted, at = fit(joint), joint.truth.station_mm
    *both, third = fitted.photos
    bare = replace(third, rows=replace(third.rows, outlines=()))
    two = u_label([(trace, p) for p in (*both, bare)], fitted, at)
    np.testing.assert_allclose(two, u_label([(trace, p) for p in both], fitted, at))


def test_neither_chain_nor_picture_minds_it():
    seen = PhotoResult(
        "a.jpg", "", "outside", True, height_mm=0.0, distance_mm=1500.0, from_mm=-400.0, to_mm=500.0,
        cards=(1,), outlines=PhotoOutlines(
            axis_station_mm=np.arange(-400.0, 500.0, 4.0), axis_state=np.full(225, SEEN)
        ),
    )  # fmt: skip
    bare = PhotoResult("b.jpg", "", "outside", True, height_mm=9.0, distance_mm=900.0, cards=(1, 2))
    (chain,) = find_chains((bare, seen))
    assert [p.file for p in chain.photos] == ["a.jpg", "b.jpg"]
    measurement = SimpleNamespace(photos=(seen, bare), deciding_place=SimpleNamespace(station_mm=0))
    assert extent_strip(measurement, lambda mm: np.asarray(mm), seen).height == 0
