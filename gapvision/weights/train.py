"""Train the tracer's network on photographs whose truth is known, and write ``tracer.onnx``.

    python -m gapvision.weights.train FOLDER --seconds 1200 --out tracer

FOLDER holds one folder a joint, each with photographs and a ``truth.json`` that describes the logs'
surfaces, the cards and the shots. PyTorch (tried with 2.13) and onnx are needed to train, and for
nothing else.
`RECORD.md` beside this file tells what the shipped weights were trained on.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from gapvision import card
from gapvision.band import CELL_MM, Band, cut_band, visible_stretch
from gapvision.outlines import FRONT, GAP, HEIGHT_UNIT_MM, LOWER, UPPER, sight_slope
from gapvision.photo import load_photo
from gapvision.rays import FACING, Camera, rotation
from gapvision.sight import ABOVE_CROWN_MM, BEYOND_CROWN_MM

IGNORE = 255
CROP = (384, 320)  # rows and columns of a training sample, cells
BATCH = 8
CHANGED = 0.5  # share of samples with other backgrounds, woods, shadows, marks and straps
CHANNELS = (16, 32, 64, 96)  # processors take sixteen at a time: 12 cost as much
FINE = 32  # channels beside them that keep what is narrower than two cells
PEAK_RATE = 2e-3
EASY = 0.5  # share of samples drawn alike from all photographs; the rest by their running loss
MEMORY = 0.2
LEVEL_SLOPE = 0.02  # of sight; below it either log may be the nearer one where they meet
SQUEEZED = 0.35  # share of the changed samples whose upper log is let down
WARM_STEPS = 60
KEEP_STEPS = 150  # the weights are written so often, should the training be cut short
LIGHT = (np.arange(256) / 255).astype(np.float32) ** np.float32(2.2)
LOGS_PAST_CROSSING_MM, END_SHOWS_MM = 450.0, 150.0  # the studio's logs; what parallax adds
TRUTH_NAIL_BELOW_TOP_MM = 0.0  # truth.json gives the middle of the card's top edge


@dataclass(frozen=True, eq=False, slots=True)
class Sample:
    """One band with its labels (rows, columns) and the true outlines' rows (columns,)."""

    bgr: np.ndarray
    blind: np.ndarray
    seen: np.ndarray
    label: np.ndarray
    upper_row: np.ndarray
    lower_row: np.ndarray
    expected_row: float
    slope: np.ndarray  # (rows,)


# ---- truth -----------------------------------------------------------------------------------


