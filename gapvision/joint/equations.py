"""The normal equations of a joint: every row that cards, outlines, priors and readings make."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from gapvision.joint.model import (
    SECTION_NAMES,
    UP,
    FittedPhoto,
    Graze,
    Joint,
    graze_rays,
    lookup,
    through_wall,
)
from gapvision.joint.readings import GapReading, against_photographs
from gapvision.joint.section_priors import PriorRows, whitener
from gapvision.joint.unknowns import Unknowns, unknowns_of
from gapvision.scene import card
from gapvision.scene.camera import SMALL_TURNS
from gapvision.scene.hung_card import HungCard, axes_change
from gapvision.scene.photo_rows import CardSighting, OutlineRows
from gapvision.scene.priors import Beliefs, Priors

LEAST_CARD_LOSS = 2.0  # scale of the robust loss at a card's corners, sd: they seldom lie
HALF_CARD_MM = card.CARD_WIDTH_MM / 2
FREE_RAD = 0.6  # a free card may stand at any turn
U_UNTAPED_FACE_MM = 12.0  # of the face of a log whose diameter is not stated
U_ORIGIN_MM = 1e-3  # the first nail is the origin of all stations


@dataclass(eq=False, slots=True)
class Equations:
    """Normal matrix, gradient and cost of the rows added so far."""

    size: int
    normal: np.ndarray = field(init=False)
    gradient: np.ndarray = field(init=False)
    cost: float = 0.0

    def __post_init__(self) -> None:
        self.normal = np.zeros((self.size, self.size))
        self.gradient = np.zeros(self.size)

    def add(
        self, columns: np.ndarray, jacobian: np.ndarray, residual: np.ndarray,
        sd: np.ndarray | float, loss: float | None = None,
    ) -> None:  # fmt: skip
        """Rows with residuals (n,) of standard deviations sd, and their derivatives (n, columns).

        ``loss`` is the scale, in sd, of a Cauchy loss whose half-weight lies at twice that; None: squares.
        """
        r = residual / sd
        if loss is None:
            scale = np.ones_like(r)
            self.cost += float((r**2).sum())
        else:
            share = (r / (loss * 2.0)) ** 2
            scale = 1 / np.sqrt(1 + share)
            self.cost += float((loss * 2.0) ** 2 * np.log1p(share).sum())
        # One matrix times itself is half of the work of two.
        j = jacobian * (scale / sd)[:, None]
        self.normal[columns[:, None], columns] += j.T @ j
        self.gradient[columns] += j.T @ (scale * r)

    def add_each(self, rows: list[tuple[int, float, float]]) -> None:
        """Rows (column, residual, sd) that are believed as they stand, of one column each."""
        columns, residual, sd = (np.array(x) for x in zip(*rows, strict=True))
        r, j = residual / sd, 1 / sd
        self.normal[columns, columns] += j * j
        self.gradient[columns] += j * r
        self.cost += float(r @ r)

    def add_priors(self, start: int, rows: PriorRows, joint: Joint) -> None:
        """What is believed of the sections, whose coefficients are the last columns, from ``start`` on."""
        value = np.concatenate([joint.coefficients[name] for name in SECTION_NAMES])
        r = rows.factor @ value - rows.target
        self.normal[start:, start:] += rows.normal
        self.gradient[start:] += rows.factor.T @ r
        self.cost += float(r @ r)

    def add_one(
        self, columns: np.ndarray | int, residual: float, sd: float,
        derivatives: np.ndarray | float = 1.0,
    ) -> None:  # fmt: skip
        """One row that is believed as it stands, of one column or several."""
        at = np.atleast_1d(columns)
        j, r = np.broadcast_to(derivatives, at.shape) / sd, residual / sd
        self.normal[at[:, None], at] += j[:, None] * j
        self.gradient[at] += j * r
        self.cost += float(r**2)


def normal_equations(
    joint: Joint,
    beliefs: Beliefs,
    prior_rows: PriorRows,
    loss: float,
    readings: tuple[GapReading, ...] = (),
) -> Equations:
    """All rows at a joint's state, robust weights at the given scale of the loss.

    ``prior_rows`` are `section_priors.section_prior_rows` at the state where this scale began.
    """
    unknowns = unknowns_of(joint)
    equations = Equations(unknowns.size)
    at = {c.number: k for k, c in enumerate(joint.cards)}
    seen = [
        (i, o)
        for log in UP
        for i, p in enumerate(joint.photos)
        for o in p.rows.outlines
        if o.log == log
    ]
    for (_, outline), rows in zip(seen, _outline_rows(joint, unknowns, seen), strict=True):
        equations.add(*rows, outline.u_px, loss)
    for i, photo in enumerate(joint.photos):
        for sighting in photo.rows.sightings:
            _add_card(equations, unknowns, joint, i, sighting, at[sighting.number], loss)
    _add_priors(equations, unknowns, joint, beliefs)
    if readings:
        _add_readings(equations, unknowns, joint, readings)
    equations.add_priors(unknowns.section_start, prior_rows, joint)
    return equations


def _outline_rows(
    joint: Joint, unknowns: Unknowns, seen: list[tuple[int, OutlineRows]]
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Of each outline, with its photograph's number: unknowns (k,), derivatives (n, k) and misses (n,)
    px. All rays are followed at once."""
    if not seen:
        return
    cameras = [joint.photos[i].camera for i, _ in seen]
    many = [len(o.xy_px) for _, o in seen]
    d = np.concatenate([c.directions(o.xy_px) for c, (_, o) in zip(cameras, seen, strict=True)])
    centre, focal, axes = (
        np.repeat([getattr(c, name) for c in cameras], many, axis=0)
        for name in ("centre_mm", "focal_px", "camera_from_world")
    )
    g = graze_rays(d, np.repeat([UP[o.log] for _, o in seen], many), centre, focal, joint)
    of_camera = _camera_columns(axes, g, joint)
    values = (
        ("h_", g.height, -g.up * g.n_y * g.px_per_mm),
        ("z_", g.section, -g.up * g.n_z * g.px_per_mm),
        ("r_", g.section, (g.n_y - 1) * g.px_per_mm),
    )
    ends = np.cumsum(many)
    for (i, outline), end, n in zip(seen, ends, many, strict=True):
        here, which = slice(end - n, end), list(UP).index(outline.log)
        columns = [*unknowns.pose(i, joint.photos[i].rows.lens), unknowns.shift + 2 * i + which]
        parts = [of_camera[here], np.ones((n, 1))]
        for name, (first, w), value in values:
            part, low = _spline_columns(first[here], value[here, None] * w[here])
            start = unknowns.section[name + outline.log[0]].start + low
            columns += range(start, start + part.shape[1])
            parts.append(part)
        miss = g.miss_px[here] + joint.photos[i].shift_px[which]
        yield np.array(columns), np.concatenate(parts, axis=1), miss


