"""The joint before the fit: straight logs where the cards say they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gapvision.joint.model import KNOT_H_MM, KNOT_S_MM, FittedPhoto, Joint
from gapvision.photo.pose import joint_z
from gapvision.scene.hung_card import HungCard
from gapvision.scene.priors import Beliefs
from gapvision.scene.spline import Spline

OPENING_MM = 30.0  # where only the lower outline is seen


def first_joint(
    photos: Sequence[FittedPhoto],
    cards: dict[int, HungCard],
    stretch_mm: tuple[float, float],
    beliefs: Beliefs,
) -> Joint:
    """Where the fit begins, from photographs at their first cameras and the cards they show."""
    spline_h = Spline.over(*stretch_mm, KNOT_H_MM)
    spline_s = Spline.over(*stretch_mm, KNOT_S_MM)
    at = spline_s.centres()
    in_order = [cards[n] for n in sorted(cards, key=lambda n: (cards[n].side != "outside", n))]
    radius = {
        log: np.full(len(at), beliefs.priors.unknown_radius_mm) if half is None else half(at)
        for log, half in beliefs.half.items()
    }
    axis_z = joint_z(in_order, radius, beliefs.priors)
    height = _crowns(photos, axis_z)
    ones_h, ones_s = np.ones(spline_h.size), np.ones(spline_s.size)
    coefficients = {
        "h_l": height["lower"] * ones_h, "z_l": axis_z * ones_s, "r_l": radius["lower"],
        "h_u": height["upper"] * ones_h, "z_u": axis_z * ones_s, "r_u": radius["upper"],
    }  # fmt: skip
    return Joint(
        tuple(photos), beliefs.lenses, tuple(swinging(c, photos) for c in in_order),
        spline_h, spline_s, coefficients,
    )  # fmt: skip


def _crowns(photos: Sequence[FittedPhoto], axis_z: float) -> dict[str, float]:
    """Height of each log's crown, mm, from what is seen of it in the plane of the axes."""
    seen: dict[str, list[np.ndarray]] = {"lower": [], "upper": []}
    for photo in photos:
        for o in photo.rows.outlines:
            seen[o.log].append(photo.camera.plane_point(o.xy_px, axis_z)[:, 1])
    height = {k: float(np.median(np.concatenate(v))) if v else 0.0 for k, v in seen.items()}
    if not seen["upper"]:
        height["upper"] = height["lower"] + OPENING_MM
    return height


def swinging(card: HungCard, photos: Sequence[FittedPhoto]) -> HungCard:
    """The card, free to swing from photograph to photograph where several show it."""
    shown = [
        i for i, p in enumerate(photos) if any(s.number == card.number for s in p.rows.sightings)
    ]
    return replace(card, swing_rad={i: np.zeros(3) for i in shown} if len(shown) > 1 else {})
