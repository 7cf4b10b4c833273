"""Photographs tied into one joint: by shared cards, and the two sides of the wall by their outlines."""

from __future__ import annotations

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.inputs.diameters import stated_radii
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.photo_results import PhotoResult, left_out_result
from gapvision.joint.sides import tie_sides
from gapvision.photo.pose import Placed
from gapvision.phrases import cards_text
from gapvision.scene.priors import Priors
from gapvision.scene.view import View
from gapvision.trace.outlines import SEEN
from gapvision.trace.sight import Sight

# Of the log's thickness: a card turned by ten degrees stands off by 23 mm, on either face.
WALL_OFF_MM = 80.0


def tie_photographs(
    options: MeasureOptions, sights: list[Sight], views: list[View], placed: Placed, priors: Priors
) -> tuple[list[Sight], list[View], Placed, tuple[float, float], list[PhotoResult]]:
    """Leave out photographs tied to nothing; tie the two sides; find the stretch to fit.

    Parameters
    ----------
    placed : Placed
        Cameras by photograph, None where cards tie it to nothing.

    Returns
    -------
    sights, views, placed, stretch, untied
        Of those that are tied; the stretch is from and to, mm; the untied say what they lacked.

    Raises
    ------
    JointNotFitted
        Where no two photographs of the outside, or of an inside alone, show the same card, or the
        stretch asked for is in none, or the wall stated is no wall of such logs.
    """
    tied = [i for i, c in enumerate(placed.cameras) if c is not None]
    main = "outside" if any(s.view.side == "outside" for s in sights) else "inside"
    mine = [i for i, s in enumerate(sights) if s.view.side == main]
    _check_chain(main, [sights[i] for i in mine], len({*tied} & {*mine}))
    untied = [
        left_out_result(
            s,
            f"{s.photo.file} is left out: it shows {_cards(s)} and none of the cards of the "
            "photographs that were used, so that it cannot be tied to them; photograph so that "
            "neighbours share a card.",
        )
        for i, s in enumerate(sights)
        if i not in tied
    ]
    sights = [sights[i] for i in tied]
    views = [views[i] for i in tied]
    placed = Placed([placed.cameras[i] for i in tied], placed.cards)
    hung = stated_radii(options, _seen_stretch(sights, placed, "outside"))[
        "lower" if options.card_on == "lower" else "upper"
    ]
    stated = None if hung is None else float(hung(np.zeros(1))[0])
    half = priors.unknown_radius_mm if stated is None else stated
    if any(v.side == "inside" for v in views):
        _check_thickness(options, stated, priors)
    try:
        placed = tie_sides(
            sights, views, placed, half + priors.standoff_mm, options.cards.wall_thickness_mm
        )
    except JointNotFitted as error:
        untied += [
            left_out_result(s, f"{s.photo.file} is left out: {error.text}")
            for s in sights if s.view.side == "inside"
        ]  # fmt: skip
        kept = [i for i, v in enumerate(views) if v.side == "outside"]
        sights, views = [sights[i] for i in kept], [views[i] for i in kept]
        placed = Placed(
            [placed.cameras[i] for i in kept],
            {n: c for n, c in placed.cards.items() if c.side == "outside"},
        )
    seen = _seen_stretch(sights, placed)
    low = options.stretch.from_mm if options.stretch.from_mm is not None else seen[0]
    high = options.stretch.to_mm if options.stretch.to_mm is not None else seen[1]
    if low >= seen[1] or high <= seen[0]:
        raise JointNotFitted(
            "stations-outside",
            f"The photographs show stations {seen[0]:.0f} to {seen[1]:.0f} mm, and none of "
            f"{low:.0f} to {high:.0f} mm that was asked for; photograph that stretch or correct "
            "--from and --to (mm right of the lowest-numbered card's nail).",
        )
    return sights, views, placed, (low, high), untied


def _check_chain(side: str, sights: list[Sight], tied: int) -> None:
    """Refuse several photographs of one side none of which shares a card with another."""
    if len(sights) > 1 and tied < 2:
        shown = "; ".join(f"{s.photo.file} shows {_cards(s)}" for s in sights[:3])
        raise JointNotFitted(
            "untied",
            f"No two of the {len(sights)} photographs from {side} show the same card ({shown}), so "
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


def _cards(sight: Sight) -> str:
    return cards_text(s.number for s in sight.view.sightings)


def _seen_stretch(sights, placed: Placed, side: str | None = None) -> tuple[float, float]:
    """First and last station at which any photograph (of one side) shows an outline, roughly."""
    spans = []
    for sight, camera in zip(sights, placed.cameras, strict=True):
        if side is not None and sight.view.side != side and len(sights) > 1:
            continue
        out = 1.0 if sight.view.side == "outside" else -1.0
        nails = [placed.cards[c.number].nail_mm[2] for c in sight.view.sightings]
        z = float(np.median(nails)) - out * Priors().unknown_radius_mm
        ok = (sight.trace.lower.state == SEEN) | (sight.trace.upper.state == SEEN)
        x = camera.plane_point(sight.trace.lower.xy_px[ok], z)[:, 0]
        spans.append((float(x.min()), float(x.max())))
    return (min(a for a, _ in spans), max(b for _, b in spans)) if spans else (-750.0, 750.0)
