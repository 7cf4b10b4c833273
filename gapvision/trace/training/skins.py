"""What logs and their surroundings look like: pieces of real textures, and made ones, in a pool.

All are squares of `SIZE` texels, display-encoded, rows across the log and columns along it.
"""

from __future__ import annotations

import os
import random
from dataclasses import dataclass, fields
from pathlib import Path

import torch
import torch.nn.functional as F

from gapvision.trace.training.chance import Chance

SIZE = 1024
READABLE = {".jpg", ".jpeg", ".png", ".webp", ".hdr", ".exr"}
# Albedos, display-encoded: pale pine, honey, weathered grey, brown, reddish inner bark, wet dark wood.
WOODS = ((0.82, 0.70, 0.52), (0.74, 0.55, 0.34), (0.60, 0.58, 0.55), (0.52, 0.38, 0.26),
         (0.58, 0.34, 0.22), (0.33, 0.25, 0.19), (0.86, 0.78, 0.66))  # fmt: skip
BARKS = ((0.40, 0.35, 0.30), (0.30, 0.22, 0.17), (0.52, 0.46, 0.40), (0.56, 0.38, 0.26),
         (0.22, 0.20, 0.18), (0.62, 0.60, 0.55), (0.36, 0.34, 0.26))  # fmt: skip
GROUNDS = ((0.45, 0.36, 0.24), (0.30, 0.38, 0.16), (0.62, 0.52, 0.34), (0.24, 0.20, 0.15),
           (0.55, 0.50, 0.44), (0.40, 0.24, 0.14), (0.70, 0.68, 0.30), (0.80, 0.76, 0.66))  # fmt: skip


class Pool:
    """Textures (n, 3, SIZE, SIZE), uint8, real ones first; made ones are renewed a few at a time."""

    def __init__(self, files: list[Path], makers, made: int, device) -> None:
        squares = [q for f in files for q in read_squares(f)]
        self.makers, self.device = makers, device
        self.real = len(squares)
        blank = [torch.zeros(3, SIZE, SIZE, dtype=torch.uint8)] * made
        self.textures = torch.stack(squares + blank).to(device)
        self.means = self.textures[:, :, ::16, ::16].float().mean((2, 3), keepdim=True) / 255
        self.next = self.real
        while made and self.renew(min(8, made)):
            pass

    def renew(self, count: int) -> bool:
        """Make ``count`` anew; False when all have had their turn."""
        end = min(self.next + count, len(self.textures))
        made = random.choice(self.makers)(Chance(end - self.next, self.device))
        self.textures[self.next : end] = (made.clamp(0, 1) * 255).to(torch.uint8)
        self.means[self.next : end] = made.clamp(0, 1).mean((2, 3), keepdim=True)
        self.next = self.real if end == len(self.textures) else end
        return self.next != self.real

    def draw(self, n: int, real_share: float = 0.55) -> Coat:
        """Which of them n samples wear, as it lies or turned, near or from twice as far, in what colour."""
        device = self.device
        made = max(len(self.textures) - self.real, 1)
        real = torch.rand(n, device=device) < (real_share if self.real else 0.0)
        if len(self.textures) == self.real:
            real[:] = True
        which = torch.where(
            real, torch.randint(max(self.real, 1), (n,), device=device),
            self.real + torch.randint(made, (n,), device=device),
        )  # fmt: skip
        c = Chance(n, device)
        cast = (
            torch.exp(0.09 * torch.randn(n, 3, 1, 1, device=device)) * c.scale(0.55, 1.5)[:, None]
        )
        turned = (real & (torch.rand(n, device=device) < 0.4))[:, None, None]
        return Coat(
            self, which, turned, 1 + c.yes(0.3), c.uniform(0.2, 1.3)[:, None],
            c.uniform(0.4, 1.4)[:, None], cast,
        )  # fmt: skip


