"""Joints painted straight into the band, a batch at a time: no ray tracing, new ones at every step.

Two logs are cylinders wrapped in real or made textures; sun, sky, ground and shadows light them;
anything may lie behind the gap, hang in it or stand before it; then a phone takes the picture.
Lengths are in mm; a cell is a square millimetre, or less where `paint` is asked for the strip of a
second look (`gapvision.trace.looks`). Light is linear until `phone.develop`.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

import torch
import torch.nn.functional as F

from gapvision.trace.network import FRONT, GAP, LOWER, UPPER
from gapvision.trace.rectified import CELL_MM
from gapvision.trace.training.bands import IGNORE
from gapvision.trace.training.chance import Chance, blur_each
from gapvision.trace.training.phone import develop, planes
from gapvision.trace.training.skins import SIZE, Coat, Pool

ROWS, COLUMNS = 384, 512
CARD_MM = (134.0, 108.0)  # half its width, its height, with the backing
DISPLAY = 2.2
STROKES = 15  # of fringe, at most
OFF_MIDDLE_MM = 22.0  # of the joint in a strip


@dataclass(eq=False, slots=True)
class Batch:
    """Samples: planes (n, 6, rows, columns), label and weight (n, rows, columns), limbs' rows
    (n, 2, columns), and where these can be told, ``known`` (n, 2, columns)."""

    planes: torch.Tensor
    label: torch.Tensor
    weight: torch.Tensor
    limb: torch.Tensor
    known: torch.Tensor


@dataclass(eq=False, slots=True)
class Light:
    """Sun's strength and direction (x along, y down, z to the camera), sky, ground, from the front."""

    sun: torch.Tensor
    to_sun: torch.Tensor
    sky: torch.Tensor
    ground: torch.Tensor
    front: torch.Tensor


def ramp(x: torch.Tensor, cell_mm: float) -> torch.Tensor:
    """Share of a cell that lies beyond an edge at distance x, mm, of its middle."""
    return (x / cell_mm + 0.5).clamp(0, 1)


def places(c: Chance) -> tuple[torch.Tensor, torch.Tensor]:
    """Places (n, ROWS, COLUMNS) of the cells along and down, mm."""
    shape = (c.n, ROWS, COLUMNS)
    x = c.cell_mm * torch.arange(COLUMNS, device=c.device).float()
    r = c.cell_mm * torch.arange(ROWS, device=c.device).float()
    return x[None, None].expand(shape), r[None, :, None].expand(shape)


def outline(c: Chance) -> torch.Tensor:
    """What a limb's row (n, 1, COLUMNS) has beside its smooth course: knots, facets, ragged bark.

    Positive into the log.
    """
    fine = c.uniform(0, 0.5) * (c.yes(0.8) + 3 * c.yes(0.2))
    out = fine * sum(w * c.along(s, COLUMNS) for s, w in ((20, 0.6), (8, 0.5), (3.5, 0.4)))
    out = out + c.yes(0.3) * c.scale(0.2, 2.5) * c.along(random.uniform(30, 160), COLUMNS, True)
    size = random.uniform(5, 32)
    ragged = c.along(size, COLUMNS).abs() ** 1.3 + 0.6 * c.along(size / 3, COLUMNS).abs()
    out = out + c.yes(0.45) * c.scale(0.4, 5) * (ragged - 0.9)
    x = c.cell_mm * torch.arange(COLUMNS, device=c.device)[None, None].float()
    for _ in range(2):
        bump = torch.exp(-0.5 * ((x - c.uniform(0, x.max())) / c.scale(6, 45)) ** 2)
        out = out - c.yes(0.25) * c.uniform(-3, 9) * bump
    return out


def torn(c: Chance) -> torch.Tensor:
    """How far (n, 1, COLUMNS) torn wood, a slab of bark or a hewn flange stands out past the limb."""
    size = random.uniform(15, 130)
    jagged = (
        c.along(size, COLUMNS) + 0.5 * c.along(size / 4, COLUMNS, True) + 0.2 * c.along(4, COLUMNS)
    )
    return c.yes(0.2) * c.scale(1.5, 16) * (jagged + c.uniform(-0.8, 1.2)).clamp(min=0)