def _spline_columns(first: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, int]:
    """Weights (n, 4) from the first coefficients (n,) on as columns, of the part that they reach, and
    where that begins: a photograph shows a part of a long log."""
    low, high = int(first.min()), int(first.max()) + 4
    part = np.zeros((len(first), high - low))
    part[np.arange(len(first))[:, None], first[:, None] - low + np.arange(4)] = weights
    return part, low


def _turned(v: np.ndarray) -> np.ndarray:
    """Change (3, n, 3) of vectors (n, 3) with a small turn about each axis: axis x v."""
    return v @ SMALL_TURNS.swapaxes(1, 2)


def _camera_columns(axes: np.ndarray, g: Graze, joint: Joint) -> np.ndarray:
    """Change (n, 8) of outlines' residuals with turn (3), centre (3), log focal length and k1.

    Each moves the point of the ray beside the log: across the ray it changes the miss, and along
    the wall it meets another station, where the crown's height differs by its slope. ``axes`` (n, 3, 3)
    are the camera's of each ray.
    """
    d, depth = g.directions, g.depth[:, None]
    right, down, ahead = axes.swapaxes(0, 1)
    # In the camera the direction is (x, y, 1).
    x, y = ((d * axis).sum(1, keepdims=True) for axis in (right, down))
    stretched = -depth * (x * right + y * down)
    turned = -depth * np.stack([y * ahead - down, right - x * ahead, x * down - y * right])
    place = np.broadcast_to(np.eye(3)[:, None], (3, *d.shape))
    moves = np.concatenate([turned, place, [stretched, (x * x + y * y) * stretched]])
    across = g.n_y * moves[..., 1] + g.n_z * moves[..., 2]
    along = moves[..., 0] - d[:, 0] / d[:, 2] * moves[..., 2]
    return (g.up * g.px_per_mm * (across - g.n_y * _crown_slope(joint, g) * along)).T


