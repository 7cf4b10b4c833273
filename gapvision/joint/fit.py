"""All photographs of a joint in one robust least squares: cards and outlines -> Joint.

Unknown are the cameras, the cards and both logs' sections along the wall (docs/model.md); observed
are card corners and outlines in pixels. A single photograph is the same fit with fewer rows.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.joint.equations import normal_equations
from gapvision.joint.model import Joint, graze
from gapvision.joint.readings import GapReading
from gapvision.joint.section_priors import PriorRows, section_prior_rows
from gapvision.joint.unknowns import moved, unknowns_of
from gapvision.scene.priors import Beliefs

# Scale of the robust loss, in standard deviations, and damping.
ANNEAL = ((30.0, 1e-3), (6.0, 1e-4), (2.0, 1e-6), (2.0, 1e-8), (1.0, 1e-9))
REFINE = ANNEAL[2:]  # from a joint that is fitted already
LAST = ((1.0, 1e-9),)  # from one that hardly moves
STEPS = 6
SETTLED = 0.05  # a step that promises less than this of the (whitened) cost ends a scale


def fit_joint(
    start: Joint,
    beliefs: Beliefs,
    readings: tuple[GapReading, ...] = (),
    anneal: tuple[tuple[float, float], ...] = ANNEAL,
) -> Joint:
    """The most likely joint for all that its photographs show.

    Parameters
    ----------
    start : Joint
        First cameras, cards and sections (`gapvision.joint.first_joint`), with the rows observed.
    readings : caliper readings and trial lines that enter as observations, and into the joint's draws.
    anneal : scales of the robust loss with their damping, the last one the answer's.

    Raises
    ------
    JointNotFitted
        Where nothing fits what was seen.
    """
    joint = start
    for loss, damping in anneal:
        prior_rows = section_prior_rows(joint, beliefs)
        for _ in range(STEPS):
            e = normal_equations(joint, beliefs, prior_rows, loss, readings)
            damped = e.normal + damping * np.diag(np.diag(e.normal))
            step = -_solved(damped, e.gradient)
            joint = moved(joint, step)
            if float(-step @ e.gradient) < SETTLED:
                break
    return _finished(joint, beliefs, prior_rows, readings)


def _solved(normal: np.ndarray, gradient: np.ndarray) -> np.ndarray:
    """The normal equations' solution (n,), by OpenCV's Cholesky factors, in half of LAPACK's time."""
    positive, step = cv2.solve(normal, gradient[:, None], flags=cv2.DECOMP_CHOLESKY)
    if not positive:
        raise _not_fitted()
    return step[:, 0]


def _not_fitted() -> JointNotFitted:
    return JointNotFitted(
        "not-fitted",
        "What the photographs show fits no joint of two logs: look at the picture of each by "
        "itself, leave out the one that is wrong, or photograph the joint again.",
    )


def _finished(
    joint: Joint, beliefs: Beliefs, prior_rows: PriorRows, readings: tuple[GapReading, ...]
) -> Joint:
    """The joint with its covariance and residuals; readings are left to its draws."""
    start = unknowns_of(joint).section_start
    e = normal_equations(joint, beliefs, prior_rows, ANNEAL[-1][0])
    shift = -_solved(e.normal, e.gradient)[start:] if readings else None
    try:
        lower = np.linalg.cholesky(e.normal)
    except np.linalg.LinAlgError:
        raise _not_fitted() from None
    pick = np.zeros((e.size, e.size - start))
    pick[start:] = np.eye(pick.shape[1])
    half = np.linalg.solve(lower, pick)  # covariance = half.T @ half
    photos = tuple(
        replace(
            p,
            residual_px={o.log: graze(p.camera, o, joint).miss_px for o in p.rows.outlines},
            corner_px=_corner_misses(joint, i),
        )
        for i, p in enumerate(joint.photos)
    )
    return replace(
        joint, photos=photos, section_factor=half.T, cost=e.cost, readings=readings,
        section_shift=shift,
    )  # fmt: skip


def _corner_misses(joint: Joint, i: int) -> dict[int, float]:
    """What the corners of each card in the i-th photograph miss by, rms px, by its number."""
    photo, cards = joint.photos[i], {c.number: c for c in joint.cards}
    out = {}
    for s in photo.rows.sightings:
        miss = photo.camera.project(cards[s.number].points(s.corner_mm, i)) - s.corner_px
        out[s.number] = float(np.sqrt(np.mean(miss**2)))
    return out