def course(c: Chance) -> torch.Tensor:
    """A limb's slow waves (n, 1, COLUMNS)."""
    return sum(
        c.uniform(0, most) * c.along(size, COLUMNS)
        for most, size in ((9, 320), (4, 110), (1.2, 40))
    )


def some_light(c: Chance) -> Light:
    """Sun in two of three, from anywhere but behind the logs' middle; sky and ground."""
    to_sun = torch.randn(c.n, 3, device=c.device)
    to_sun[:, 1] = -to_sun[:, 1].abs() - 0.1  # mostly from above
    under = torch.rand(c.n, device=c.device) < 0.2  # a trunk on its side, snow, water
    to_sun[:, 1] = torch.where(under, -to_sun[:, 1], to_sun[:, 1])
    to_sun[:, 2] = 0.9 * to_sun[:, 2] + 0.5
    to_sun = F.normalize(to_sun, dim=1)
    return Light(
        c.yes(0.65) * c.scale(0.3, 5),
        to_sun,
        c.scale(0.12, 1.2),
        c.scale(0.02, 0.6),
        c.scale(0.04, 0.7),
    )


def shadows(c: Chance, d: torch.Tensor, x: torch.Tensor) -> torch.Tensor:
    """What of the sun reaches a log (n, rows, columns), at depth d from its limb."""
    edge = c.uniform(-60, 160) + c.uniform(0, 14) * c.along(150, COLUMNS)
    edge = edge + c.yes(0.35) * c.normal(0.35) * (x - COLUMNS / 2)
    lit = torch.sigmoid((d - edge) / c.scale(0.4, 14))
    other = c.yes(0.4)
    lit = other * (1 - lit) + (1 - other) * lit
    dark = c.uniform(0, 0.7)
    out = torch.where(c.yes(0.6) > 0, dark + (1 - dark) * lit, torch.ones_like(lit))
    narrow = torch.sigmoid(
        (((d - c.uniform(0, 120)) + c.normal(0.3) * x).abs() - c.scale(2, 40)) / c.scale(0.5, 8)
    )
    out = out * torch.where(c.yes(0.25) > 0, 0.15 + 0.85 * narrow, torch.ones_like(narrow))
    spots = c.over(22, 28, ROWS, COLUMNS) + 0.6 * c.over(9, 12, ROWS, COLUMNS)
    spots = torch.sigmoid((spots - c.uniform(-0.8, 0.8)) * c.scale(1.5, 10))
    return out * torch.where(c.yes(0.25) > 0, 0.1 + 0.9 * spots, torch.ones_like(spots))


def lit_log(c: Chance, light: Light, coat: Coat, radius, d, flange, x, down: float) -> torch.Tensor:
    """Light (n, 3, rows, columns) off a log, depth d from its limb; ``down`` +1 where it lies below.

    Of that depth the part ``flange`` stands out past the round wood, flat and in a shade of its own.
    """
    depth = (d - flange).clamp(min=0)
    turn = torch.arccos(
        (1 - depth / radius).clamp(-0.9999, 0.9999)
    )  # about the axis, from the limb
    zoom, twist = c.scale(0.35, 1.8), c.normal(0.06)
    u = x * zoom + c.uniform(0, SIZE) + twist * radius * turn * zoom
    v = radius * turn * zoom * c.scale(0.6, 1.6) + c.uniform(0, SIZE) + c.normal(0.02) * x * zoom
    albedo = coat.at(u, v)
    shape = turn + c.yes(0.3) * c.uniform(0.05, 0.3) * _facets(c)
    ny, nz = -down * torch.cos(shape), torch.sin(shape)
    luma = albedo.mean(1)
    relief = c.yes(0.8) * c.uniform(0, 6) / c.cell_mm
    slope_y = F.pad(luma[:, 1:] - luma[:, :-1], (0, 0, 0, 1))
    slope_x = F.pad(luma[:, :, 1:] - luma[:, :, :-1], (0, 1))
    sx, sy, sz = (light.to_sun[:, k, None, None] for k in range(3))
    rough = (1 - relief * (slope_y * sy + slope_x * sx)).clamp(0.03, 3)
    sun = light.sun * (ny * sy + nz * sz).clamp(min=0) * rough * shadows(c, d, x)
    e = sun + light.sky * (0.5 - 0.5 * ny) + light.ground * (0.5 + 0.5 * ny) + light.front * nz
    e = e * (1 - c.uniform(0, 0.9) * torch.exp(-depth / c.scale(2, 60)))  # little light in the gap
    under = c.yes(0.2) * torch.sigmoid((c.uniform(5, 60) - depth) / c.scale(1, 12))
    e = e * (1 - c.uniform(0.5, 0.97) * under)  # black beneath
    arris = c.uniform(3, 70) + c.scale(0.3, 6) * c.along(random.uniform(20, 150), COLUMNS)
    beneath = torch.sigmoid((arris - depth) / c.scale(0.3, 3)) * c.yes(0.3)
    e = e * (1 + (c.scale(0.12, 1.8) - 1) * beneath)  # a hewn face ends at a sharp edge
    flat = torch.sigmoid((flange - 0.7 - d) / c.scale(0.3, 2))
    e = e * (1 + (c.scale(0.15, 1.6) - 1) * flat)
    rim = c.yes(0.25) * c.scale(0.2, 3)
    e = e + rim * torch.exp(-depth / c.scale(0.7, 7)) * (0.3 + c.along(60, COLUMNS).clamp(0, 2))
    gloss = c.yes(0.15) * c.scale(0.2, 2) * torch.exp(-(((turn - c.uniform(0.2, 1.5)) / 0.25) ** 2))
    return albedo**DISPLAY * e[:, None] + 0.3 * gloss[:, None]


