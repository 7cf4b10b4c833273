"""Photographs to time with, made of the demo's: of any size, and as many of one joint as wanted."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

import gapvision

DEMO = Path(gapvision.__file__).parent / "cli" / "demo_photos"
QUALITY = 92  # about what phones write
SHIFT_PX = 12  # between two that are cut of one picture: far more than copies of it differ by


def enlarged(folder: Path, megapixels: float) -> Path:
    """The demo's level photograph at another size, with its Exif."""
    with Image.open(DEMO / "photo0.jpg") as opened:
        times = (megapixels * 1e6 / (opened.width * opened.height)) ** 0.5
        size = round(opened.width * times), round(opened.height * times)
        path = folder / f"{megapixels:g}.jpg"
        opened.resize(size, Image.Resampling.LANCZOS).save(
            path, quality=QUALITY, exif=opened.getexif()
        )
    return path


def joint(folder: Path, photos: int) -> list[Path]:
    """Photographs of one joint: the demo's three, each cut a little elsewhere."""
    paths = []
    rounds = -(-photos // 3)
    for k in range(photos):
        with Image.open(DEMO / f"photo{k % 3}.jpg") as opened:
            left, top = (k // 3) * SHIFT_PX, (k // 3) * SHIFT_PX // 2
            w, h = opened.width - rounds * SHIFT_PX, opened.height - rounds * SHIFT_PX
            paths.append(folder / f"{k}.jpg")
            opened.crop((left, top, left + w, top + h)).save(
                paths[-1], quality=QUALITY, exif=opened.getexif()
            )
    return paths


def day(folder: Path, joints: int) -> Path:
    """A folder of joints of one photograph each."""
    cut = joint(folder, min(joints, 9))
    for k in range(joints):
        place = folder / "day" / f"joint{k:03}"
        place.mkdir(parents=True)
        (place / "level.jpg").write_bytes(cut[k // 3 * 3 % len(cut)].read_bytes())
    return folder / "day"
