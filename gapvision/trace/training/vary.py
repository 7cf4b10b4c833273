"""One photograph in many lights: what the renders lack is changed at random for training."""

from __future__ import annotations

import cv2
import numpy as np

from gapvision.trace.labels import FRONT, GAP, HEIGHT_UNIT_MM, LOWER, UPPER
from gapvision.trace.rectified import CELL_MM
from gapvision.trace.training.samples import IGNORE, Sample

CHANGED = 0.5  # share of samples with other backgrounds, woods, shadows, marks and straps
SQUEEZED = 0.35  # share of the changed samples whose upper log is let down
LIGHT = (np.arange(256) / 255).astype(np.float32) ** np.float32(2.2)


def vary(s: Sample, samples: list[Sample], rng: np.random.Generator, crop: tuple[int, int]):
    """A random crop in another light: input (6, rows, columns), label, both lines' rows (2, columns).

    What is changed is what the renders lack: other things behind the gap, other wood on either log,
    shadow edges along the logs, cracks and bark strips, straps and posts, other cameras' colours.
    """
    rows, columns = crop
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
    label = np.where(blind, IGNORE, label)
    lines = np.stack([upper, lower])
    if rng.random() < 0.5:
        x, label, lines = x[:, :, ::-1], label[:, ::-1], lines[:, ::-1]
    return np.ascontiguousarray(x), label.astype(np.int64), lines.astype(np.float32)


def waves(n: int, length: float, amplitude: float, rng) -> np.ndarray:
    """A random smooth line (n,) of about this wave length and this standard deviation."""
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
        edge = base + waves(columns, rng.uniform(10, 80), rng.uniform(0, 8), rng)
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
        line = rng.uniform(0, rows) + waves(columns, 20, 2, rng)
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
