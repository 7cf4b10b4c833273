"""Photographs whose truth is known, as bands with their labels and outlines: what training reads.

    python -m gapvision.trace.training.bands PHOTOGRAPHS BANDS

A ``truth.json`` beside the photographs of a joint describes the logs' surfaces, the cards and the
shots.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from gapvision.scene import card
from gapvision.scene.camera import FACING, Camera, rotation
from gapvision.trace.network import FRONT, GAP, LOWER, UPPER, sight_slope
from gapvision.trace.rectified import CELL_MM, Band, cut_band, visible_stretch
from gapvision.trace.traced_photo import ABOVE_CROWN_MM, BACKING_MM, BEYOND_CROWN_MM

IGNORE = 255
STRIP_MM = 220.0
LEVEL_SLOPE = 0.02  # of sight; below it either log may be the nearer one where they meet
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
    x = camera.centre_mm[0] + np.arange(-2000, 2001, 2.0)
    column = np.arange(0, camera.size[0], 2.0)
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
    rim = outline + BACKING_MM * np.sign(outline - outline.mean(0))
    return nail + np.concatenate([rim, np.zeros((4, 1))], 1) @ axes.T


def make_sample(
    bgr: np.ndarray, truth: dict, shot: dict, rng: np.random.Generator, cell_mm: float = CELL_MM
) -> Sample:
    """One photograph's band, cut as the program would with a pose a little wrong, and its labels.

    In smaller cells than `CELL_MM` it is a strip along the joint, as `gapvision.trace.looks` cuts it.
    """
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
    nail = float(np.median([p[:, 1].max() - BACKING_MM for p in polygons]))
    if on_lower:
        expected, above, below = nail + half, BEYOND_CROWN_MM, ABOVE_CROWN_MM
    else:
        expected, above, below = nail - half, ABOVE_CROWN_MM, BEYOND_CROWN_MM
    z = rng.normal(0, 10)
    top, bottom = expected + above, expected - below
    outlines = {log: silhouette(truth[log], exact, log == "lower") for log in ("upper", "lower")}
    if cell_mm < CELL_MM:
        middle = np.median(camera.plane_point(np.concatenate([*outlines.values()]), z)[:, 1])
        top, bottom = middle + STRIP_MM / 2, middle - STRIP_MM / 2
    stretch = visible_stretch(camera, expected, z)
    band, picture = cut_band(bgr, camera, z, stretch, top, bottom, [], cell_mm)
    band.hidden[:] = _on_cards(band, exact, polygons)
    columns = picture.shape[1]
    line = {}
    for log, outline in outlines.items():
        c, r = band.from_image(outline)
        line[log] = np.interp(
            np.arange(columns), c[np.argsort(c)], r[np.argsort(c)], left=np.nan, right=np.nan
        )
    label = _labels(line["upper"], line["lower"], sight_slope(band))
    label[_in_front(truth, band, exact)] = FRONT
    label[band.hidden | ~band.seen] = IGNORE
    label[:, _past_the_ends(truth, band)] = IGNORE
    part = _rendered(shot, band)
    return Sample(
        picture[:, part], (band.hidden | ~band.seen)[:, part], band.seen[:, part],
        label[:, part], line["upper"][part], line["lower"][part], (top - expected) / cell_mm,
        sight_slope(band),
    )  # fmt: skip


def _on_cards(band: Band, camera: Camera, polygons: list[np.ndarray]) -> np.ndarray:
    """Cells (rows, columns), bool, that cards hide; these the program places to a millimetre."""
    mask = np.zeros(band.seen.shape, np.uint8)
    for polygon in polygons:
        column, row = band.from_image(camera.project(polygon))
        cv2.fillPoly(mask, [np.rint(np.stack([column, row], 1)).astype(np.int32)], 1)
    return mask > 0


def _past_the_ends(truth: dict, band: Band) -> np.ndarray:
    """Columns (n,), bool, in which the logs end past a crossing wall, or where that begins to show."""
    past = np.zeros(band.seen.shape[1], bool)
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
    mask = np.zeros(band.seen.shape, np.uint8)
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
    from gapvision.photo.photo import load_photo

    samples = []
    for path in sorted(folder.glob("*/truth.json")):
        truth = json.loads(path.read_text())
        for shot in truth.get("shots", []):
            bgr = load_photo(path.parent / shot["file"]).bgr
            samples.append(make_sample(bgr, truth, shot, rng))
    return samples


def save(sample: Sample, path: Path) -> None:
    """Write a band as `rendered.Bands` reads it."""
    np.savez(
        path, bgr=sample.bgr, label=sample.label, blind=sample.blind.astype(np.uint8),
        limb=np.stack([sample.upper_row, sample.lower_row]).astype(np.float32),
        expected=np.float32(sample.expected_row), slope=sample.slope.astype(np.float32),
    )  # fmt: skip


def main() -> None:
    """Cut every photograph's band below a folder."""
    source, out = (Path(a) for a in sys.argv[1:3])
    out.mkdir(parents=True, exist_ok=True)
    for k, sample in enumerate(load_samples(source, np.random.default_rng(1))):
        save(sample, out / f"{k:05}.npz")


if __name__ == "__main__":
    main()