def axis(log: dict, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Height and place across the wall of a log's axis at x, mm."""
    metres = np.asarray(x, float) / 1000
    return (
        log["y"] + log["slope_y"] * np.asarray(x, float) + log["bow_y"] * metres**2,
        log["z"] + log["bow_z"] * metres**2,
    )


def radius(log: dict, x: np.ndarray, theta: np.ndarray) -> np.ndarray:
    """Distance of a log's surface from its axis; theta 0 is up, 90 degrees towards +z."""
    r = (log["radius"] + log["taper"] * x) * (
        1 + log["oval"] * np.cos(2 * (theta - log["oval_at"]))
    )
    for amplitude, length, phase, order in log["waves"]:
        r = r + amplitude * np.sin(2 * np.pi * x / length + phase + order * theta)
    for b in log["bumps"]:
        around = np.angle(np.exp(1j * (theta - b["theta"])))
        r = r + b["height"] * np.exp(
            -0.5 * ((x - b["x"]) / b["sx"]) ** 2 - 0.5 * (around / b["st"]) ** 2
        )
    return r


def true_camera(truth: dict, shot: dict) -> Camera:
    """The shot's camera in the world of truth.json (station 0 of the photographs is elsewhere)."""
    x = shot["x"]
    low, up = truth["lower"], truth["upper"]
    top = axis(low, x)[0] + radius(low, np.array(x), np.array(0.0))
    under = axis(up, x)[0] - radius(up, np.array(x), np.array(np.pi))
    out = 1.0 if shot["side"] == "outside" else -1.0
    yaw = np.radians(shot["yaw"] + (0.0 if out > 0 else 180.0))
    pitch, roll = np.radians([shot["pitch"], shot["roll"]])
    world_from_view = (
        rotation(np.array([0, yaw, 0]))
        @ rotation(np.array([pitch, 0, 0]))
        @ rotation(np.array([0, 0, roll]))
    )
    focal = shot["focal35"] / 36 * max(shot["width"], shot["height"])
    return Camera(
        FACING["outside"] @ world_from_view.T,
        np.array([x, 0.5 * float(top + under) + shot["up"], out * shot["distance"]]),
        focal, shot["k1"], (shot["width"], shot["height"]),
    )  # fmt: skip


def silhouette(log: dict, camera: Camera, top: bool) -> np.ndarray:
    """Image points (n, 2) of a log's outline: the extreme of its surface curves in each column."""
    theta = np.radians(np.linspace(-60, 60, 241)) + (0.0 if top else np.pi)
    x = camera.centre_mm[0] + np.arange(-2500, 2501, 5.0)
    column = np.arange(0, camera.size[0], 4.0)
    best = None
    y0, z0 = axis(log, x)
    for t in theta:
        r = radius(log, x, np.full_like(x, t))
        px = camera.project(np.stack([x, y0 + r * np.cos(t), z0 + r * np.sin(t)], -1))
        px = px[np.argsort(px[:, 0])]
        v = np.interp(column, px[:, 0], px[:, 1], left=np.nan, right=np.nan)
        best = v if best is None else (np.fmin(best, v) if top else np.fmax(best, v))
    ok = np.isfinite(best)
    return np.stack([column[ok], best[ok]], 1)


def card_corners(truth: dict, c: dict) -> np.ndarray:
    """World outline (4, 3) of a hanging card with a rim for its backing."""
    log = truth[c["log"]]
    out = 1.0 if c["outside"] else -1.0
    near = c["x"] + np.linspace(-0.5, 0.5, 41) * c["width"]
    face = np.max(out * axis(log, near)[1] + radius(log, near, np.full(41, out * np.pi / 2)))
    nail = np.array(
        [c["x"], axis(log, c["x"])[0] if c["y"] is None else c["y"], out * (face + c["standoff"])]
    )
    yaw, pitch, roll = np.radians([c["yaw"], c["pitch"], c["roll"]])
    axes = (
        np.diag([out, 1, out])
        @ rotation(np.array([0, yaw, 0]))
        @ rotation(np.array([pitch, 0, 0]))
        @ rotation(np.array([0, 0, roll]))
    )
    outline = card.outline_mm() - [0, card.NAIL_BELOW_TOP_MM - TRUTH_NAIL_BELOW_TOP_MM]
    rim = outline + 3.0 * np.sign(outline - outline.mean(0))
    return nail + np.concatenate([rim, np.zeros((4, 1))], 1) @ axes.T


def make_sample(folder: Path, truth: dict, shot: dict, rng: np.random.Generator) -> Sample:
    """One photograph's band, cut as the program would with a pose a little wrong, and its labels."""
    bgr = load_photo(folder / shot["file"]).bgr
    exact = true_camera(truth, shot)
    camera = Camera(
        rotation(rng.normal(0, 0.006, 3)) @ exact.camera_from_world,
        exact.centre_mm + rng.normal(0, 6, 3), exact.focal_px * np.exp(rng.normal(0, 0.01)), 0.0,
        exact.size,
    )  # fmt: skip
    cards = [c for c in truth["cards"] if c["outside"] == (shot["side"] == "outside")]
    polygons = [card_corners(truth, c) for c in cards]
    on_lower = cards[0]["log"] == "lower"
    half = np.mean(truth["diameters_mm"]["lower" if on_lower else "upper"]) / 2 + rng.normal(0, 8)
    nail = float(np.median([p[:, 1].max() - 3.0 for p in polygons]))
    if on_lower:
        expected, above, below = nail + half, BEYOND_CROWN_MM, ABOVE_CROWN_MM
    else:
        expected, above, below = nail - half, ABOVE_CROWN_MM, BEYOND_CROWN_MM
    z = rng.normal(0, 10)
    band = cut_band(
        bgr, camera, z, visible_stretch(camera, expected, z), expected + above, expected - below,
        polygons,
    )  # fmt: skip
    rows, columns = band.bgr.shape[:2]
    line = {}
    for log, top in (("upper", False), ("lower", True)):
        c, r = band.from_image(silhouette(truth[log], exact, top))
        line[log] = np.interp(
            np.arange(columns), c[np.argsort(c)], r[np.argsort(c)], left=np.nan, right=np.nan
        )
    label = _labels(line["upper"], line["lower"], sight_slope(band))
    label[_in_front(truth, band, exact)] = FRONT
    label[band.hidden | ~band.seen] = IGNORE
    label[:, _past_the_ends(truth, band)] = IGNORE
    part = _rendered(shot, band)
    return Sample(
        band.bgr[:, part], (band.hidden | ~band.seen)[:, part], band.seen[:, part],
        label[:, part], line["upper"][part], line["lower"][part], above / CELL_MM,
        sight_slope(band),
    )  # fmt: skip


def _past_the_ends(truth: dict, band: Band) -> np.ndarray:
    """Columns (n,), bool, in which the logs end past a crossing wall, or where that begins to show."""
    past = np.zeros(band.bgr.shape[1], bool)
    for x in truth.get("crossing", []):
        outwards = np.sign(x)
        past |= outwards * (band.stations() - x) > LOGS_PAST_CROSSING_MM - END_SHOWS_MM
    return past


def _rendered(shot: dict, band: Band) -> slice:
    """Columns of the band that were rendered: all, or the ``window`` of stations (mm) of a shot."""
    if not shot.get("window"):
        return slice(None)
    return slice(*np.searchsorted(band.stations(), shot["window"]))


def _labels(upper: np.ndarray, lower: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """Classes (rows, columns) by the outlines' rows (columns,) and the slope of sight (rows,).

    Where the outlines overlap the gap is shut. What shows there is the nearer limb's log: the upper
    one seen from above, the lower one from below.
    """
    r = np.arange(len(slope))[:, None]
    label = np.full((len(slope), len(upper)), GAP, np.uint8)
    label[r < np.minimum(upper, lower)] = UPPER
    label[r > np.maximum(upper, lower)] = LOWER
    nearer = np.where(slope > LEVEL_SLOPE, UPPER, np.where(slope < -LEVEL_SLOPE, LOWER, IGNORE))
    overlap = (r >= lower) & (r <= upper)
    label = np.where(overlap, nearer[:, None], label)
    label[:, ~np.isfinite(upper) | ~np.isfinite(lower)] = IGNORE
    return label.astype(np.uint8)


def _in_front(truth: dict, band: Band, camera: Camera) -> np.ndarray:
    """Where straps (``occluders``) or crossing logs (``crossing``) stand before the joint."""
    mask = np.zeros(band.bgr.shape[:2], np.uint8)
    shapes = []
    for q in truth.get("occluders", []):
        c, r, u = (np.array(q[k], float) for k in ("centre", "right", "up"))
        shapes.append(np.array([c - r - u, c + r - u, c + r + u, c - r + u]))
    for x in truth.get("crossing", []):
        low, up = truth["lower"], truth["upper"]
        y = axis(low, x)[0] + radius(low, np.array(x), np.array(0.0))
        turn = np.linspace(0, 2 * np.pi, 60)
        rim = 0.98 * low["radius"] * np.stack([np.cos(turn), np.sin(turn), 0 * turn], 1)
        front = max(low["radius"], up["radius"]) + 350.0
        shapes.append(np.concatenate([rim + [x, float(y), z] for z in (front, front / 2, 0.0)]))
    for points in shapes:
        hull = cv2.convexHull(camera.project(points).astype(np.float32)).reshape(-1, 2)
        c, r = band.from_image(hull.astype(float))
        cv2.fillPoly(mask, [np.rint(np.stack([c, r], 1)).astype(np.int32)], 1)
    return mask > 0


def load_samples(folder: Path, rng: np.random.Generator) -> list[Sample]:
    """Every photograph below a folder whose joint has a truth.json."""
    samples = []
    for path in sorted(folder.glob("*/truth.json")):
        truth = json.loads(path.read_text())
        for shot in truth.get("shots", []):
            samples.append(make_sample(path.parent, truth, shot, rng))
    return samples


# ---- variety ---------------------------------------------------------------------------------


def vary(s: Sample, samples: list[Sample], rng: np.random.Generator):
    """A random crop in another light: input (6, rows, columns), label, weight (rows, columns).

    What is changed is what the renders lack: other things behind the gap, other wood on either log,
    shadow edges along the logs, cracks and bark strips, straps and posts, other cameras' colours.
    """
    rows, columns = CROP
    x0 = int(rng.integers(0, max(1, s.label.shape[1] - columns + 1)))
    part = slice(x0, x0 + columns)
    short = columns - len(s.upper_row[part])
    pad = ((0, rows - s.label.shape[0]), (0, short))
    light = LIGHT[np.pad(s.bgr[:, part], (*pad, (0, 0)), mode="edge")]
    blind = np.pad(s.blind[:, part], pad, constant_values=True)
    seen = np.pad(s.seen[:, part], pad)
    label = np.pad(s.label[:, part], pad, constant_values=IGNORE)
    upper = np.pad(s.upper_row[part], (0, short), mode="edge")
    lower = np.pad(s.lower_row[part], (0, short), mode="edge")
    gamma = 2.2
    if rng.random() < CHANGED:  # the others stay nearly as they were photographed
        light, blind, label, upper = _lowered(light, blind, label, upper, lower, s.slope, rng)
        light = _other_background(light, label, upper, lower, samples, rng)
        light = _other_wood(light, label, rng)
        light = _shadows(light, label, upper, lower, rng)
        light = _marks(light, label, rng)
        light, label = _straps(light, label, rng)
        light = light * rng.uniform(0.85, 1.18, 3)
        if rng.random() < 0.4:
            light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), rng.uniform(0.3, 1.3))
        gamma = rng.uniform(1.8, 2.7)
    light = light.astype(np.float32)
    light *= (rng.uniform(0.6, 1.6) * rng.uniform(0.95, 1.05, 3)).astype(np.float32)
    image = np.clip(light, 0, 1) ** np.float32(1 / gamma)
    image += np.float32(rng.uniform(0, 0.015)) * rng.standard_normal(image.shape, np.float32)
    if rng.random() < 0.04:
        image = np.repeat(image.mean(-1, keepdims=True), 3, -1)
    image = np.clip(np.round(image * 255) / 255, 0, 1).astype(np.float32)
    luma = image.mean(-1)
    image = np.minimum(image / (np.percentile(luma[seen], 90) + 0.02 if seen.any() else 1), 2.0)
    image[blind] = 0
    height = (np.arange(rows) - s.expected_row - rng.normal(0, 20)) * CELL_MM / HEIGHT_UNIT_MM
    height = np.repeat(height[:, None], columns, 1) * (rng.random() > 0.15)
    slope = np.pad(s.slope, pad[0], mode="edge")
    slope = np.repeat(slope[:, None], columns, 1)
    x = np.concatenate([image.transpose(2, 0, 1), blind[None], height[None], slope[None]])
    x = x.astype(np.float32)
    r = np.arange(rows)[:, None]
    near = np.fmin(np.abs(r - upper), np.abs(r - lower))
    near = np.nan_to_num(near, nan=99.0)
    weight = 1 + 3 * np.exp(-near / 12) + 4 * np.exp(-near / 3)
    label = np.where(blind, IGNORE, label)
    if rng.random() < 0.5:
        x, label, weight = x[:, :, ::-1], label[:, ::-1], weight[:, ::-1]
    return np.ascontiguousarray(x), label.astype(np.int64), weight.astype(np.float32).copy()


