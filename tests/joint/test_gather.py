"""Photographs read one by one: of none more is kept than its rows and a crop."""

import weakref

import pytest
from helpers.options import options_with
from helpers.phones import saved

from gapvision.errors import MeasurementError
from gapvision.joint import gather
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