@dataclass(eq=False, slots=True)
class Coat:
    """Textures of a pool (n,), how they lie, and their colours' strength, contrast and cast."""

    pool: Pool
    which: torch.Tensor
    turned: torch.Tensor
    zoom: torch.Tensor
    strong: torch.Tensor
    contrast: torch.Tensor
    cast: torch.Tensor

    def where(self, mask: torch.Tensor, other: Coat) -> Coat:
        """This one where mask (n,) is true, and the other one elsewhere; both of one pool."""
        values = []
        for f in fields(self)[1:]:
            a, b = getattr(self, f.name), getattr(other, f.name)
            values.append(torch.where(mask.view(-1, *[1] * (a.dim() - 1)), a, b))
        return Coat(self.pool, *values)

    def mean(self) -> torch.Tensor:
        """Mean colour (n, 3, 1, 1), display-encoded."""
        return self.coloured(self.pool.means[self.which])

    def at(self, u: torch.Tensor, v: torch.Tensor) -> torch.Tensor:
        """Colours (n, 3, rows, columns), display-encoded, at texels u along and v down."""
        u, v = u * self.zoom, v * self.zoom
        u, v = torch.where(self.turned, v, u), torch.where(self.turned, u, v)
        grid = torch.stack([u / (SIZE / 2 - 0.5) - 1, v / (SIZE / 2 - 0.5) - 1], -1)
        t = self.pool.textures[self.which].float() / 255
        return self.coloured(F.grid_sample(t, grid, padding_mode="reflection", align_corners=True))

    def coloured(self, t: torch.Tensor) -> torch.Tensor:
        """Texture's colours in the coat's own."""
        mean = self.pool.means[self.which]
        grey = t.mean(1, keepdim=True)
        t = grey + self.strong * (t - grey)
        return ((t - mean) * self.contrast + mean).clamp(0.01, 1) * self.cast


