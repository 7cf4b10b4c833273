"""All photographs of a joint in one robust least squares: cards and outlines -> Joint.

Unknown are the cameras, the cards and both logs' sections along the wall (docs/model.md); observed
are card corners and outlines in pixels. A single photograph is the same fit with fewer rows.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.linalg import cho_solve, solve_triangular

from gapvision.errors import JointNotFitted
from gapvision.joint.model import (
    LEAST_RADIUS_MM,
    SECTION_NAMES,
    Joint,
    _graze,
    _lookup,
    through_wall,
)
from gapvision.joint.readings import GapReading, against_photographs
from gapvision.scene import card
from gapvision.scene.camera import Camera, Lens, rotation
from gapvision.scene.priors import Priors
from gapvision.scene.view import View

# Scale of the robust loss, in standard deviations, and damping.
ANNEAL = ((30.0, 1e-3), (6.0, 1e-4), (2.0, 1e-6), (2.0, 1e-8), (1.0, 1e-9))
REFINE = ANNEAL[2:]  # from a joint that is fitted already
STEPS = 6
SETTLED = 0.05  # a step that promises less than this of the (whitened) cost ends a scale

HALF_CARD_MM = card.CARD_WIDTH_MM / 2


def _turned(v: np.ndarray) -> np.ndarray:
    """Change (3, n, 3) of vectors (n, 3) with a small turn about each axis: axis x v."""
    x, y, z = v.T
    o = np.zeros_like(x)
    return np.stack([np.stack(m, 1) for m in ((o, -z, y), (z, o, -x), (-y, x, o))])


def _camera_columns(camera: Camera, at: dict, slope: np.ndarray) -> np.ndarray:
    """Change (n, 8) of an outline's residuals with turn (3), centre (3), log focal length and k1.

    Each moves the point of the ray beside the log: across the ray it changes the miss, and along
    the wall it meets another station, where the crown's height differs by its slope.
    """
    d, depth = at["d"], at["depth"]
    to_world = camera.camera_from_world
    n = d @ to_world.T  # direction in the camera, (x, y, 1)
    r2 = (n[:, :2] ** 2).sum(1)
    flat = n * [1, 1, 0]
    stretched = -depth[:, None] * (flat @ to_world)
    moves = np.concatenate([
        -depth[:, None] * (_turned(n) @ to_world),
        np.broadcast_to(np.eye(3)[:, None], (3, *d.shape)),
        [stretched, r2[:, None] * stretched],
    ])  # fmt: skip
    across = at["n_y"] * moves[..., 1] + at["n_z"] * moves[..., 2]
    along = moves[..., 0] - d[:, 0] / d[:, 2] * moves[..., 2]
    return (at["up"] * at["scale"] * (across - at["n_y"] * slope * along)).T


class _Layout:
    """Places of the unknowns in the vector."""

    def __init__(self, state: Joint) -> None:
        self.n_views, self.n_lenses, self.n_cards = (
            len(state.cameras), len(state.lenses), len(state.cards),
        )  # fmt: skip
        at = 6 * self.n_views
        self.lens = at
        at += 2 * self.n_lenses
        self.card = at
        at += 6 * self.n_cards
        self.swing: dict[tuple[int, int], int] = {}
        for k, c in enumerate(state.cards):
            for view in c.swing_rad:
                self.swing[k, view] = at
                at += 3
        self.bias = at
        at += 2 * self.n_views
        self.section: dict[str, slice] = {}
        self.section_start = at
        for name in SECTION_NAMES:
            n = len(state.coefficients[name])
            self.section[name] = slice(at, at + n)
            at += n
        self.size = at


def fit_joint(
    views: list[View],
    lenses: list[Lens],
    start: Joint,
    stated: dict,
    priors: Priors,
    readings: tuple[GapReading, ...] = (),
    anneal: tuple[tuple[float, float], ...] = ANNEAL,
) -> Joint:
    """The most likely joint for all views.

    Parameters
    ----------
    views, lenses : what was seen, and the priors of the lenses.
    start : Joint
        First cameras, cards and sections (`gapvision.joint.start`).
    stated : dict
        ``"upper"``/``"lower"`` -> function from stations (n,) mm to the stated radius (n,) mm, or None.
    readings : caliper readings and trial lines that enter as observations, and into the joint's draws.
    anneal : scales of the robust loss with their damping, the last one the answer's.

    Raises
    ------
    JointNotFitted
        Where nothing fits what was seen.
    """
    state = start
    for scale, damping in anneal:
        prior_rows = _section_priors(state, stated, priors)
        for _ in range(STEPS):
            normal, gradient, _ = _normal_equations(
                views, lenses, state, stated, priors, prior_rows, scale, readings
            )
            damped = normal + damping * np.diag(np.diag(normal))
            step = -cho_solve(_factor(damped), gradient)
            state = _moved(state, step)
            if float(-step @ gradient) < SETTLED:
                break
    return _finished(views, lenses, state, stated, priors, prior_rows, readings)


def _factor(normal: np.ndarray):
    """Lower Cholesky factor of the normal matrix, as `cho_solve` takes it."""
    try:
        return np.linalg.cholesky(normal), True
    except np.linalg.LinAlgError:
        raise JointNotFitted(
            "not-fitted",
            "What the photographs show fits no joint of two logs: look at the picture of each by "
            "itself, leave out the one that is wrong, or photograph the joint again.",
        ) from None


def _finished(views, lenses, state, stated, priors, prior_rows, readings) -> Joint:
    """The joint with its covariance and residuals; readings are left to its draws."""
    layout = _Layout(state)
    normal, gradient, cost = _normal_equations(
        views, lenses, state, stated, priors, prior_rows, ANNEAL[-1][0], ()
    )
    lower, _ = _factor(normal)
    shift = None
    if readings:
        shift = -cho_solve((lower, True), gradient)[layout.section_start :]
    pick = np.zeros((layout.size, layout.size - layout.section_start))
    pick[layout.section_start :] = np.eye(pick.shape[1])
    half = solve_triangular(lower, pick, lower=True)  # covariance = half.T @ half
    res, corners = [], []
    for view, camera in zip(views, state.cameras, strict=True):
        res.append({o.log: _graze(camera, o, state)[0] for o in view.outlines})
        index = len(corners)
        corners.append({})
        for s in view.sightings:
            c = next(c for c in state.cards if c.number == s.number)
            miss = camera.project(c.points(s.corner_id, index)) - s.corner_px
            corners[-1][s.number] = float(np.sqrt(np.mean(miss**2)))
    return replace(
        state, section_factor=half.T, residual_px=tuple(res), corner_px=tuple(corners), cost=cost,
        readings=readings, section_shift=shift,
    )  # fmt: skip


def _moved(state: Joint, step: np.ndarray) -> Joint:
    lay = _Layout(state)
    lenses = tuple(
        replace(
            lens,
            focal_px=lens.focal_px * np.exp(np.clip(step[lay.lens + 2 * i], -0.1, 0.1)),
            k1=lens.k1 + step[lay.lens + 2 * i + 1],
        )
        for i, lens in enumerate(state.lenses)
    )
    cameras = tuple(_posed(cam, step[6 * i : 6 * i + 6]) for i, cam in enumerate(state.cameras))
    cameras = tuple(
        replace(cam, focal_px=lenses[k].focal_px, k1=lenses[k].k1)
        for cam, k in zip(cameras, state.lens_of, strict=True)
    )
    cards = []
    for k, c in enumerate(state.cards):
        at = lay.card + 6 * k
        swing = {v: s + step[lay.swing[k, v] : lay.swing[k, v] + 3] for v, s in c.swing_rad.items()}
        cards.append(
            replace(
                c, nail_mm=c.nail_mm + step[at : at + 3],
                tilt_rad=c.tilt_rad + step[at + 3 : at + 6], swing_rad=swing,
            )
        )  # fmt: skip
    coefficients = {n: state.coefficients[n] + step[lay.section[n]] for n in SECTION_NAMES}
    for name in ("r_l", "r_u"):
        coefficients[name] = np.clip(coefficients[name], LEAST_RADIUS_MM, 600.0)
    bias = state.bias_px + step[lay.bias : lay.bias + 2 * lay.n_views].reshape(-1, 2)
    return replace(
        state, lenses=lenses, cameras=cameras, cards=tuple(cards), coefficients=coefficients,
        bias_px=bias,
    )  # fmt: skip


def _posed(camera: Camera, step: np.ndarray) -> Camera:
    return replace(
        camera,
        camera_from_world=rotation(step[:3]) @ camera.camera_from_world,
        centre_mm=camera.centre_mm + step[3:],
    )


def _normal_equations(views, lenses, state, stated, priors, prior_rows, scale, readings):
    """Normal matrix, gradient and cost of all rows, robust weights at the given scale."""
    lay = _Layout(state)
    normal = np.zeros((lay.size, lay.size))
    gradient = np.zeros(lay.size)
    cost = 0.0

    def add(columns, jacobian, residual, sd, robust):
        nonlocal cost
        r = residual / sd
        if robust:
            weight = 1 / (1 + (r / (robust * 2.0)) ** 2)
            cost += float((robust * 2.0) ** 2 * np.log1p((r / (robust * 2.0)) ** 2).sum())
        else:
            weight = np.ones_like(r)
            cost += float((r**2).sum())
        j = jacobian / np.asarray(sd)[..., None] if np.ndim(sd) else jacobian / sd
        wj = j * weight[:, None]
        normal[np.ix_(columns, columns)] += wj.T @ j
        gradient[columns] += wj.T @ r

    for i, (view, camera) in enumerate(zip(views, state.cameras, strict=True)):
        lens_at = lay.lens + 2 * view.lens
        pose_columns = [*range(6 * i, 6 * i + 6), lens_at, lens_at + 1]
        for outline in view.outlines:
            miss, at = _graze(camera, outline, state)
            which = 0 if outline.log == "lower" else 1
            miss = miss + state.bias_px[i, which]
            slope = _crown_slope(state, at)
            jac_pose = _camera_columns(camera, at, slope)
            n = len(miss)
            jac = np.zeros((n, lay.size))
            jac[:, pose_columns] = jac_pose
            jac[:, lay.bias + 2 * i + which] = 1.0
            tag, up, s = at["tag"], at["up"], at["scale"]
            rows = np.arange(n)[:, None]
            k = np.arange(4)
            for name, (first, w), value in (
                ("h_", at["h"], -up * at["n_y"] * s),
                ("z_", at["s"], -up * at["n_z"] * s),
                ("r_", at["s"], (at["n_y"] - 1) * s),
            ):
                jac[rows, lay.section[name + tag].start + first[:, None] + k] += value[:, None] * w
            used = np.flatnonzero(np.any(jac != 0, axis=0))
            add(used, jac[:, used], miss, outline.u_px, scale)
        for sight in view.sightings:
            k = next(j for j, c in enumerate(state.cards) if c.number == sight.number)
            _add_card(add, lay, i, k, sight, camera, state.cards[k], pose_columns, scale)
    _add_priors(add, lay, lenses, state, stated, priors)
    if readings:
        _add_readings(add, lay, state, readings)
    for columns_of, target, factor in prior_rows:
        columns = np.concatenate([np.arange(lay.size)[lay.section[n]] for n in columns_of])
        value = np.concatenate([state.coefficients[n] for n in columns_of])
        add(columns, factor, factor @ value - target, 1.0, None)
    return normal, gradient, cost


def _crown_slope(state: Joint, at: dict) -> np.ndarray:
    """Rise of the crown per mm of station, (n,), over one mm."""
    name = "h_" + at["tag"]
    a, b = (
        _lookup(state.coefficients[name], *state.spline_h.weights(at["station"] + e))
        for e in (-0.5, 0.5)
    )
    return b - a


def _add_card(add, lay, i, k, sight, camera, state, pose_columns, scale):
    """Rows of one card in one photograph."""
    points = state.points(sight.corner_id, i)
    turn = camera.camera_from_world
    q = (points - camera.centre_mm) @ turn.T
    n = q[:, :2] / q[:, 2:]
    r2 = (n**2).sum(1, keepdims=True)
    gain = camera.focal_px * (1 + camera.k1 * r2)
    miss = (camera.project(points) - sight.corner_px).ravel()
    # Moves (12, n, 3) of the points in the camera's frame: its turn and place, the nail, the tilt.
    shift = np.broadcast_to(turn.T[:, None], (3, *q.shape))
    tilts = [state.tilt_rad + 1e-5 * axis for axis in np.eye(3)]
    tilted = [replace(state, tilt_rad=tilt).points(sight.corner_id, i) for tilt in tilts]
    tilted = (np.stack(tilted) - points) @ turn.T / 1e-5
    moves = np.concatenate([_turned(q), -shift, shift, tilted])
    px = (moves[..., :2] - n * moves[..., 2:]) / q[:, 2:] * gain
    px = px.reshape(12, -1)
    lens = np.stack([(n * gain).ravel(), (n * r2 * camera.focal_px).ravel()])
    jac = [*px[:6], *lens, *px[6:]]
    at = lay.card + 6 * k
    columns = [*pose_columns, *range(at, at + 6)]
    if (k, i) in lay.swing:
        jac += jac[-3:]
        columns += range(lay.swing[k, i], lay.swing[k, i] + 3)
    add(np.array(columns), np.stack(jac, 1), miss, sight.u_px, max(scale, 2.0))


def _add_readings(add, lay, state, readings: tuple[GapReading, ...]):
    """A row for each reading: the setting needed at its station for its cover, the gap for none."""
    at, cover = (np.array([getattr(r, k) for r in readings]) for k in ("station_mm", "cover_mm"))
    sections = state.sections(at)
    jacobian = np.zeros((len(at), lay.size))
    for name, gain in sections.needed_change(cover).items():
        spline = state.spline_h if name[0] == "h" else state.spline_s
        jacobian[:, lay.section[name]] = gain[:, None] * spline.matrix(at)
    miss = sections.setting_needed(cover) - np.array([r.setting_mm for r in readings])
    white = _whitener(against_photographs(readings))
    used = np.flatnonzero(np.any(jacobian != 0, axis=0))
    add(used, white @ jacobian[:, used], white @ miss, 1.0, None)


def _add_priors(add, lay, lenses, state, stated, priors):
    def one(column, residual, sd, value=1.0):
        columns = np.atleast_1d(column)
        add(columns, np.atleast_2d(value), np.atleast_1d(residual), sd, None)

    for i, (lens, now) in enumerate(zip(lenses, state.lenses, strict=True)):
        at = lay.lens + 2 * i
        one(at, np.log(now.focal_px / lens.focal_px), lens.u_focal_px / lens.focal_px)
        one(at + 1, now.k1 - lens.k1, lens.u_k1)
    for b in range(2 * lay.n_views):
        one(lay.bias + b, state.bias_px.ravel()[b], priors.bias_px)
    for k, c in enumerate(state.cards):
        at = lay.card + 6 * k
        if k == 0:
            for a in range(3):  # the first nail is the origin of all stations
                one(at + a, c.nail_mm[a], 1e-3)
        plumb = priors.plumb_rad if c.hung_on != "free" else 0.6
        yaw = priors.yaw_rad if c.hung_on != "free" else 0.6
        for a, sd in ((0, plumb), (1, yaw), (2, plumb)):
            one(at + 3 + a, c.tilt_rad[a], sd)
        for view, swing in c.swing_rad.items():
            for a in range(3):
                one(lay.swing[k, view] + a, swing[a], priors.swing_rad)
        if c.hung_on != "free":
            _card_stands_off(one, lay, at, c, state, stated, priors)
    if priors.wall_mm is not None and (through := through_wall(state)) is not None:
        share, mm = through
        nails = np.array([lay.card + 6 * k + 2 for k in range(len(state.cards))])
        one(nails, mm - priors.wall_mm, priors.u_wall_mm, share)


def _card_stands_off(one, lay, at, c, state, stated, priors):
    """The nail stands before the log's axis by the half diameter and a few mm."""
    tag = "u" if c.hung_on == "upper" else "l"
    first, w = state.spline_s.weights(c.nail_mm[:1])
    z_axis = float(_lookup(state.coefficients["z_" + tag], first, w)[0])
    out = 1.0 if c.side == "outside" else -1.0
    columns = [at + 2, *(lay.section["z_" + tag].start + first[0] + np.arange(4))]
    values = [out, *(-out * w[0])]
    half = stated["upper" if tag == "u" else "lower"]
    u = np.hypot(priors.u_standoff_mm, priors.u_face_mm)
    if half is not None:
        radius = float(half(c.nail_mm[:1])[0])
    else:
        radius = float(_lookup(state.coefficients["r_" + tag], first, w)[0])
        columns += [*(lay.section["r_" + tag].start + first[0] + np.arange(4))]
        values += [*(-w[0])]
        u = np.hypot(u, 12.0)
    standoff = priors.standoff_mm + HALF_CARD_MM * abs(np.sin(c.tilt_rad[1]))
    one(np.array(columns), out * (c.nail_mm[2] - z_axis) - radius - standoff, u, np.array(values))