def _waves(n: int, length: float, amplitude: float, rng) -> np.ndarray:
    noise = cv2.GaussianBlur(rng.standard_normal((1, n)), (0, 0), length)[0]
    return amplitude * noise / (noise.std() + 1e-6)


def _clouds(rows: int, columns: int, high: float, wide: float, rng) -> np.ndarray:
    small = rng.standard_normal((max(2, int(rows / high) + 3), max(2, int(columns / wide) + 3)))
    return cv2.resize(small, (columns, rows), interpolation=cv2.INTER_CUBIC)


def _lowered(light, blind, label, upper, lower, slope, rng):
    """The upper log let down until the gap is narrow or shut, in places or all along."""
    open_ = (lower - upper)[np.isfinite(lower - upper)]
    if rng.random() > SQUEEZED or len(open_) == 0 or np.median(open_) < 4:
        return light, blind, label, upper
    down = int(np.percentile(open_, rng.uniform(0, 100)) - rng.uniform(-6, 12))
    if down < 2:
        return light, blind, label, upper
    rows = len(label)
    moved = [np.concatenate([a[:1].repeat(down, 0), a[:-down]]) for a in (light, blind, label)]
    r = np.arange(rows)[:, None]
    upper = upper + down
    above = r < upper
    if np.median(slope) < 0:  # seen from below the lower log's limb is the nearer one
        above &= r < lower
    light = np.where(above[..., None], moved[0], light)
    blind, label = np.where(above, moved[1], blind), np.where(above, moved[2], label)
    return light, blind, label, upper


