"""Bands of rendered photographs, kept on the device and changed at random at every step."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F

from gapvision.trace.network import GAP, LOWER, UPPER
from gapvision.trace.rectified import CELL_MM
from gapvision.trace.training.bands import IGNORE
from gapvision.trace.training.chance import Chance
from gapvision.trace.training.paint import (
    COLUMNS,
    DISPLAY,
    ROWS,
    Batch,
    behind,
    fringe,
    known_limbs,
    places,
    ramp,
    shadows,
    some_light,
    weights,
    wool,
)  # fmt: skip
from gapvision.trace.training.phone import develop, planes
from gapvision.trace.training.skins import SIZE, Coat, Pool

LIKELY_RADIUS_MM = 150.0
LEAST_SIDE = 64  # rows and columns; a window that the frame cuts off shows less


class Bands:
    """Rendered bands found in a folder so far; `look` takes in those that have come since."""

    def __init__(self, folder: Path | None, device, rng: np.random.Generator) -> None:
        self.folder, self.device, self.rng = folder, device, rng
        self.known: set[str] = set()
        self.bands: list[dict] = []

    def look(self) -> int:
        """Number of bands held, after reading what is new."""
        if self.folder is not None:
            for path in sorted(self.folder.glob("[!.]*.npz")):
                if path.name not in self.known:
                    self.known.add(path.name)
                    band = self._read(path)
                    if min(band["label"].shape) >= LEAST_SIDE:
                        self.bands.append(band)
        return len(self.bands)

    def _read(self, path: Path) -> dict:
        with np.load(path) as f:
            band = {k: torch.from_numpy(f[k]) for k in f.files}
        return {k: v.to(self.device) for k, v in band.items()}

    def draw(self, n: int) -> dict[str, torch.Tensor]:
        """n crops of ROWS x COLUMNS, half of them mirrored."""
        out: dict[str, list] = {
            k: [] for k in ("bgr", "label", "blind", "limb", "expected", "slope")
        }
        for k in self.rng.integers(len(self.bands), size=n):
            for name, value in self._crop(self.bands[k]).items():
                out[name].append(value)
        return {k: torch.stack(v) for k, v in out.items()}

    def _crop(self, band: dict) -> dict:
        rows, columns = band["label"].shape
        first = int(self.rng.integers(max(columns - COLUMNS, 0) + 1))
        upper = int(self.rng.integers(max(rows - ROWS, 0) + 1))
        part, tall = slice(first, first + COLUMNS), slice(upper, upper + ROWS)
        right, below = max(COLUMNS - columns, 0), max(ROWS - rows, 0)
        bgr = band["bgr"][tall, part].permute(2, 0, 1)[None].float()
        crop = {
            "bgr": F.pad(bgr, (0, right, 0, below), mode="replicate")[0],
            "label": F.pad(band["label"][tall, part], (0, right, 0, below), value=IGNORE),
            "blind": F.pad(band["blind"][tall, part], (0, right, 0, below), value=1),
            "limb": F.pad(band["limb"][:, part] - upper, (0, right), value=float("nan")),
        }
        if self.rng.random() < 0.5:
            crop = {k: v.flip(-1) for k, v in crop.items()}
        slope = F.pad(band["slope"][None, None, tall], (0, below), mode="replicate")[0, 0]
        return crop | {"expected": band["expected"] - upper, "slope": slope}


@torch.no_grad()
def changed(
    crops: dict[str, torch.Tensor], skins: Pool, backs: Pool, cell_mm: float = CELL_MM
) -> Batch:
    """Crops in other wood, before other things, in other shade, by other phones."""
    n = len(crops["bgr"])
    c = Chance(n, crops["bgr"].device, cell_mm)
    x, r = places(c)
    label, blind = crops["label"].long(), crops["blind"] > 0
    rows = torch.nan_to_num(crops["limb"], nan=-99.0)
    limbs = rows * cell_mm
    light = (crops["bgr"].flip(1) / 255) ** DISPLAY
    plain = light
    own = skins.draw(n)
    depth = [limbs[:, :1] - r, r - limbs[:, 1:]]
    for k, name in enumerate((UPPER, LOWER)):
        mask = (label == name).float()
        light = light * (
            1 + mask[:, None] * (skin_over(c, own if k else skins.draw(n), depth[k], x) - 1)
        )
        shade = shadows(c, depth[k], x)
        light = light * (1 + c.yes(0.3) * mask * (shade - 1))[:, None]
    level = light.mean((1, 2, 3))[:, None, None]
    gap = ramp(-depth[0], cell_mm) * ramp(-depth[1], cell_mm) * (label == GAP) * c.yes(0.25)
    scene = behind(c, skins, backs, own, some_light(c), limbs, x, r) * level[:, None] * 2
    light = light * (1 - gap[:, None]) + gap[:, None] * scene
    light = wool(c, light, limbs, own, level * 2, x, r)
    light = fringe(c, light, limbs, own, level * 2, x, r)
    light = torch.where(c.yes(0.7)[:, None] > 0, light, plain)
    again = torch.where(
        c.yes(0.7)[:, None] > 0, develop(c, light, ~blind, 0.6), light.clamp(0, 1) ** (1 / DISPLAY)
    )
    expected = torch.where(
        c.yes(0.9) > 0, crops["expected"].view(-1, 1, 1) + c.normal(5 / cell_mm), torch.nan
    )
    p = planes(c, again, blind, expected, crops["slope"][..., None])
    return Batch(p, label, weights(limbs, r), rows, known_limbs(rows, label))


def skin_over(c: Chance, coat: Coat, depth, x) -> torch.Tensor:
    """Another wood's pattern (n, 3, rows, columns) about 1, to lay over a rendered log."""
    depth = depth.clamp(min=0)
    turn = torch.arccos((1 - depth / LIKELY_RADIUS_MM).clamp(-0.999, 0.9999))
    zoom = c.scale(0.5, 1.6)
    u = x * zoom + c.uniform(0, SIZE)
    v = LIKELY_RADIUS_MM * turn * zoom + c.uniform(0, SIZE)
    pattern = coat.at(u, v).clamp(min=0.02).log() * DISPLAY
    pattern = pattern - pattern.mean((2, 3), keepdim=True)
    pattern = pattern * (c.yes(0.45) * c.uniform(0.3, 1.0))[:, None]
    return torch.exp((pattern + c.yes(0.4)[:, None] * coat.cast.log()).clamp(-3, 2))