def _facets(c: Chance) -> torch.Tensor:
    """Flats that a knife or an axe left: patches of one slope each."""
    z = c.over(random.uniform(18, 60), random.uniform(50, 240), ROWS, COLUMNS)
    return torch.round(2 * z + 0.2 * c.over(14, 30, ROWS, COLUMNS)) / 2


def wall(c: Chance, coat: Coat, x, r) -> torch.Tensor:
    """A wall or boards (n, 3, rows, columns), level or upright, with seams and shade of their own."""
    upright = c.yes(0.2)
    along, across = upright * r + (1 - upright) * x, upright * x + (1 - upright) * r
    pitch = c.scale(40, 340)
    wave = c.uniform(0, 4) * c.along(200, COLUMNS)
    phase = ((across + c.uniform(0, 340) + c.normal(0.04) * along + wave) / pitch) % 1.0
    board = c.yes(0.4)
    bulge = torch.sqrt((1 - (2 * phase - 1) ** 2).clamp(min=0))
    bulge = board + (1 - board) * bulge
    zoom = c.scale(0.4, 1.6)
    t = coat.at(along * zoom + c.uniform(0, SIZE), across * zoom * 1.2 + c.uniform(0, SIZE))
    shade = (0.2 + 0.8 * bulge + c.uniform(-0.4, 0.4) * (2 * phase - 1)).clamp(0.03, 2)
    seam = torch.exp(-((torch.minimum(phase, 1 - phase) * pitch / c.scale(0.7, 7)) ** 2))
    return t**DISPLAY * (shade * (1 - c.uniform(0.2, 1) * seam))[:, None]


def far_logs(c: Chance, light: Light, coat: Coat, limbs, x, r) -> torch.Tensor:
    """Two logs of a wall beyond (n, 3, rows, columns), which meet near or in the gap.

    Their seam beside a near limb, in the same wood and light, is what is taken for that limb.
    """
    middle, open_mm = limbs.mean(1, keepdim=True), limbs[:, 1:] - limbs[:, :1]
    seam = middle + c.uniform(-0.5, 0.5) * (open_mm.clamp(min=0) + 40) + course(c)
    seam = seam + c.normal(0.02) * (x[:, :1] - COLUMNS / 2)
    slit = c.yes(0.5) * c.scale(0.5, 14) * (1 + 0.5 * c.along(120, COLUMNS)).clamp(min=0)
    depth = [seam - r, r - seam - slit]
    flat = torch.zeros_like(seam)
    logs = [
        lit_log(c, light, coat, c.uniform(60, 220), d, flat, x, down)
        for d, down in zip(depth, (-1.0, 1.0), strict=True)
    ]
    covers = [ramp(d, c.cell_mm)[:, None] for d in depth]
    beyond = c.colour(1.5) * c.scale(0.01, 2)[:, None]
    return (
        logs[0] * covers[0]
        + logs[1] * covers[1]
        + beyond * (1 - covers[0] - covers[1]).clamp(min=0)
    )