def _other_background(light, label, upper, lower, samples, rng):
    if rng.random() > 0.5:
        return light
    rows, columns = label.shape
    kind = rng.integers(5)
    if kind == 0:
        back = np.ones((rows, columns, 3)) * rng.uniform(0.005, 1.2, 3)
    elif kind == 1:  # the far wall, or anything else out of another band
        other = samples[rng.integers(len(samples))].bgr
        y = int(rng.integers(0, other.shape[0] - 120))
        piece = LIGHT[other[y : y + 120, :columns]]
        tall = rows if rng.random() < 0.5 else 120
        piece = cv2.resize(piece, (columns, tall), interpolation=cv2.INTER_LINEAR)
        back = np.tile(piece, (-(-rows // tall), 1, 1))[:rows]
    elif kind == 2:
        size = rng.uniform(3, 30), rng.uniform(3, 60)
        back = np.exp(_clouds(rows, columns, *size, rng))[..., None] * rng.uniform(0.02, 0.4, 3)
    elif kind == 3:  # foliage with openings of sky
        leaf = _clouds(rows, columns, rng.uniform(6, 30), rng.uniform(6, 40), rng) > rng.normal()
        back = np.where(leaf[..., None], rng.uniform(0.4, 1.3), rng.uniform(0.01, 0.2))
        back = back * rng.uniform(0.6, 1.1, 3)
    else:  # the same wood as the logs
        back = np.roll(light, int(rng.integers(40, 150)) * int(rng.choice([-1, 1])), 0)
    r = np.arange(rows)[:, None]
    if kind in (1, 4) and rng.random() < 0.7:  # a far wall lies in the shade of this one
        fall = rng.uniform(-1, 1) * np.tanh(
            (r - rng.uniform(*sorted((upper.min(), lower.max())))) / 40
        )
        back = back * np.exp(np.log(rng.uniform(0.1, 1.2)) + np.nan_to_num(fall))[..., None]
    hole = (label == GAP) & (r > upper - 0.5) & (r < lower + 0.5)
    soft = cv2.GaussianBlur(hole.astype(np.float32), (0, 0), 0.8)[..., None]
    return light * (1 - soft) + np.clip(back, 0, 1.3) * soft


def _other_wood(light, label, rng):
    if rng.random() < 0.5:
        for log in (UPPER, LOWER):
            if rng.random() < 0.6:
                tint = rng.uniform(0.4, 1.8) * rng.uniform(0.8, 1.25, 3)
                light = np.where((label == log)[..., None], light * tint, light)
    if rng.random() < 0.3:
        shade = _clouds(*label.shape, rng.uniform(8, 80), rng.uniform(20, 200), rng)
        light = light * np.exp(0.35 * shade)[..., None]
    return light


def _shadows(light, label, upper, lower, rng):
    rows, columns = label.shape
    r = np.arange(rows)[:, None]
    for _ in range(rng.integers(0, 4)):
        log = rng.choice([UPPER, LOWER])
        if rng.random() < 0.5:  # beside the limb, where it is mistaken for it
            deep = rng.uniform(3, 40)
            base = lower + deep if log == LOWER else upper - deep
        else:
            base = (lower if rng.random() < 0.6 else upper) + rng.uniform(-120, 120)
        edge = base + _waves(columns, rng.uniform(10, 80), rng.uniform(0, 8), rng)
        edge = edge + np.arange(columns) * rng.normal(0, 0.03)
        dark = 1 / (1 + np.exp(np.clip(-(r - edge) / rng.uniform(0.4, 6), -30, 30)))
        if rng.random() < 0.5:
            dark = 1 - dark
        fall = np.nan_to_num(1 - (1 - rng.uniform(0.25, 0.9)) * dark, nan=1.0)
        light = np.where((label == log)[..., None], light * fall[..., None], light)
    return light


def _marks(light, label, rng):
    if rng.random() > 0.25:
        return light
    rows, columns = label.shape
    r, c = np.arange(rows)[:, None], np.arange(columns)[None]
    for _ in range(rng.integers(1, 5)):
        a, b = sorted(rng.integers(0, columns, 2))
        line = rng.uniform(0, rows) + _waves(columns, 20, 2, rng)
        mark = (np.abs(r - line) < rng.uniform(0.6, 5)) & (c >= a) & (c < b)
        mark &= (label == UPPER) | (label == LOWER)
        light = np.where(mark[..., None], light * rng.uniform(0.05, 0.5), light)
    return light


def _straps(light, label, rng):
    if rng.random() > 0.25:
        return light, label
    rows, columns = label.shape
    r, c = np.arange(rows)[:, None], np.arange(columns)[None]
    for _ in range(rng.integers(1, 3)):
        across = c - rng.uniform(0, columns) - rng.normal(0, 0.3) * (r - rows / 2)
        strap = np.abs(across) < rng.uniform(3, 30)
        tint = rng.uniform(0.01, 0.9, 3) * (1 + 0.15 * _clouds(rows, columns, 6, 6, rng)[..., None])
        light = np.where(strap[..., None], np.clip(tint, 0, 1.2), light)
        label = np.where(strap & (label != IGNORE), FRONT, label)
    return light, label


# ---- network ---------------------------------------------------------------------------------


def build_network():
    """A small U-net: four halvings, long reach along the log; about 527,000 weights.

    Its last step looks at the picture once more, with channels enough to tell the cells of a 2 mm
    place apart: a strip of far wall under the near log's limb may be no wider than that.
    """
    from torch import cat, nn

    def layer(inputs, outputs, stride=1, spread=(1, 1)):
        return nn.Sequential(
            nn.Conv2d(inputs, outputs, 3, stride, spread, spread, bias=False),
            nn.BatchNorm2d(outputs), nn.ReLU(),
        )  # fmt: skip

    a, b, c, d = CHANNELS

    class Net(nn.Module):
        def __init__(self):
            super().__init__()
            self.e0, self.e0b = layer(6, a, 2), layer(a, a)
            self.e1 = nn.Sequential(layer(a, b, 2), layer(b, b))
            self.e2 = nn.Sequential(layer(b, c, 2), layer(c, c, 1, (1, 2)))
            self.e3 = nn.Sequential(
                layer(c, d, 2),
                layer(d, d, 1, (1, 2)),
                layer(d, d, 1, (1, 4)),
                layer(d, d, 1, (2, 8)),  # noqa: E501
            )
            self.u2, self.d2 = nn.ConvTranspose2d(d, c, 2, 2), layer(2 * c, c)
            self.u1, self.d1 = nn.ConvTranspose2d(c, b, 2, 2), layer(2 * b, b)
            self.u0, self.d0 = nn.ConvTranspose2d(b, a, 2, 2), layer(2 * a, a)
            self.out = nn.ConvTranspose2d(a, 4, 2, 2)
            self.f0 = nn.Sequential(nn.Conv2d(6, FINE, 4, 2, 1), nn.ReLU())
            self.f1, self.fine = layer(a + FINE, FINE, 1, (1, 2)), nn.ConvTranspose2d(FINE, 4, 2, 2)
            nn.init.zeros_(self.fine.weight), nn.init.zeros_(self.fine.bias)

        def forward(self, x):
            x0 = self.e0b(self.e0(x))
            x1 = self.e1(x0)
            x2 = self.e2(x1)
            y = self.d2(cat([self.u2(self.e3(x2)), x2], 1))
            y = self.d1(cat([self.u1(y), x1], 1))
            y = self.d0(cat([self.u0(y), x0], 1))
            return self.out(y) + self.fine(self.f1(cat([y, self.f0(x)], 1)))

    return Net()


def train(
    samples: list[Sample], seconds: float, out: Path, start: Path | None, seed: int, processes: int
) -> None:
    """Minimise the labels' cross entropy for some time; write ``out``.pt and ``out``.onnx.

    Each process varies and learns a batch of its own, and all go the mean of their steps: with one
    thread each they wait for each other no longer than a step.
    """
    cv2.setNumThreads(1)
    fork = multiprocessing.get_context("fork")  # the samples are shared, not copied
    with tempfile.TemporaryDirectory() as folder:
        shared = (processes, Path(folder) / "meeting", samples, seconds, out, start, seed)
        others = [fork.Process(target=_learn, args=(rank, *shared)) for rank in range(1, processes)]
        for other in others:
            other.start()
        _learn(0, *shared)
        for other in others:
            other.join()


def _learn(rank, processes, meeting, samples, seconds, out, start, seed) -> None:
    """One process of `train`; the first one writes."""
    import torch  # after the fork: its threads would not survive one
    import torch.distributed as group
    from torch.nn.functional import cross_entropy

    torch.set_num_threads(1)
    group.init_process_group(
        "gloo", init_method=f"file://{meeting}", rank=rank, world_size=processes
    )
    rng = np.random.default_rng([seed, rank])
    torch.manual_seed(seed)
    net = build_network().to(memory_format=torch.channels_last)
    if start:
        net.load_state_dict(torch.load(start), strict=False)  # layers it lacks begin anew
    weights = list(net.parameters())
    sizes = [w.numel() for w in weights]
    optimiser = torch.optim.AdamW(weights, PEAK_RATE, weight_decay=1e-4)
    half = torch.cpu.get_capabilities().get("amx_tile", False)  # elsewhere it is slower than whole
    hard = np.ones(len(samples))  # each photograph's running loss
    begun, losses = time.time(), []
    while (done := _agreed(group, (time.time() - begun) / seconds)) < 1:
        warm = min(1.0, (len(losses) + 1) / WARM_STEPS)
        for setting in optimiser.param_groups:
            setting["lr"] = PEAK_RATE * warm * (0.5 + 0.5 * np.cos(np.pi * done) + 0.01)
        share = EASY / len(samples) + (1 - EASY) * hard / hard.sum()  # the hard ones come oftener
        chosen = rng.choice(len(samples), BATCH, p=share / share.sum())
        varied = [vary(samples[k], samples, rng) for k in chosen]
        x, label, weight = (torch.from_numpy(np.stack(p)) for p in zip(*varied, strict=True))
        net.train()
        counted = (label != IGNORE) * weight
        with torch.autocast("cpu", torch.bfloat16, enabled=half):
            score = net(x.to(memory_format=torch.channels_last))
        entropy = cross_entropy(score.float(), label, ignore_index=IGNORE, reduction="none")
        loss = (entropy * counted).sum() / counted.sum()
        each = (entropy * counted).detach().sum((1, 2)) / counted.sum((1, 2)).clamp(min=1.0)
        hard[chosen] += MEMORY * (np.clip(each.numpy(), 0.01, 1.0) - hard[chosen])
        optimiser.zero_grad()
        loss.backward()
        step = torch.cat([w.grad.reshape(-1) for w in weights])
        group.all_reduce(step)
        for w, mean in zip(weights, (step / processes).split(sizes), strict=True):
            w.grad.copy_(mean.view_as(w.grad))
        torch.nn.utils.clip_grad_norm_(weights, 5.0)
        optimiser.step()
        losses.append(loss.item())
        if rank == 0 and len(losses) % 50 == 0:
            spent = f"{time.time() - begun:.0f} s"
            print(len(losses), spent, f"{np.mean(losses[-50:]):.4f}", flush=True)
        if rank == 0 and len(losses) % KEEP_STEPS == 0:
            torch.save(net.state_dict(), out.with_suffix(".pt"))
    for statistic in net.buffers():
        if statistic.is_floating_point():
            group.all_reduce(statistic)
            statistic /= processes
    if rank == 0:
        torch.save(net.state_dict(), out.with_suffix(".pt"))
        write_onnx(net, out.with_suffix(".onnx"))


def _agreed(group, done: float) -> float:
    """The first process's clock, by which all stop after the same step."""
    import torch

    clock = torch.tensor([done])
    group.broadcast(clock, 0)
    return float(clock)


def write_onnx(net, path: Path) -> None:
    """The network as `outlines` reads it, for bands of any size."""
    import torch

    torch.onnx.export(
        net.eval(), torch.zeros(1, 6, 384, 1536), path, input_names=["x"],
        output_names=["y"], dynamic_axes={"x": {2: "h", 3: "w"}, "y": {2: "h", 3: "w"}},
        opset_version=17, dynamo=False,
    )  # fmt: skip


def main() -> None:
    """Parse the command line and train."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )  # noqa: E501
    ask.add_argument("folder", type=Path, nargs="+")
    ask.add_argument("--seconds", type=float, default=1200)
    ask.add_argument("--out", type=Path, default=Path("tracer"))
    ask.add_argument("--start", type=Path)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--processes", type=int, default=2, help="one a core")
    a = ask.parse_args()
    rng = np.random.default_rng(a.seed)
    samples = [s for folder in a.folder for s in load_samples(folder, rng)]
    print(f"{len(samples)} photographs")
    train(samples, a.seconds, a.out, a.start, a.seed, a.processes)


if __name__ == "__main__":
    main()
