"""What one photograph must show to be of use: the gap, or among others one long outline."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.demo import TRUTH, options
from helpers.simulator import PROTOCOLS, draw_joint, fit

from gapvision.errors import OutlinesNotFound
from gapvision.inputs.options import MeasureOptions
from gapvision.joint import gather
from gapvision.joint.gap import gap_profile
from gapvision.photo.cards import read_cards
from gapvision.photo.lens.prior import choose_lens
from gapvision.photo.photo import load_photo
from gapvision.scene.priors import Priors
from gapvision.trace.outlines import HIDDEN, SEEN, UNSURE, Trace, TracedOutline
from gapvision.trace.rows import rough_mm
from gapvision.trace.traced_photo import (
    ReadPhoto,
    _longer_alone,
    _packed,
    _unpacked,
    shows_gap,
    trace_photo,
)

DEMO = Path(__file__).parents[2] / "gapvision" / "cli" / "demo_photos"


def trace(upper_seen, lower_seen, n=400):
    """The upper line is seen in its first, the lower one in its last blocks; hidden elsewhere."""
    at = np.arange(n)
    seen = {"upper": at < upper_seen, "lower": at >= n - lower_seen}
    none = np.zeros(n)
    lines = {
        log: TracedOutline(none, np.zeros((n, 2)), none + 1, np.where(s, SEEN, HIDDEN), none + 1)
        for log, s in seen.items()
    }
    return Trace(none, lines["upper"], lines["lower"], none + 0.5)


def test_the_gap_shows_where_100_mm_of_both_outlines_are_seen():
    assert shows_gap(trace(400, 25))
    assert not shows_gap(trace(400, 24))
    assert not shows_gap(trace(200, 200))  # each of another stretch


def test_one_outline_of_400_mm_is_kept_and_what_is_left_of_the_other_is_not():
    found = _longer_alone(trace(120, 20))
    assert (found.upper.state == SEEN).sum() == 120
    assert (found.lower.state == UNSURE).sum() == 20
    assert (found.lower.state == HIDDEN).sum() == 380
    assert (_longer_alone(trace(20, 120)).lower.state == SEEN).sum() == 120
    assert _longer_alone(trace(99, 20)) is None


def test_rows_of_a_sweep_from_one_height_are_believed_less():
    """There lines that are wrong over 300 mm would pass for the crowns' offset."""
    sweep = [0.01, -0.02, 0.03, 0.0]
    assert rough_mm(sweep, ["outside"] * 4) > rough_mm([0.0], ["outside"])
    assert rough_mm([*sweep, 0.22], ["outside"] * 5) == rough_mm([0.0], ["outside"])
    assert rough_mm([0.0, 0.01], ["outside", "inside"]) == rough_mm([0.0], ["outside"])


@pytest.fixture
def half_blind(monkeypatch):
    """Photographs' sights as they are, but for one, of which one outline is unsure."""
    real = gather.trace_photo

    def blind(label):  # by name: two photographs are at work at once
        def take(read, *rest):
            sight = real(read, *rest)
            lower = sight.trace.lower
            unsure = replace(lower, state=np.full_like(lower.state, UNSURE))
            return (
                replace(sight, trace=replace(sight.trace, lower=unsure))
                if read.label == label
                else sight
            )

        monkeypatch.setattr(gather, "trace_photo", take)

    return blind


def test_photographs_that_all_show_one_outline_only_are_refused(half_blind):
    half_blind("photo0.jpg")
    with pytest.raises(OutlinesNotFound) as refused:
        gather.gather_photos(MeasureOptions(photos=(DEMO / "photo0.jpg",)), Priors(), None)
    assert refused.value.code == "no-outlines" and "photo0.jpg" in refused.value.text


def test_beside_one_that_shows_the_gap_a_single_outline_serves(half_blind):
    half_blind("photo0.jpg")
    options = MeasureOptions(photos=(DEMO / "photo1.jpg", DEMO / "photo0.jpg"))
    gathered = gather.gather_photos(options, Priors(), None)
    assert len(gathered.photos) == 2 and not gathered.left_out
    assert [shows_gap(p.trace) for p in gathered.photos] == [False, True]


def test_what_the_nearer_outline_alone_adds_from_above_and_below():
    """Of joints simulated from three heights, whose raised and lowered views show the nearer log's
    limb only: the answer is narrower than from the level view alone, and holds the truth."""
    for seed in range(4):
        joint = draw_joint(np.random.default_rng([7, seed]), PROTOCOLS["heights"])
        level = int(np.argmin([abs(h) for h in PROTOCOLS["heights"].heights]))
        nearer = {True: "upper", False: "lower"}
        views = [
            v if k == level else replace(
                v, outlines=tuple(o for o in v.outlines if o.log == nearer[h > 0])
            )
            for k, (v, h) in enumerate(zip(joint.views, PROTOCOLS["heights"].heights, strict=True))
        ]  # fmt: skip
        alone = [v if k == level else replace(v, outlines=()) for k, v in enumerate(views)]
        at = joint.truth.station_mm
        needed = joint.truth.needed_mm(76.0).max()
        with_one, without = (
            gap_profile(fit(replace(joint, views=v)), at, 76.0).setting for v in (views, alone)
        )
        assert with_one.U95_mm < without.U95_mm
        assert abs(with_one.value_mm - needed) < 1.3 * with_one.U95_mm


def test_a_joint_beside_the_picture_is_not_looked_for_in_it():
    """Of a card near the lower edge: the band would be cut from what is not there."""
    (file,) = options(TRUTH["files"][0]).photos
    whole = load_photo(file)
    (first, *_), _ = read_cards(whole.bgr, file.name)
    foot = int(first.corner_px[:, 1].max()) + 10
    bgr = np.ascontiguousarray(whole.bgr[:foot])
    facts = replace(whole.facts, height=foot)
    lens, source = choose_lens(whole.facts, None)
    read = ReadPhoto(
        replace(whole, bgr=bgr, facts=facts), "a.jpg", "outside", (first,), (), lens, source
    )
    with pytest.raises(OutlinesNotFound) as caught:
        trace_photo(read, "upper", {"upper": None, "lower": None}, Priors())
    assert caught.value.code == "joint-outside"


def test_what_is_packed_comes_back_to_half_a_step():
    p = np.random.default_rng(2).random((4, 30, 20), dtype=np.float32)
    p[0, 0, :4] = -1e-3, 0.0, 1.0, 1.0 + 1e-3  # rounding may give what is no share any more
    packed = _packed(p)
    assert packed.dtype == np.uint16
    np.testing.assert_allclose(_unpacked(packed), np.clip(p, 0, 1), atol=0.51 / 65535)
