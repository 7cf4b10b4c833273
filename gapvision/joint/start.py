"""First cameras, cards and sections of a joint, from the cards alone: where the fit begins."""

from __future__ import annotations

import numpy as np

from gapvision.joint.model import KNOT_H_MM, KNOT_S_MM, Joint
from gapvision.photo.pose import Placed, joint_z
from gapvision.scene.camera import Lens
from gapvision.scene.hung_card import CardState
from gapvision.scene.priors import Priors
from gapvision.scene.spline import Spline
from gapvision.scene.view import View


def first_joint(
    placed: Placed,
    views: list[View],
    lenses: list[Lens],
    stretch_mm: tuple[float, float],
    stated: dict,
    priors: Priors,
) -> Joint:
    """The joint before the fit: straight logs where the cards say they are.

    Raises nothing; every view must be placed (drop the others before).
    """
    spline_h = Spline.over(*stretch_mm, KNOT_H_MM)
    spline_s = Spline.over(*stretch_mm, KNOT_S_MM)
    at = spline_s.centres()
    cards = [
        placed.cards[n]
        for n in sorted(placed.cards, key=lambda n: (placed.cards[n].side != "outside", n))
    ]  # noqa: E501
    radius = {
        log: stated[log](at)
        if stated[log] is not None
        else np.full(len(at), priors.unknown_radius_mm)  # noqa: E501
        for log in ("lower", "upper")
    }
    axis_z = joint_z(cards, radius, priors)
    seen = {"lower": [], "upper": []}
    for view, camera in zip(views, placed.cameras, strict=True):
        for o in view.outlines:
            seen[o.log].append(camera.plane_point(o.xy_px, axis_z)[:, 1])
    height = {k: float(np.median(np.concatenate(v))) if v else 0.0 for k, v in seen.items()}
    if not seen["upper"]:
        height["upper"] = height["lower"] + 30.0
    swinging = [
        {i for i, v in enumerate(views) if any(s.number == c.number for s in v.sightings)}
        for c in cards
    ]
    cards = tuple(
        CardState(
            c.number, c.side, c.hung_on, c.nail_mm, c.tilt_rad,
            {i: np.zeros(3) for i in group} if len(group) > 1 else {},
        )
        for c, group in zip(cards, swinging, strict=True)
    )  # fmt: skip
    ones_h, ones_s = np.ones(spline_h.size), np.ones(spline_s.size)
    coefficients = {
        "h_l": height["lower"] * ones_h, "z_l": axis_z * ones_s, "r_l": radius["lower"],
        "h_u": height["upper"] * ones_h, "z_u": axis_z * ones_s, "r_u": radius["upper"],
    }  # fmt: skip
    return Joint(
        cameras=tuple(placed.cameras), lens_of=tuple(v.lens for v in views),
        lenses=tuple(lenses), cards=cards, spline_h=spline_h, spline_s=spline_s,
        coefficients=coefficients, bias_px=np.zeros((len(views), 2)),
        section_factor=np.empty((0, 0)), residual_px=(), corner_px=(), cost=float("nan"),
    )  # fmt: skip