def cloth(c: Chance, x, r) -> torch.Tensor:
    """A plain cloth or sheet of any colour, black and white ones too, with folds and weave."""
    fold = c.over(90, 60, ROWS, COLUMNS) + 0.6 * c.along(40, COLUMNS) * c.yes(0.5)
    crease = c.over(25, 20, ROWS, COLUMNS).abs()
    shade = 1 + c.uniform(0, 0.3) * fold - c.yes(0.4) * c.uniform(0, 0.4) * torch.exp(-crease * 8)
    weave = 1 + c.uniform(0, 0.06) * c.over(2, 2, ROWS, COLUMNS)
    extreme = c.yes(0.4) * c.scale(0.01, 0.05) + (1 - c.yes(0.4)) * 1.0
    return c.colour(1.6) * (shade.clamp(min=0.1) * weave * extreme)[:, None]


def piece(c: Chance, backs: Pool, x, r) -> torch.Tensor:
    """A piece of a picture, at any scale and turn."""
    zoom = c.scale(0.15, 1.8)
    turn = c.normal(0.15) + c.yes(0.15) * c.uniform(-1.6, 1.6)
    u = (x * torch.cos(turn) + r * torch.sin(turn)) * zoom + c.uniform(0, SIZE)
    v = (r * torch.cos(turn) - x * torch.sin(turn)) * zoom * c.scale(0.8, 2.5) + c.uniform(0, SIZE)
    return backs.draw(c.n).at(u, v) ** DISPLAY


def pick(options: list[torch.Tensor], shares: list[float]) -> torch.Tensor:
    """Of each sample one option, drawn by their shares."""
    n, device = len(options[0]), options[0].device
    choice = torch.multinomial(torch.tensor(shares, device=device), n, replacement=True)
    out = options[0].clone()
    for k, option in enumerate(options[1:], 1):
        out = torch.where((choice == k)[:, None, None, None], option, out)
    return out


def behind(
    c: Chance, skins: Pool, backs: Pool, own: Coat, light: Light, limbs, x, r
) -> torch.Tensor:
    """Light (n, 3, rows, columns) from behind the gap; ``own`` is the logs' coat."""
    same = torch.rand(c.n, device=c.device) < 0.6
    coat = own.where(same, skins.draw(c.n))
    round_ = (c.yes(0.5) > 0)[:, None]
    far = torch.where(round_, far_logs(c, light, coat, limbs, x, r), wall(c, coat, x, r))
    sky = c.colour(0.7) * 0.5 + 0.5
    sky = sky * (1 + c.uniform(-0.3, 0.3) * (r / ROWS - 0.5))[:, None] * c.scale(0.7, 4)[:, None]
    dark = c.colour(1.5) * 0.03 * (1 + 0.5 * c.over(60, 60, ROWS, COLUMNS).clamp(-1, 1))[:, None]
    scene = piece(c, backs, x, r)
    first = pick(
        [scene, far, cloth(c, x, r), sky.expand_as(far), dark], [0.41, 0.31, 0.14, 0.07, 0.07]
    )
    second = pick([piece(c, backs, x, r), far, sky.expand_as(far)], [0.5, 0.3, 0.2])
    # Another thing begins at an edge behind the gap: horizon, board, trunk, window.
    place = (
        r[:, :1]
        + c.uniform(0.26, 0.86) * (r[:, -1:] - r[:, :1])
        + c.normal(0.15) * (x - 256)
        + c.uniform(0, 6) * c.along(60, COLUMNS)
    )
    level = (r - place) * (2 * c.yes(0.5) - 1)
    place = c.uniform(0, x.max()) + c.normal(0.3) * (r - 190)
    upright = c.scale(4, 200) - (x - place).abs()
    edge = torch.where(c.yes(0.5) > 0, level, upright) / c.scale(0.5, 8)
    mask = torch.sigmoid(edge) * c.yes(0.45)
    seen = first * (1 - mask[:, None]) + second * mask[:, None]
    seen = seen * torch.exp(c.normal(0.8))[:, None]
    sharp = c.yes(0.45)
    spread = sharp * c.uniform(0, 1.2) + (1 - sharp) * c.scale(1, 14)
    return blur_each(seen, spread / c.cell_mm)


