"""One photograph and its copies count once: reduced, compressed anew, or without what the camera wrote."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gapvision.joint.photo_results import Lack, PhotoResult, left_out_result
from gapvision.photo.wood import flattened
from gapvision.trace.outlines import SEEN, Trace
from gapvision.trace.traced_photo import TracedPhoto

SAME_PLACE_PX = 0.5  # of corners, rms, in the smaller picture: none of two held by hand are as near
SAME_GAP_PX = 1.5  # of the gap's width, median
SAME_SHAPE = 0.01  # of height over width
SAME_GRAIN = 0.9  # correlation of the wood beside the card, down to grain of 1 mm


def without_copies(
    photos: Sequence[TracedPhoto],
) -> tuple[tuple[TracedPhoto, ...], tuple[PhotoResult, ...]]:
    """The photographs without copies, and the copies as left out.

    Of each picture the one of most pixels is kept, of equals the one whose focal length the camera told.
    """
    best = sorted(photos, key=_worth, reverse=True)
    kept: list[TracedPhoto] = []
    copies: dict[int, str] = {}
    for photo in best:
        first = next((k for k in kept if _same_picture(k, photo)), None)
        if first is None:
            kept.append(photo)
        else:
            copies[id(photo)] = first.label
    return (
        tuple(p for p in photos if id(p) not in copies),
        tuple(
            left_out_result(p, Lack("copy", {"of": copies[id(p)]}))
            for p in photos
            if id(p) in copies
        ),
    )


def _worth(photo: TracedPhoto) -> tuple[int, bool]:
    facts = photo.facts
    return facts.width * facts.height, facts.focal_source == "exif"


def _same_picture(larger: TracedPhoto, smaller: TracedPhoto) -> bool:
    """Whether two show the same corners at the same places of the frame, the same grain and the same gap.

    A phone on a stand takes the like again and again; each has a time of its own.
    """
    times = {larger.facts.taken, smaller.facts.taken} - {None}
    if len(times) > 1 or not _same_gap(
        larger.trace, smaller.trace, smaller.facts.width / larger.facts.width
    ):
        return False
    (w, h), (w_small, h_small) = larger.facts.size, smaller.facts.size
    if abs(h / w - h_small / w_small) > SAME_SHAPE or larger.rows.side != smaller.rows.side:
        return False
    miss = []
    other = {s.number: s for s in smaller.rows.sightings}
    for s in larger.rows.sightings:
        if s.number not in other:
            continue
        o = other[s.number]
        _, mine, its = np.intersect1d(s.corner_id, o.corner_id, return_indices=True)
        moved = (s.corner_px[mine] + 0.5) * (w_small / w) - 0.5
        miss.append((moved - o.corner_px[its]).ravel())
    if not miss or np.sqrt(np.mean(np.concatenate(miss) ** 2)) > SAME_PLACE_PX:
        return False
    return all(
        _correlation(larger.wood[n], smaller.wood[n]) > SAME_GRAIN
        for n in larger.wood.keys() & smaller.wood.keys()
    )


def _same_gap(larger: Trace, smaller: Trace, scale: float) -> bool:
    """Whether the gap is as wide in both, where both see it."""
    openings = []
    for trace, times in ((larger, scale), (smaller, 1.0)):
        seen = (trace.upper.state == SEEN) & (trace.lower.state == SEEN)
        upper, lower = trace.upper.xy_px[seen] * times, trace.lower.xy_px[seen] * times
        openings.append((upper[:, 0], lower[:, 1] - upper[:, 1]))
    (x, opening), (x_other, other) = openings
    if not len(x) or not len(x_other):
        return True
    at = x_other[(x_other >= x.min()) & (x_other <= x.max())]
    if not len(at):
        return True
    apart = np.interp(at, x, opening) - np.interp(at, x_other, other)
    return float(np.median(np.abs(apart))) < SAME_GAP_PX


def _correlation(one: np.ndarray, other: np.ndarray) -> float:
    (a, seen_a), (b, seen_b) = flattened(one), flattened(other)
    here = (seen_a > 0) & (seen_b > 0)
    if not here.any():
        return 1.0
    return float(np.corrcoef(a[here], b[here])[0, 1])
