"""The first network, ``tracer.onnx``: what each cell of the band shows. See `gapvision.trace.outlines`."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from gapvision.trace.training.layers import layer
from gapvision.trace.training.samples import IGNORE, Sample
from gapvision.trace.training.vary import vary

CROP = (384, 320)  # rows and columns of a training sample, cells
CHANNELS = (16, 32, 64, 96)  # processors take sixteen at a time: 12 cost as much
FINE = 32  # channels beside them that keep what is narrower than two cells


def examples(s: Sample, samples: list[Sample], rng: np.random.Generator) -> list[tuple]:
    """One crop of a photograph: input (6, rows, columns), label and weight (rows, columns)."""
    x, label, lines = vary(s, samples, rng, CROP)
    return [(x, label, _weight(label, lines))]


def _weight(label: np.ndarray, lines: np.ndarray) -> np.ndarray:
    """What each cell (rows, columns) counts in training: most beside the outlines."""
    r = np.arange(len(label))[:, None]
    near = np.nan_to_num(np.fmin(*np.abs(r - lines[:, None])), nan=99.0)
    weight = 1 + 3 * np.exp(-near / 12) + 4 * np.exp(-near / 3)
    return weight.astype(np.float32)


def losses(net, x, label, weight):
    """Cross entropy and weight of each sample's cells, (n, rows, columns)."""
    from torch.nn.functional import cross_entropy

    entropy = cross_entropy(net(x).float(), label, ignore_index=IGNORE, reduction="none")
    return entropy, (label != IGNORE) * weight


def build_network():
    """A small U-net: four halvings, long reach along the log; about 527,000 weights.

    Its last step looks at the picture once more, with channels enough to tell the cells of a 2 mm
    place apart: a strip of far wall under the near log's limb may be no wider than that.
    """
    from torch import cat, nn

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


def write_onnx(net, path: Path) -> None:
    """The network as `outlines` reads it, for bands of any size."""
    import torch

    torch.onnx.export(
        net.eval(), torch.zeros(1, 6, 384, 1536), path, input_names=["x"],
        output_names=["y"], dynamic_axes={"x": {2: "h", 3: "w"}, "y": {2: "h", 3: "w"}},
        opset_version=17, dynamo=False,
    )  # fmt: skip