def _crown_slope(joint: Joint, g: Graze) -> np.ndarray:
    """Rise of the crowns per mm of station, (n,), over one mm."""
    after, before = (
        joint.lookup("h_", g.up, *joint.spline_h.weights(g.station_mm + step))
        for step in (0.5, -0.5)
    )
    return after - before


def _add_card(
    equations: Equations, unknowns: Unknowns, joint: Joint, i: int, seen: CardSighting, k: int,
    loss: float,
) -> None:  # fmt: skip
    """Rows of the k-th card's corners in the i-th photograph."""
    photo, hung = joint.photos[i], joint.cards[k]
    points = hung.points(seen.corner_mm, i)
    miss = (photo.camera.project(points) - seen.corner_px).ravel()
    derivatives = _card_columns(photo, hung, seen, points, i)
    at = unknowns.card_at(k)
    columns = [*unknowns.pose(i, photo.rows.lens), *range(at, at + 6)]
    if (k, i) in unknowns.swing:
        derivatives += derivatives[-3:]
        columns += range(unknowns.swing[k, i], unknowns.swing[k, i] + 3)
    equations.add(
        np.array(columns), np.stack(derivatives, 1), miss, seen.u_px, max(loss, LEAST_CARD_LOSS)
    )


def _card_columns(
    photo: FittedPhoto, hung: HungCard, seen: CardSighting, points: np.ndarray, i: int
) -> list[np.ndarray]:
    """Derivatives of corners' pixels, raveled, with turn, centre, lens, nail and tilt: a list of 14."""
    camera = photo.camera
    turn = camera.camera_from_world
    q = (points - camera.centre_mm) @ turn.T
    n = q[:, :2] / q[:, 2:]
    r2 = (n**2).sum(1, keepdims=True)
    gain = camera.focal_px * (1 + camera.k1 * r2)
    # Moves (12, n, 3) of the points in the camera's frame: its turn and place, the nail, the tilt.
    shift = np.broadcast_to(turn.T[:, None], (3, *q.shape))
    change = axes_change(hung.tilt_rad + hung.swing_rad.get(i, 0.0), hung.side)
    tilted = seen.corner_mm @ np.swapaxes(turn @ change, 1, 2)
    moves = np.concatenate([_turned(q), -shift, shift, tilted])
    px = (moves[..., :2] - n * moves[..., 2:]) / q[:, 2:] * gain
    px = px.reshape(12, -1)
    lens = np.stack([(n * gain).ravel(), (n * r2 * camera.focal_px).ravel()])
    return [*px[:6], *lens, *px[6:]]


def _add_readings(
    equations: Equations, unknowns: Unknowns, joint: Joint, readings: tuple[GapReading, ...]
) -> None:
    """A row for each reading: the setting needed at its station for its cover, the gap for none."""
    at, cover = (np.array([getattr(r, k) for r in readings]) for k in ("station_mm", "cover_mm"))
    sections = joint.sections(at)
    jacobian = np.zeros((len(at), unknowns.size))
    for name, gain in sections.needed_change(cover).items():
        spline = joint.spline_h if name[0] == "h" else joint.spline_s
        jacobian[:, unknowns.section[name]] = gain[:, None] * spline.matrix(at)
    miss = sections.setting_needed(cover) - np.array([r.setting_mm for r in readings])
    white = whitener(against_photographs(readings))
    used = np.flatnonzero(np.any(jacobian != 0, axis=0))
    equations.add(used, white @ jacobian[:, used], white @ miss, 1.0)