def capsule(x, r, x0, y0, x1, y1, bend) -> tuple[torch.Tensor, torch.Tensor]:
    """Distance (n, rows, columns) from a bent line between two points, and how far along it."""
    dx, dy = x1 - x0, y1 - y0
    along = (((x - x0) * dx + (r - y0) * dy) / (dx * dx + dy * dy + 1e-3)).clamp(0, 1)
    bow = bend * along * (1 - along)
    return torch.hypot(x - x0 - along * dx, r - y0 - along * dy - bow), along


def fringe(c: Chance, light, limbs, own, level, x, r) -> torch.Tensor:
    """Strips, fibres, needles, leaves and twigs at the limbs and in the gap."""
    many = c.yes(0.5)
    near = torch.randint(COLUMNS, (STROKES, c.n), device=c.device)
    mean = own.mean() ** DISPLAY
    for k in range(STROKES):
        at = near[k][:, None]
        upper = c.yes(0.6)
        limb = upper[:, 0] * limbs[:, 0].gather(1, at) + (1 - upper[:, 0]) * limbs[:, 1].gather(
            1, at
        )
        x0, y0 = c.cell_mm * at[..., None].float(), limb[..., None] + c.normal(3)
        length, turn, wide = c.scale(4, 90), c.normal(0.5), c.scale(0.35, 3)
        kind = k % 4
        if kind == 1:  # a leaf
            length, turn, wide = c.scale(5, 40), c.uniform(-1.6, 1.6), c.scale(2, 12)
        if kind == 2:  # hangs or stands across the gap
            turn, length = 1.57 + c.normal(0.4), c.scale(10, 160)
        x1, y1 = x0 + torch.cos(turn) * length, y0 + torch.sin(turn) * length * (2 * c.yes(0.5) - 1)
        away, along = capsule(x, r, x0, y0, x1, y1, c.uniform(-8, 8))
        width = wide * (1 - (2 * along - 1).abs() * (0.9 if kind == 1 else 0.3))
        cover = torch.sigmoid((width - away) * 3) * c.yes(0.45) * many
        colour = torch.where((c.yes(0.55) > 0)[:, None], mean, c.colour(1.6))
        colour = colour * (level * c.scale(0.15, 1.6))[:, None]
        light = light * (1 - cover[:, None]) + cover[:, None] * colour
    return light


def wool(c: Chance, light, limbs, own, level, x, r) -> torch.Tensor:
    """Wool, moss and tow that fill a part of the gap, fuzzy, from one limb on."""
    fuzz = (
        c.over(14, 30, ROWS, COLUMNS)
        + 0.6 * c.over(4, 7, ROWS, COLUMNS)
        + 0.4 * c.over(1.5, 3, ROWS, COLUMNS)
    )
    upper = c.yes(0.5)
    depth = upper * (r - limbs[:, :1]) + (1 - upper) * (limbs[:, 1:] - r)
    reach = c.scale(2, 25) * (0.6 + 0.5 * c.along(120, COLUMNS)) + 4 * fuzz
    cover = torch.sigmoid((reach - depth) * c.scale(0.4, 2)) * (depth > 0) * c.yes(0.12)
    colour = torch.where((c.yes(0.4) > 0)[:, None], own.mean() ** DISPLAY, c.colour(1.4))
    colour = colour * (level * (1 + 0.35 * fuzz).clamp(0.1, 2.5))[:, None]
    return light * (1 - cover[:, None]) + cover[:, None] * colour


