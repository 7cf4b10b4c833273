"""Random numbers and smooth noise for a batch of samples, on whatever device the batch is made on."""

from __future__ import annotations

import math
import random

import torch
import torch.nn.functional as F


class Chance:
    """Draws for n samples at once; a draw has the shape (n, 1, 1), to spread over rows and columns.

    Lengths are in mm, of which a cell has ``cell_mm``.
    """

    def __init__(self, n: int, device, cell_mm: float = 1.0) -> None:
        self.n, self.device, self.cell_mm = n, device, cell_mm

    def uniform(self, low: float, high: float) -> torch.Tensor:
        """Evenly between two bounds."""
        return low + (high - low) * torch.rand(self.n, 1, 1, device=self.device)

    def scale(self, low: float, high: float) -> torch.Tensor:
        """Between two bounds, evenly in its logarithm."""
        return torch.exp(self.uniform(math.log(low), math.log(high)))

    def normal(self, sd: float = 1.0) -> torch.Tensor:
        """Normal about 0."""
        return sd * torch.randn(self.n, 1, 1, device=self.device)

    def yes(self, share: float) -> torch.Tensor:
        """1.0 in a share of the samples, 0.0 in the others."""
        return (torch.rand(self.n, 1, 1, device=self.device) < share).float()

    def colour(self, dark: float = 1.5) -> torch.Tensor:
        """Any colour (n, 3, 1, 1) in linear light; ``dark`` above 1 draws dark ones oftener."""
        grey = torch.rand(self.n, 1, 1, 1, device=self.device)
        own = torch.rand(self.n, 3, 1, 1, device=self.device)
        vivid = torch.rand(self.n, 1, 1, 1, device=self.device)
        return (grey + vivid * (own - grey)).clamp(0.004, 1) ** dark

    def along(self, length: float, columns: int, sharp: bool = False) -> torch.Tensor:
        """Noise (n, 1, columns) along the log, of unit variance or so; ``sharp`` bends at points."""
        length = length / self.cell_mm
        knots = max(4, int(columns / length) + 4)
        z = torch.randn(self.n, 1, 1, knots, device=self.device)
        size = max(int(knots * length), columns + 1)
        mode = "bilinear" if sharp else "bicubic"
        z = F.interpolate(z, size=(1, size), mode=mode, align_corners=False)[:, 0]
        first = random.randint(0, size - columns)
        return z[:, :, first : first + columns]

    def over(self, down: float, along: float, rows: int, columns: int) -> torch.Tensor:
        """Noise (n, rows, columns) of two lengths, down and along."""
        down, along = down / self.cell_mm, along / self.cell_mm
        size = max(3, int(rows / down) + 3), max(3, int(columns / along) + 3)
        z = torch.randn(self.n, 1, *size, device=self.device)
        big = max(rows, int(size[0] * down)), max(columns, int(size[1] * along))
        z = F.interpolate(z, size=big, mode="bicubic", align_corners=False)[:, 0]
        y, x = random.randint(0, big[0] - rows), random.randint(0, big[1] - columns)
        return z[:, y : y + rows, x : x + columns]


def blur(x: torch.Tensor, sd: float) -> torch.Tensor:
    """Pictures (n, c, rows, columns) blurred by one sd, cells."""
    if sd < 0.25:
        return x
    reach = max(1, int(3 * sd + 0.5))
    k = torch.exp(-0.5 * (torch.arange(-reach, reach + 1, device=x.device) / sd) ** 2)
    k = (k / k.sum()).to(x.dtype)
    c = x.shape[1]
    for view, pad in (((1, 1, -1, 1), (0, 0, reach, reach)), ((1, 1, 1, -1), (reach, reach, 0, 0))):
        x = F.conv2d(F.pad(x, pad, mode="reflect"), k.view(view).repeat(c, 1, 1, 1), groups=c)
    return x


def blur_each(x: torch.Tensor, sd: torch.Tensor) -> torch.Tensor:
    """Each picture blurred by the nearest of a few sds to its own, sd (n, 1, 1)."""
    bank = torch.tensor([0, 0.5, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0, 14.0], device=x.device)
    pick = (sd.view(-1, 1) - bank).abs().argmin(1).tolist()
    out = x.clone()
    for k in set(pick) - {0}:
        at = [i for i, p in enumerate(pick) if p == k]
        out[at] = blur(x[at], float(bank[k]))
    return out


def box(x: torch.Tensor, reach: int) -> torch.Tensor:
    """Means over squares of 2 reach + 1 cells."""
    return F.avg_pool2d(F.pad(x, (reach,) * 4, mode="reflect"), 2 * reach + 1, 1)