def _add_priors(equations: Equations, unknowns: Unknowns, joint: Joint, beliefs: Beliefs) -> None:
    """Rows of what is believed of lenses, outlines' shifts, cards and the wall."""
    priors = beliefs.priors
    each: list[tuple[int, float, float]] = []  # column, residual, sd
    for i, (lens, now) in enumerate(zip(beliefs.lenses, joint.lenses, strict=True)):
        at = unknowns.lens + 2 * i
        off = np.log(now.focal_px / lens.focal_px)
        each += [(at, off, lens.u_focal_px / lens.focal_px), (at + 1, now.k1 - lens.k1, lens.u_k1)]
    for b, shift in enumerate(x for photo in joint.photos for x in photo.shift_px):
        each.append((unknowns.shift + b, shift, priors.bias_px))
    for k, card_ in enumerate(joint.cards):
        each += _card_priors(unknowns, k, card_, priors)
        if card_.hung_on != "free":
            _add_standoff(equations, unknowns, joint, k, beliefs)
    equations.add_each(each)
    if priors.wall_mm is not None and (through := through_wall(joint)) is not None:
        share, mm = through
        nails = np.array([unknowns.card_at(k) + 2 for k in range(len(joint.cards))])
        equations.add_one(nails, mm - priors.wall_mm, priors.u_wall_mm, share)


def _card_priors(
    unknowns: Unknowns, k: int, hung: HungCard, priors: Priors
) -> Iterator[tuple[int, float, float]]:
    """Column, value and sd of each number that tells how the k-th card hangs."""
    at, free = unknowns.card_at(k), hung.hung_on == "free"
    if k == 0:
        yield from ((at + a, hung.nail_mm[a], U_ORIGIN_MM) for a in range(3))
    plumb, yaw = (FREE_RAD, FREE_RAD) if free else (priors.plumb_rad, priors.yaw_rad)
    yield from ((at + 3 + a, hung.tilt_rad[a], sd) for a, sd in enumerate((plumb, yaw, plumb)))
    for photo, swing in hung.swing_rad.items():
        first = unknowns.swing[k, photo]
        yield from ((first + a, swing[a], priors.swing_rad) for a in range(3))


def _add_standoff(
    equations: Equations, unknowns: Unknowns, joint: Joint, k: int, beliefs: Beliefs
) -> None:
    """The nail stands before the log's axis by the half diameter and a few mm."""
    c, at, priors = joint.cards[k], unknowns.card_at(k), beliefs.priors
    log, tag = ("upper", "u") if c.hung_on == "upper" else ("lower", "l")
    first, w = joint.spline_s.weights(c.nail_mm[:1])
    z_axis = float(lookup(joint.coefficients["z_" + tag], first, w)[0])
    out = 1.0 if c.side == "outside" else -1.0
    columns = [at + 2, *(unknowns.section["z_" + tag].start + first[0] + np.arange(4))]
    values = [out, *(-out * w[0])]
    half = beliefs.half[log]
    u = np.hypot(priors.u_standoff_mm, priors.u_face_mm)
    if half is not None:
        radius = float(half(c.nail_mm[:1])[0])
    else:
        radius = float(lookup(joint.coefficients["r_" + tag], first, w)[0])
        columns += [*(unknowns.section["r_" + tag].start + first[0] + np.arange(4))]
        values += [*(-w[0])]
        u = np.hypot(u, U_UNTAPED_FACE_MM)
    standoff = priors.standoff_mm + HALF_CARD_MM * abs(np.sin(c.tilt_rad[1]))
    off = out * (c.nail_mm[2] - z_axis) - radius - standoff
    equations.add_one(np.array(columns), off, u, np.array(values))