def in_front(c: Chance, light, label, backs: Pool, level, x, r):
    """Straps, posts, boards, chains, hooks, arms and branches before the joint; they are labelled."""
    things = backs.draw(c.n).at(x * 0.7, r * 0.7) ** DISPLAY
    for k in range(4):
        x0 = c.uniform(-20, x.max() + 20)
        y0 = r[:, :1, :1] + c.uniform(-20, ROWS * c.cell_mm + 20)
        wide, length = c.scale(5, 60), c.scale(40, 500)
        turn = 1.57 + c.normal(0.3) if k < 2 else c.uniform(-1.6, 1.6)
        if k == 2:  # an arm, a hook, a chain
            wide = c.scale(4, 28)
        away, along = capsule(
            x, r, x0, y0, x0 + torch.cos(turn) * length, y0 + torch.sin(turn) * length, c.uniform(-60, 60)
        )  # fmt: skip
        links = 1 + 0.3 * c.yes(0.3) * torch.sin(along * length / wide * 2.5)
        inside = torch.where(c.yes(0.1 if k < 3 else 0.05) > 0, wide * links - away, -9.0)
        round_ = 0.35 + 0.65 * torch.sqrt((1 - (away / (wide * links)) ** 2).clamp(min=0.02))
        skin = c.yes(0.25)[:, None] * torch.tensor([0.55, 0.33, 0.24], device=c.device).view(
            1, 3, 1, 1
        )
        plain = torch.where(
            skin > 0, skin * c.scale(0.3, 1.3)[:, None], c.colour(1.6).expand(-1, 3, 1, 1)
        )
        colour = torch.where((c.yes(0.6) > 0)[:, None], plain.expand_as(things), things)
        cover = ramp(inside, c.cell_mm)[:, None]
        light = light * (1 - cover) + cover * colour * (round_ * level)[:, None]
        label = torch.where(inside > 0, FRONT, label)
    leaves = c.over(40, 60, ROWS, COLUMNS) + 0.5 * c.over(10, 12, ROWS, COLUMNS)
    inside = torch.where(c.yes(0.1) > 0, (leaves - c.uniform(1.5, 2.4)) * 12, -9.0)
    green = piece(c, backs, x, r) * level[:, None]
    cover = ramp(inside, c.cell_mm)[:, None]
    return light * (1 - cover) + cover * green, torch.where(inside > 0, FRONT, label)


def cards(c: Chance, light, base, on_lower, level, x, r):
    """Cards with their shadow and a rim that the mask does not cover; light and what is blind."""
    blind = torch.zeros(c.n, ROWS, COLUMNS, dtype=torch.bool, device=c.device)
    for _ in range(2):
        on = c.yes(0.5)
        middle = c.uniform(-100, x.max() + 100)
        foot = torch.where(on_lower > 0, base + 140 + CARD_MM[1] - c.uniform(-120, 10),
                           base - c.uniform(-8, 140))  # fmt: skip
        dx, dy = (x - middle).abs(), r - foot - c.normal(0.02) * (x - middle)
        rim = c.yes(0.5) * c.uniform(0, 4)
        fall = c.uniform(2, 25)
        shade = torch.sigmoid((CARD_MM[0] - (x - middle - c.normal(8)).abs()) / c.scale(0.5, 5))
        shade = shade * torch.sigmoid((fall - dy) / c.scale(0.5, 5)) * (dy > -CARD_MM[1])
        light = light * (1 - on * c.yes(0.6) * c.uniform(0.2, 0.9) * shade)[:, None]
        hidden = (dx < CARD_MM[0]) & (dy < 0) & (dy > -CARD_MM[1]) & (on > 0)
        card = (dx < CARD_MM[0] + rim) & (dy < rim) & (dy > -CARD_MM[1] - rim) & (on > 0)
        paper = torch.where(c.yes(0.6) > 0, 0.8, 0.3) * level * c.scale(0.4, 1.5)
        light = torch.where(card[:, None], paper[:, None].expand_as(light), light)
        blind |= hidden
    rim = c.yes(0.15) * c.uniform(0, 160)
    return light, blind | (x < rim)


