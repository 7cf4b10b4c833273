"""The second network, ``lines.onnx``: where in each column the limb lies. See `gapvision.trace.limbs`."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from gapvision.trace.labels import FRONT
from gapvision.trace.limbs import STRIP_ROWS, by_columns, cut_strip
from gapvision.trace.training.layers import layer
from gapvision.trace.training.samples import IGNORE, Sample
from gapvision.trace.training.vary import vary, waves

CROP = (384, 640)
CHANNELS = (16, 32, 64, 96)  # processors take sixteen at a time
LEAST_COLUMNS = 60  # of a crop in which the outline is known
LEAST_TRUE = 20  # columns of a strip that can be learned
OPEN_ROWS = 1.0
FREE_ROWS = (-3, -1, 1, 3)  # about the outline: nothing stands before it there
EDGE_ROWS = 1.5


def examples(s: Sample, samples: list[Sample], rng: np.random.Generator) -> list[tuple]:
    """Strips along both outlines of a crop: input (6, STRIP_ROWS, n), true row (n,), known (n,)."""
    x, label, lines = vary(s, samples, rng, CROP)
    columns = x.shape[2]
    j = np.arange(columns)
    known = np.isfinite(lines).all(0)
    if known.sum() < LEAST_COLUMNS:
        return []
    out = []
    for line, sign in zip(lines, (1.0, -1.0), strict=True):
        true = np.interp(j, j[known], line[known])
        base = _near(true, rng)
        row = sign * (true - base) + STRIP_ROWS / 2 - 0.5
        beside = np.clip(np.rint(true)[None] + np.array(FREE_ROWS)[:, None], 0, len(label) - 1)
        beside = label[beside.astype(int), j]
        good = known & (lines[1] - lines[0] > OPEN_ROWS)
        good &= ((beside != FRONT) & (beside != IGNORE)).all(0)
        good &= np.abs(row - STRIP_ROWS / 2) < STRIP_ROWS / 2 - EDGE_ROWS
        good = by_columns(good) == 1
        if good.sum() >= LEAST_TRUE:
            strip = cut_strip(x, base, sign).astype(np.float32)
            out.append((strip, by_columns(row).astype(np.float32), good))
    return out


def _near(true: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A smooth line beside the true one, as wrong labels would have it: near, or up to 20 mm off."""
    off = rng.normal(0, 4) if rng.random() < 0.6 else rng.uniform(-20, 20)
    smooth = cv2.GaussianBlur(true[None].astype(np.float32), (0, 0), rng.uniform(10, 60))[0]
    return smooth + off + waves(len(true), rng.uniform(30, 150), rng.uniform(0, 6), rng)


def losses(net, x, row, good):
    """Cross entropy (n, columns) of the true rows, shared by the two next to each, and its weight."""
    import torch

    log_p = torch.log_softmax(net(x).float(), 1)
    low = row.floor().clamp(0, STRIP_ROWS - 2).long()
    part = (row - low).clamp(0, 1)
    at = [torch.gather(log_p, 1, k[:, None])[:, 0] for k in (low, low + 1)]
    return -(at[0] * (1 - part) + at[1] * part), good.float()


def build_network():
    """A small U-net that keeps single cells, with a long reach along the log; about 593,000 weights."""
    from torch import cat, nn

    a, b, c, d = CHANNELS

    class Net(nn.Module):
        def __init__(self):
            super().__init__()
            self.e0 = nn.Sequential(layer(6, a), layer(a, a))
            self.e1 = nn.Sequential(layer(a, b), layer(b, b, 1, (1, 2)))
            self.e2 = nn.Sequential(layer(b, c), layer(c, c, 1, (1, 2)))
            self.e3 = nn.Sequential(
                layer(c, d),
                *(layer(d, d, 1, spread) for spread in ((1, 2), (1, 4), (1, 8), (2, 16))),
            )
            self.p = nn.MaxPool2d(2)
            self.u2, self.d2 = nn.ConvTranspose2d(d, c, 2, 2), layer(2 * c, c, 1, (1, 2))
            self.u1, self.d1 = nn.ConvTranspose2d(c, b, 2, 2), layer(2 * b, b)
            self.u0, self.d0 = nn.ConvTranspose2d(b, a, 2, 2), layer(2 * a, a)
            self.out = nn.Conv2d(a, 1, 1)

        def forward(self, x):
            x0 = self.e0(x)
            x1 = self.e1(self.p(x0))
            x2 = self.e2(self.p(x1))
            y = self.d2(cat([self.u2(self.e3(self.p(x2))), x2], 1))
            y = self.d1(cat([self.u1(y), x1], 1))
            return self.out(self.d0(cat([self.u0(y), x0], 1)))[:, 0]

    return Net()


def write_onnx(net, path: Path) -> None:
    """The network as `gapvision.trace.limbs` reads it, for strips of any length."""
    import torch

    torch.onnx.export(
        net.eval(), torch.zeros(2, 6, STRIP_ROWS, 512), path, input_names=["x"],
        output_names=["y"], dynamic_axes={"x": {0: "n", 3: "w"}, "y": {0: "n", 2: "w"}},
        opset_version=17, dynamo=False,
    )  # fmt: skip