def _section_priors(state: Joint, stated: dict, priors: Priors):
    """Rows (names, target, factor) with residual = factor @ coefficients - target."""
    rows = []
    n_h = state.spline_h.size
    bend = np.zeros((n_h - 2, n_h))
    for k in range(n_h - 2):
        bend[k, k : k + 3] = (1, -2, 1)
    level = np.eye(n_h) / 500.0  # keeps the matrix regular; far wider than any log
    for name in ("h_l", "h_u"):
        rows.append(((name,), np.zeros(n_h - 2), bend / priors.bend_mm))
        rows.append(((name,), level @ state.coefficients[name], level))
    at = state.spline_s.centres()
    for tag, log in (("l", "lower"), ("u", "upper")):
        half = stated[log]
        if half is not None:
            mean, cov = (
                half(at),
                _smooth(at, priors.radius_mm, 0.0, priors.radius_wave_mm, priors.wave_mm),
            )  # noqa: E501
        else:
            # In the logarithm, straight about where the fit stands: a radius a quarter of the usual
            # one is as unlikely as four times that.
            now = float(state.coefficients["r_" + tag].mean())
            mean = np.full(len(at), now * (1 - np.log(now / priors.unknown_radius_mm)))
            u = now * priors.u_unknown_radius_mm / priors.unknown_radius_mm
            cov = _smooth(at, u, 0.008, priors.radius_wave_mm, priors.wave_mm)
        f = _whitener(cov)
        rows.append((("r_" + tag,), f @ mean, f))
    f = _whitener(
        _smooth(at, 300.0, 1e-5, priors.bow_mm, 500.0)
    )  # its mean direction is the wall's
    rows.append((("z_l",), f @ np.full(len(at), -180.0), f))
    f = _whitener(_smooth(at, priors.offset_mm, priors.offset_slope, priors.bow_mm, 500.0))
    rows.append((("z_u", "z_l"), np.zeros(len(at)), np.concatenate([f, -f], 1)))
    return rows


def _smooth(at, constant, slope, wave, length):
    """Covariance of a function known as a constant, a slope about the middle and smooth waves."""
    d = at[:, None] - at[None]
    x = at - at.mean()
    return (
        constant**2
        + slope**2 * np.outer(x, x)
        + wave**2 * np.exp(-0.5 * (d / length) ** 2)
        + 0.05**2 * np.eye(len(at))
    )


def _whitener(covariance: np.ndarray) -> np.ndarray:
    return np.linalg.inv(np.linalg.cholesky(covariance))
