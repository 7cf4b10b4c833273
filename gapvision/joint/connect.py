"""Photographs connected into one joint: by shared cards, and the sides of the wall by their outlines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.inputs.diameters import stated_radii
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.gather import ANY_STRETCH_MM, Gathered
from gapvision.joint.photo_results import Lack, PhotoResult, left_out_result
from gapvision.joint.placed import PlacedPhoto, Placement
from gapvision.joint.sides import connect_sides
from gapvision.photo.pose import place_cards
from gapvision.phrases import cards_text
from gapvision.scene.priors import Priors
from gapvision.trace.outlines import SEEN
from gapvision.trace.traced_photo import TracedPhoto, without_marked

# Of the log's thickness: a card turned by ten degrees stands off by 23 mm, on either face.
WALL_OFF_MM = 80.0


@dataclass(frozen=True, eq=False, slots=True)
class Connected:
    """Photographs that hang together, the stretch to fit (from, to) mm, and what was left out."""

    placed: Placement
    stretch_mm: tuple[float, float]
    left_out: tuple[PhotoResult, ...]


def connect_photographs(options: MeasureOptions, given: Gathered, priors: Priors) -> Connected:
    """Leave out photographs that nothing connects; connect the two sides; find the stretch to fit.

    Raises
    ------
    JointNotFitted
        Where no two photographs of the outside, or of an inside alone, show the same card, or the
        stretch asked for is in none, or the wall stated is no wall of such logs.
    """
    placed, left_out = _by_cards(options, given)
    hung = stated_radii(options, _seen_stretch(placed, "outside"))[
        "lower" if options.card_on == "lower" else "upper"
    ]
    stated = None if hung is None else float(hung(np.zeros(1))[0])
    half = priors.unknown_radius_mm if stated is None else stated
    if placed.of_side("inside").photos:
        _check_thickness(options, stated, priors)
    try:
        placed = connect_sides(placed, half + priors.standoff_mm, options.cards.wall_thickness_mm)
    except JointNotFitted as error:
        left_out += [
            left_out_result(p.traced, Lack("side-untied", {"why": error.text}))
            for p in placed.of_side("inside").photos
        ]
        placed = placed.of_side("outside")
    placed = _without_marked(placed)
    return Connected(placed, _stretch(options, placed), tuple(left_out))


def _without_marked(placed: Placement) -> Placement:
    """The photographs without what was marked in them as not the gap."""
    return replace(placed, photos=tuple(_photo_without(p, placed) for p in placed.photos))


def _photo_without(photo: PlacedPhoto, placed: Placement) -> PlacedPhoto:
    drawn, trace = photo.traced.drawn, photo.traced.trace
    if drawn is None or not drawn.correction.not_gap:
        return photo
    middle = 0.5 * (trace.upper.xy_px + trace.lower.xy_px)
    station = photo.camera.plane_point(middle, _joint_z(photo, placed))[:, 0]
    marked = np.zeros(len(station), bool)
    for low, high in drawn.correction.not_gap:
        here = (station >= low) & (station <= high)
        if not here.any():
            raise JointNotFitted(
                "bad-correction",
                f"{photo.traced.label}: the stretch from {low:.0f} to {high:.0f} mm was marked as not "
                f"the gap, and this photograph shows {station.min():.0f} to {station.max():.0f} mm: "
                "correct it or take it out.",
            )
        marked |= here
    return replace(photo, traced=without_marked(photo.traced, marked))


def _by_cards(options: MeasureOptions, given: Gathered) -> tuple[Placement, list[PhotoResult]]:
    """The photographs that shared cards connect, at their places, and those that none does."""
    found = place_cards([p.rows for p in given.photos], given.lenses, options.card_on)
    pairs = [(p, found.cameras.get(i)) for i, p in enumerate(given.photos)]
    sides = {p.rows.side for p in given.photos}
    main = "outside" if "outside" in sides else "inside"
    of_main = [(p, camera) for p, camera in pairs if p.rows.side == main]
    _check_chain(main, [p for p, _ in of_main], sum(camera is not None for _, camera in of_main))
    left_out = [left_out_result(p, Lack("untied")) for p, camera in pairs if camera is None]
    photos = tuple(PlacedPhoto(p, camera) for p, camera in pairs if camera is not None)
    return Placement(photos, found.cards), left_out


def _check_chain(side: str, photos: Sequence[TracedPhoto], connected: int) -> None:
    """Refuse several photographs of one side none of which shares a card with another."""
    if len(photos) > 1 and connected < 2:
        shown = "; ".join(f"{p.label} shows {_cards(p)}" for p in photos[:3])
        raise JointNotFitted(
            "untied",
            f"No two of the {len(photos)} photographs from {side} show the same card ({shown}), so "
            "that they cannot be tied to each other: photograph so that neighbours share a card, or "
            "measure each by itself.",
        )


def _check_thickness(options: MeasureOptions, half_mm: float | None, priors: Priors) -> None:
    """Refuse a distance through the wall that no cards hanging on the stated log can have."""
    stated = options.cards.wall_thickness_mm
    if stated is None or half_mm is None or options.card_on == "free":
        return
    usual = 2 * (half_mm + priors.standoff_mm)
    if abs(stated - usual) > WALL_OFF_MM:
        raise JointNotFitted(
            "bad-thickness",
            f"Through the wall {stated:.0f} mm were stated, and cards on both faces of a log "
            f"{2 * half_mm:.0f} mm thick hang some {usual:.0f} mm apart: measure from the face of the "
            "outside cards to that of the inside cards, correct the diameters, or leave "
            "--wall-thickness out.",
        )


def _stretch(options: MeasureOptions, placed: Placement) -> tuple[float, float]:
    """The stretch asked for, its ends as far as seen where none is stated."""
    seen = _seen_stretch(placed)
    asked = options.stretch
    low = seen[0] if asked.from_mm is None else asked.from_mm
    high = seen[1] if asked.to_mm is None else asked.to_mm
    if low >= seen[1] or high <= seen[0]:
        raise JointNotFitted(
            "stations-outside",
            f"The photographs show the joint from {seen[0]:.0f} to {seen[1]:.0f} mm, and none of "
            f"{low:.0f} to {high:.0f} mm that was asked for; photograph that stretch or correct "
            "--from and --to (mm right of the lowest-numbered card's nail).",
        )
    return low, high


def _seen_stretch(placed: Placement, side: str | None = None) -> tuple[float, float]:
    """First and last station at which any photograph (of one side) shows an outline, roughly."""
    spans = []
    for photo in placed.photos:
        if side is not None and photo.side != side and len(placed.photos) > 1:
            continue
        trace = photo.traced.trace
        ok = (trace.lower.state == SEEN) | (trace.upper.state == SEEN)
        if not ok.any():  # all that it shows was marked as not the gap
            continue
        x = photo.camera.plane_point(trace.lower.xy_px[ok], _joint_z(photo, placed))[:, 0]
        spans.append((float(x.min()), float(x.max())))
    return (min(a for a, _ in spans), max(b for _, b in spans)) if spans else ANY_STRETCH_MM


def _joint_z(photo: PlacedPhoto, placed: Placement) -> float:
    """Across the wall, roughly where the logs' axes lie, from the cards that a photograph shows."""
    out = 1.0 if photo.side == "outside" else -1.0
    nails = [placed.cards[s.number].nail_mm[2] for s in photo.traced.rows.sightings]
    return float(np.median(nails)) - out * Priors().unknown_radius_mm


def _cards(photo: TracedPhoto) -> str:
    return cards_text(s.number for s in photo.rows.sightings)