def read_squares(file: Path) -> list[torch.Tensor]:
    """Squares (3, SIZE, SIZE) of a picture, RGB uint8; of a wide one two."""
    os.environ["OPENCV_IO_ENABLE_OPENEXR"] = "1"
    import cv2
    import numpy as np

    wide_range = file.suffix in (".hdr", ".exr")
    picture = cv2.imread(str(file), cv2.IMREAD_UNCHANGED if wide_range else cv2.IMREAD_COLOR)
    if picture is None:
        return []
    picture = picture[..., 2::-1].astype(np.float32)
    if wide_range:
        bright = np.percentile(picture, 80) + 1e-6
        picture = np.clip(picture / bright, 0, 1) ** (1 / 2.2) * 255
        picture = picture[picture.shape[0] // 5 : picture.shape[0] * 4 // 5]
    zoom = SIZE / min(picture.shape[:2])
    size = [max(SIZE, round(v * zoom)) for v in picture.shape[1::-1]]
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    picture = np.clip(cv2.resize(picture, size, interpolation=how), 0, 255).astype(np.uint8)
    whole = torch.from_numpy(np.ascontiguousarray(picture.transpose(2, 0, 1)))
    extra = max(whole.shape[1:]) - SIZE
    starts = [0, extra] if extra > SIZE // 2 else [extra // 2]
    if whole.shape[1] > whole.shape[2]:
        return [whole[:, s : s + SIZE] for s in starts]
    return [whole[:, :, s : s + SIZE] for s in starts]


def textures_below(folder: Path) -> list[Path]:
    """Picture files of a folder, colour ones only."""
    files = sorted(p for p in folder.rglob("*") if p.suffix.lower() in READABLE)
    return [p for p in files if not p.stem.endswith(("_height", "_normal"))]


def _noise(c: Chance, down: float, along: float) -> torch.Tensor:
    return c.over(down, along, SIZE, SIZE)


def _base(c: Chance, colours) -> torch.Tensor:
    """A colour (n, 3, 1, 1) between two of some, and a bit beside them."""
    table = torch.tensor(colours, device=c.device)
    pick = torch.randint(len(colours), (2, c.n), device=c.device)
    part = torch.rand(c.n, 1, device=c.device)
    mixed = table[pick[0]] * part + table[pick[1]] * (1 - part)
    return (mixed * torch.exp(0.07 * torch.randn(c.n, 3, device=c.device)))[:, :, None, None]


def _mix(t, colour, mask):
    return t * (1 - mask[:, None]) + colour * mask[:, None]


def _patches(c: Chance, down: float, along: float, share_low: float, share_high: float, crisp=6.0):
    """Ragged patches (n, SIZE, SIZE) in 0..1."""
    z = _noise(c, down, along) + 0.5 * _noise(c, down / 4, along / 4) + 0.25 * _noise(c, 3, 6)
    level = c.uniform(share_low, share_high)
    return torch.sigmoid((z - level) * crisp)


def _knots(c: Chance, t, count: int):
    y = torch.arange(SIZE, device=c.device)[None, :, None].float()
    x = torch.arange(SIZE, device=c.device)[None, None].float()
    wander = 4 * _noise(c, 40, 60)
    for _ in range(count):
        size = c.scale(6, 38) * c.yes(0.6)
        away = (
            torch.hypot((x - c.uniform(0, SIZE)) / c.uniform(1, 2), y - c.uniform(0, SIZE)) + wander
        )
        mask = torch.exp(-((away - size).clamp(min=0) ** 2) / (2 * (0.25 * size + 1) ** 2)) * (
            size > 0
        )
        ring = 0.75 + 0.25 * torch.cos(away / c.uniform(1, 3))
        t = _mix(t, _base(c, WOODS[3:6]) * ring[:, None] * 0.8, 0.85 * mask)
    return t


def _checks(c: Chance, t, count: int):
    y = torch.arange(SIZE, device=c.device)[None, :, None].float()
    x = torch.arange(SIZE, device=c.device)[None, None].float()
    for _ in range(count):
        path = c.uniform(0, SIZE) + 6 * c.along(120, SIZE) + 1.5 * c.along(25, SIZE)
        reach = ((x - c.uniform(0, SIZE)) / c.scale(60, 900)) ** 2
        half = c.scale(0.5, 4) * torch.sqrt((1 - reach).clamp(min=0)) * c.yes(0.6)
        dark = torch.sigmoid((half - (y - path).abs()) * 2) * (half > 0)
        lip = torch.sigmoid((half + 2.5 - (y - path - 2).abs()) * 2) * (half > 0) * c.yes(0.4)
        t = t * (1 - 0.9 * dark + 0.25 * lip * (1 - dark))[:, None]
    return t


def peeled_wood(c: Chance) -> torch.Tensor:
    """Peeled, hewn or sawn wood: grain, knots, checks, knife facets, inner bark, stain."""
    grain = _noise(c, 2.0, 160) + 0.7 * _noise(c, 5, 320) + 0.5 * _noise(c, 1.5, 40)
    t = _base(c, WOODS) * (1 + c.uniform(0.01, 0.10) * grain)[:, None]
    t = (
        t
        * (1 + c.uniform(0, 0.12) * _noise(c, 110, 320) + c.uniform(0, 0.08) * _noise(c, 30, 50))[
            :, None
        ]
    )
    facet = torch.round(2 * _noise(c, 30, 130) + 0.3 * _noise(c, 12, 30))
    t = t * (1 + c.yes(0.35) * c.uniform(0.02, 0.10) * facet)[:, None]
    t = _knots(c, t, 7)
    t = _checks(c, t, 4)
    inner = _patches(c, 14, 110, 0.2, 2.5) * c.yes(0.5)
    t = _mix(
        t, _base(c, BARKS + WOODS[3:6]) * (1 + 0.08 * grain)[:, None], inner * c.uniform(0.5, 1)
    )
    grey = _patches(c, 90, 300, 0.0, 2.0, 2.0) * c.yes(0.5) * c.uniform(0.1, 0.7)
    return _mix(t, _base(c, ((0.55, 0.55, 0.56), (0.35, 0.36, 0.38))), grey)


def rough_bark(c: Chance) -> torch.Tensor:
    """Bark with furrows along the log, plates, lichen and moss."""
    size, long = random.uniform(7, 45), random.uniform(2, 12)
    warp = 0.8 * _noise(c, 2 * size, 2 * size * long)
    ridge = (_noise(c, size, size * long) + warp).abs() + 0.5 * _noise(
        c, size / 2.5, size * long / 3
    ).abs()
    ridge = ridge + 0.2 * _noise(c, 4, 9)
    cross = _noise(c, size * 3, size * 0.9).abs()
    depth = torch.minimum(ridge, cross + c.uniform(0.1, 1.2))
    furrow = torch.exp(-depth * c.uniform(2, 7))
    t = (
        _base(c, BARKS)
        * (1 + c.uniform(0.05, 0.25) * _noise(c, 3, 5) + 0.12 * _noise(c, 50, 90))[:, None]
    )
    t = t * (1 - c.uniform(0.3, 0.97) * furrow)[:, None]
    t = _mix(
        t,
        _base(c, BARKS + WOODS[3:5]),
        _patches(c, size * 1.5, size * long, 0.3, 2.0) * c.yes(0.5) * 0.8,
    )
    pale = ((0.66, 0.68, 0.60), (0.55, 0.62, 0.48), (0.74, 0.74, 0.70))
    t = _mix(t, _base(c, pale), _patches(c, 14, 18, 0.8, 2.4) * c.yes(0.5) * 0.9)
    moss = ((0.30, 0.36, 0.10), (0.40, 0.46, 0.16), (0.22, 0.26, 0.10))
    green = _base(c, moss) * (1 + 0.25 * _noise(c, 3, 3))[:, None]
    return _mix(t, green, _patches(c, 50, 110, 0.2, 2.2, 4.0) * c.yes(0.35))


def smooth_bark(c: Chance) -> torch.Tensor:
    """Birch, beech, spruce: even bark with marks across the log, scales and peeling strips."""
    t = _base(c, BARKS + ((0.85, 0.83, 0.78), (0.80, 0.77, 0.70)))
    t = t * (1 + c.uniform(0.02, 0.12) * _noise(c, 6, 6) + 0.1 * _noise(c, 70, 140))[:, None]
    marks = torch.sigmoid((_noise(c, 18, 3) - c.uniform(1.0, 2.2)) * 6)
    t = t * (1 - c.uniform(0.2, 0.9) * marks * c.yes(0.6))[:, None]
    scales = torch.round(1.5 * _noise(c, 14, 12))
    t = t * (1 + c.uniform(0, 0.12) * scales * c.yes(0.5))[:, None]
    t = _mix(t, _base(c, WOODS), _patches(c, 20, 120, 0.5, 2.4) * c.yes(0.5))
    return _knots(c, t, 3)


def _warped(c: Chance, t: torch.Tensor) -> torch.Tensor:
    """A texture turned and bent, so that nothing in it keeps to rows and columns."""
    line = torch.linspace(-1, 1, SIZE, device=c.device)
    y, x = torch.meshgrid(line, line, indexing="ij")
    turn = c.uniform(-1.6, 1.6) + 0.7 * _noise(c, 260, 260)
    u = x * torch.cos(turn) + y * torch.sin(turn) + 0.05 * _noise(c, 60, 60)
    v = y * torch.cos(turn) - x * torch.sin(turn) + 0.05 * _noise(c, 60, 60)
    grid = torch.stack([u, v], -1)
    return F.grid_sample(t, grid, padding_mode="reflection", align_corners=True)


def litter(c: Chance) -> torch.Tensor:
    """Leaves, chips, soil, stones: flat pieces of a few colours over each other."""
    t = _base(c, GROUNDS) * (1 + 0.2 * _noise(c, 8, 8))[:, None]
    for size in (40, 24, 15, 10, 6):
        piece = _noise(c, size, size * random.uniform(0.7, 1.6))
        edge = torch.sigmoid((piece - c.uniform(0.2, 1.4)) * 12)
        shade = 1 + 0.25 * _noise(c, size * 2, size * 2) + 0.15 * _noise(c, 2.5, 2.5)
        t = t * (1 - 0.35 * torch.sigmoid((piece - c.uniform(0.0, 1.0)) * 5))[:, None]
        t = _mix(t, _base(c, GROUNDS) * shade[:, None], edge * c.yes(0.8))
    return _warped(c, t)


def blades(c: Chance) -> torch.Tensor:
    """Grass, straw, needles: thin streaks any way."""
    layers = [_noise(c, random.uniform(1.5, 3), random.uniform(20, 70)) for _ in range(3)]
    layers[1] = layers[1].transpose(1, 2)
    t = _base(c, GROUNDS) * 0.35
    for z in layers:
        bend = torch.sigmoid((z - c.uniform(-0.3, 1.0)) * 5)
        t = _mix(t, _base(c, GROUNDS) * (1 + 0.3 * _noise(c, 30, 30))[:, None], bend)
    return _warped(c, t * (1 + 0.25 * _noise(c, 60, 90))[:, None])


def foliage(c: Chance) -> torch.Tensor:
    """Leaves and trunks before a bright or dark distance."""
    far = _base(c, ((0.85, 0.90, 0.97), (0.96, 0.97, 0.98), (0.55, 0.70, 0.92), (0.10, 0.13, 0.07)))
    t = far.expand(-1, -1, SIZE, SIZE) * (1 + 0.05 * _noise(c, 200, 200))[:, None]
    leaf = _noise(c, 90, 90) + 0.7 * _noise(c, 22, 22) + 0.45 * _noise(c, 7, 7)
    green = ((0.20, 0.28, 0.10), (0.34, 0.44, 0.16), (0.12, 0.16, 0.08), (0.42, 0.40, 0.14))
    colour = (
        _base(c, green) * (1 + 0.45 * _noise(c, 6, 6) + 0.3 * _noise(c, 40, 40)).clamp(0.1)[:, None]
    )
    t = _mix(t, colour, torch.sigmoid((leaf - c.uniform(-1.2, 0.8)) * c.scale(2, 9)))
    trunk = torch.sigmoid((_noise(c, 500, 28) - c.uniform(0.8, 2.0)) * 8) * c.yes(0.6)
    return _mix(t, _base(c, BARKS) * (1 + 0.2 * _noise(c, 30, 4))[:, None], trunk)


WOOD_MAKERS = (peeled_wood, peeled_wood, rough_bark, rough_bark, smooth_bark)
BACK_MAKERS = (litter, blades, foliage)
