"""From linear light on the band to what the tracer reads: a phone's processing, then the six planes."""

from __future__ import annotations

import random

import torch
import torch.nn.functional as F

from gapvision.trace.network import DARK_LEVEL, HEIGHT_UNIT_MM, MOST_LIGHT
from gapvision.trace.training.chance import Chance, blur, blur_each, box

TINY = 1e-4


def grey(x: torch.Tensor) -> torch.Tensor:
    """Mean of the three colours, (n, 1, rows, columns)."""
    return x.mean(1, keepdim=True)


def expose(c: Chance, light: torch.Tensor, seen: torch.Tensor) -> torch.Tensor:
    """Light scaled as an exposure would, by some high level of what is seen."""
    samples = grey(light).flatten(1)[:, ::37]
    samples = torch.where(seen.flatten(1)[:, ::37], samples, samples.median(1, keepdim=True).values)
    ranked = samples.sort(1).values
    at = (c.uniform(0.5, 0.95).view(-1, 1) * (ranked.shape[1] - 1)).long()
    level = ranked.gather(1, at).clamp(min=TINY)
    return light * (c.scale(0.25, 1.0)[:, None] / level[:, :, None, None])


def local_tones(c: Chance, light: torch.Tensor) -> torch.Tensor:
    """Dark regions lifted and bright ones held down, with the halo that this leaves."""
    size = light.shape[2:]
    rough = blur(F.avg_pool2d(grey(light), 8), random.choice([1.2, 3.0, 5.0])).clamp(min=1e-3)
    rough = F.interpolate(rough, size=size, mode="bilinear", align_corners=False)
    share = (c.yes(0.5) * c.uniform(0.1, 0.75))[:, None]
    return light * (rough / rough.mean((2, 3), keepdim=True)) ** -share


def smear(c: Chance, x: torch.Tensor) -> torch.Tensor:
    """Noise reduction that keeps strong edges and rubs out fine texture."""
    reach, least = random.choice([2, 3, 5]), c.scale(2e-4, 2e-2)[:, None]
    y = grey(x)
    mean = box(y, reach)
    spread = (box(y * y, reach) - mean * mean).clamp(min=0)
    gain = spread / (spread + least)
    part = (c.yes(0.35) * c.uniform(0.3, 1.0))[:, None]
    smooth = box(x, reach) * (1 - gain) + gain * x
    return x + part * (smooth - x)


def coarse(c: Chance, x: torch.Tensor) -> torch.Tensor:
    """A photograph from far away: less than a pixel a cell."""
    size = x.shape[2:]
    part = random.uniform(0.4, 0.95)
    few = F.interpolate(x, scale_factor=part, mode="bilinear", align_corners=False, antialias=True)
    back = F.interpolate(
        few, size=size, mode=random.choice(["bilinear", "bicubic"]), align_corners=False
    )
    return torch.where(c.yes(0.3)[:, None] > 0, back, x)


def develop(
    c: Chance, light: torch.Tensor, seen: torch.Tensor, strength: float = 1.0
) -> torch.Tensor:
    """Display-encoded picture (n, 3, rows, columns) in 0..1 of linear light."""
    light = blur_each(light, c.scale(0.25, 2.4))
    light = expose(c, light.clamp(min=0), seen)
    haze = (c.yes(0.25) * c.uniform(0, 0.4))[:, None]
    light = light * (1 - haze) + haze * light.clamp(max=3).mean((2, 3), keepdim=True)
    glow = F.interpolate(
        blur(F.avg_pool2d(light.clamp(max=6), 8), 4.0), size=light.shape[2:], mode="bilinear",
        align_corners=False,
    )  # fmt: skip
    flare = (c.yes(0.3) * c.uniform(0, 0.25))[:, None]
    light = light * (1 - flare) + flare * glow
    light = local_tones(c, light)
    knee = 0.7 + 0.3 * (1 - torch.exp(-(light - 0.7) / 0.3))
    light = torch.where(light > 0.7, knee, light).clamp(0, 1)
    light = light + torch.randn_like(light) * c.scale(5e-4, 0.025)[:, None] * torch.sqrt(
        light + 0.01
    )
    x = light.clamp(0, 1) ** (1 / 2.2)
    curve = c.uniform(-0.2, 0.55)[:, None]
    x = x + curve * (x * x * (3 - 2 * x) - x)
    x = coarse(c, x)
    x = x + blur(torch.randn_like(x), 0.8) * c.scale(5e-4, 0.03)[:, None]
    x = smear(c, x)
    amount = (c.yes(0.75) * c.uniform(0, 1.8 * strength))[:, None]
    x = x + amount * (x - blur(x, random.choice([0.8, 1.3, 2.2, 3.5, 7.0])))
    plain = (c.yes(0.06) * c.uniform(0.5, 1))[:, None]
    cast = torch.exp(0.05 * torch.randn(c.n, 3, 1, 1, device=c.device))
    return ((x + plain * (grey(x) - x)) * cast).clamp(0, 1)


def planes(c: Chance, picture, blind, expected_row, slope) -> torch.Tensor:
    """The network's input (n, 6, rows, columns).

    ``expected_row`` (n, 1, 1) is where the cards' log should end, NaN where unknown; ``slope``
    (n, rows, 1) how steeply the camera looks down on each row.
    """
    n, _, rows, columns = picture.shape
    luma = picture.mean(1)
    few = torch.where(blind, torch.nan, luma)[:, ::5, ::5].flatten(1)
    level = torch.nanquantile(few, 0.9, dim=1)
    level = torch.nan_to_num(level, nan=1.0)[:, None, None] * torch.exp(c.normal(0.06))
    picture = (picture / (level + DARK_LEVEL)[:, None]).clamp(max=MOST_LIGHT) * (~blind)[:, None]
    row = torch.arange(rows, device=c.device, dtype=torch.float32)[None, :, None]
    height = torch.nan_to_num((row - expected_row) * c.cell_mm / HEIGHT_UNIT_MM, nan=0.0)
    shape = (n, rows, columns)
    return torch.cat([
        picture.flip(1), blind[:, None].float(), height.expand(shape)[:, None],
        slope.expand(shape)[:, None],
    ], 1)  # fmt: skip