@torch.no_grad()
def paint(n: int, skins: Pool, backs: Pool, device, cell_mm: float = CELL_MM) -> Batch:
    """A batch of n painted joints, in smaller cells than `CELL_MM` with the joint about the middle."""
    c = Chance(n, device, cell_mm)
    x, r = places(c)
    # Where the limbs run.
    slope = c.uniform(-0.38, 0.38)
    on_lower = c.yes(0.2)
    base = 120 + c.normal(28)
    wide = c.scale(2.5, 150) * (1 + 0.3 * c.uniform(0, 1) * c.along(260, COLUMNS)) + course(c)
    wide = wide - c.yes(0.15) * c.uniform(0, 30)
    smooth = base + c.normal(0.03) * (x[:, :1] - COLUMNS / 2) + course(c)
    smooth = smooth + on_lower * (140 - wide.mean(2, keepdim=True))
    flanges = [torn(c), torn(c)]
    upper = smooth - outline(c) + flanges[0]
    lower = smooth + wide + outline(c) - flanges[1]
    limbs = torch.cat([upper, lower], 1)
    top = torch.zeros(n, 1, 1, device=device)
    if cell_mm < CELL_MM:
        top = limbs.mean((1, 2), keepdim=True) - ROWS * cell_mm / 2 + c.normal(OFF_MIDDLE_MM)
        r = r + top
    # The logs.
    own = skins.draw(n)
    other = own.where(torch.rand(n, device=device) < 0.55, skins.draw(n))
    light, apart = some_light(c), some_light(c)
    if random.random() < 0.35:  # the two logs' light differs: shade, another time of the day
        part = c.yes(0.5)
        mixed = [part * a + (1 - part) * b for a, b in
                 ((light.sun, apart.sun), (light.sky, apart.sky), (light.front, apart.front))]  # fmt: skip
        second = Light(mixed[0], light.to_sun, mixed[1], light.ground, mixed[2])
    else:
        second = light
    radius = [c.uniform(42, 240), c.uniform(42, 240)]
    depth = [upper - r, r - lower]
    logs = [
        lit_log(c, light, own, radius[0], depth[0], flanges[0], x, -1.0),
        lit_log(c, second, other, radius[1], depth[1], flanges[1], x, 1.0),
    ]
    level = light.sky + 0.5 * light.sun + 0.05
    scene = (
        behind(c, skins, backs, own, light, limbs, x, r)
        * (0.4 * light.sun + light.sky).clamp(0.2, 2.5)[:, None]
    )
    # Beyond the logs' far sides: the next course, or what lies behind.
    beyond = wall(c, own, x, r) * level[:, None]
    for k, log in enumerate(logs):
        past = ramp(depth[k] - 1.96 * radius[k], cell_mm)[:, None]
        what = torch.where((c.yes(0.5) > 0)[:, None], beyond, scene)
        logs[k] = log * (1 - past) + past * what
    # Where the limbs overlap, the gap is shut: seen from above the upper log is the nearer one.
    upper_nearer = (slope + c.normal(0.01) > 0).float()
    cover_u, cover_l = ramp(depth[0], cell_mm), ramp(depth[1], cell_mm)
    cover_u = cover_u * (1 - (1 - upper_nearer) * cover_l)
    cover_l = cover_l * (1 - upper_nearer * cover_u)
    gap = (1 - cover_u - cover_l).clamp(min=0)
    picture = logs[0] * cover_u[:, None] + logs[1] * cover_l[:, None] + scene * gap[:, None]
    label = torch.where(cover_u > 0.5, UPPER, torch.where(cover_l > 0.5, LOWER, GAP))
    picture = wool(c, picture, limbs, own, level, x, r)
    picture = fringe(c, picture, limbs, own, level, x, r)
    picture, label = in_front(c, picture, label, backs, level, x, r)
    picture, blind = cards(c, picture, base, on_lower, level, x, r)
    picture = develop(c, picture, ~blind)
    expected = base + 140 * on_lower + c.normal(14)
    expected = torch.where(c.yes(0.85) > 0, expected, torch.nan)
    sight = slope + (r[:, :, :1] - 190) / c.scale(600, 2600)
    p = planes(c, picture, blind, (expected - top) / cell_mm, sight)
    label = torch.where(blind, IGNORE, label)
    far = (depth[0] > 1.9 * radius[0]) | (depth[1] > 1.9 * radius[1])
    counts = weights(limbs, r) * (1 - 0.5 * far.float())
    rows = (limbs - top) / cell_mm
    return Batch(p, label, counts, rows, known_limbs(rows, label))


def weights(limbs: torch.Tensor, r: torch.Tensor) -> torch.Tensor:
    """What each cell counts in training: most beside the limbs."""
    near = torch.minimum((r - limbs[:, :1]).abs(), (r - limbs[:, 1:]).abs())
    return 1 + 5 * torch.exp(-near / 5)


def known_limbs(limbs: torch.Tensor, label: torch.Tensor) -> torch.Tensor:
    """Where the limbs' rows can be told (n, 2, columns): the gap open, nothing before it."""
    rows = label.shape[1]
    known = ((limbs[:, 1] - limbs[:, 0]) > 1.0)[:, None] & (limbs > 2) & (limbs < rows - 3)
    for off in (-3, -1, 1, 3):
        at = torch.nan_to_num(limbs + off).round().long().clamp(0, rows - 1)
        there = label.gather(1, at)
        known = known & (there != FRONT) & (there != IGNORE)
    return known
