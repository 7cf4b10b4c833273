"""The layer that both networks are made of."""

from __future__ import annotations


def layer(inputs: int, outputs: int, stride: int = 1, spread: tuple[int, int] = (1, 1)):
    """A 3 x 3 convolution, its cells ``spread`` apart, batch normalisation and a ramp."""
    from torch import nn

    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, spread, spread, bias=False),
        nn.BatchNorm2d(outputs), nn.ReLU(),
    )  # fmt: skip
