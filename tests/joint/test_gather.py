"""Photographs read one by one: of none more is kept than its rows and a crop."""

import weakref
from dataclasses import replace

import pytest
from helpers.demo import TRUTH, options
from helpers.options import options_with
from helpers.phones import saved

from gapvision.errors import MeasurementError
from gapvision.inputs.corrections import Correction
from gapvision.inputs.options import Cards
from gapvision.joint import gather
from gapvision.lengths import parse_diameter
from gapvision.scene.priors import Priors


def test_a_picture_that_is_of_no_use_is_let_go_before_the_next_is_read(tmp_path, monkeypatch):
    """Twenty photographs without a card would else stand in memory together."""
    paths = [tmp_path / f"{n}.png" for n in range(3)]
    for n, path in enumerate(paths):
        path.write_bytes(saved("PNG") + bytes(n))  # others, by their hash
    kept, load = [], gather.load_photo

    def loaded(path):
        assert not [ref for ref in kept if ref() is not None][1:], "two pictures at a time"
        photo = load(path)
        kept.append(weakref.ref(photo.bgr))
        return photo

    monkeypatch.setattr(gather, "load_photo", loaded)
    with pytest.raises(MeasurementError, match="no scale card"):
        gather.gather_photos(options_with(tuple(paths)), Priors(), None)
    assert len(kept) >= 3


def test_the_order_in_which_photographs_are_given_is_none(tmp_path):
    for name in ("b.png", "a.png"):
        (tmp_path / name).write_bytes(saved("PNG"))
    inner = tmp_path / "inner"
    inner.mkdir()
    (inner / "a.png").write_bytes(saved("PNG"))
    files = [tmp_path / "b.png", inner, tmp_path / "a.png"]
    first, _ = gather.paths_of(options_with(tuple(files)))
    again, _ = gather.paths_of(options_with(tuple(reversed(files))))
    assert first == again
    assert [p.name for p, _ in first] == ["a.png", "b.png", "a.png"]


class TracedAnew(Exception):
    """Raised where a photograph is loaded to be traced."""


@pytest.fixture(scope="module")
def level():
    asked = options(TRUTH["files"][0])
    return asked, gather.look_at(asked.photos[0], asked)


@pytest.fixture
def looked(level, monkeypatch):
    """A photograph traced as it arrived, by its hash; from then on none is loaded again."""
    asked, look = level

    def loaded(*_):
        raise TracedAnew

    monkeypatch.setattr(gather, "load_photo", loaded)
    return asked, {look.traced.facts.sha256: look}


def test_what_was_traced_as_it_arrived_is_not_traced_again(looked):
    asked, looks = looked
    (photo,) = gather.gather_photos(asked, Priors(), None, looks).photos
    (look,) = looks.values()
    assert photo.trace is look.traced.trace
    # Neither is it of any concern to a look what is stated of the cover.
    gather.gather_photos(replace(asked, cover_mm=60.0), Priors(), None, looks)


@pytest.mark.parametrize(
    "change",
    [
        {"upper_diameter": parse_diameter("400")},
        {"lower_diameter": None},
        {"card_on": "lower"},
        {"cards": Cards(printed_bar_mm=97.0)},
        {"camera": True},
        {"corrections": True},
        {"inside": True},
    ],
    ids=lambda change: next(iter(change)),
)
def test_what_was_traced_by_other_statements_is_traced_again(looked, change, tmp_path):
    asked, looks = looked
    if "camera" in change:
        file = tmp_path / "mine.toml"
        file.write_text(
            "focal_px = 3000\nu_focal_px = 5\nk1 = 0.01\nu_k1 = 0.001\nwidth_px = 4000\n"
        )
        change = {"camera": file}
    if "corrections" in change:
        change = {"corrections": dict.fromkeys(looks, Correction(not_gap=((0.0, 50.0),)))}
    if "inside" in change:
        change = {"photos": (), "inside": asked.photos}
    with pytest.raises(TracedAnew):
        gather.gather_photos(replace(asked, **change), Priors(), None, looks)


@pytest.mark.parametrize("looked_at", [False, True])
def test_a_file_under_two_names_counts_once(level, tmp_path, looked_at):
    """Twice it would make the answer look surer than it is, also where both are read at once."""
    asked, look = level
    for name in ("a.jpg", "b.jpg", "c.jpg"):
        (tmp_path / name).write_bytes(asked.photos[0].read_bytes())
    looks = {look.traced.facts.sha256: look} if looked_at else None
    found = gather.gather_photos(replace(asked, photos=(tmp_path,)), Priors(), None, looks)
    assert [p.label for p in found.photos] == ["a.jpg"] and not found.left_out
    assert [p.rows.lens for p in found.photos] == [0] and len(found.lenses) == 1
