"""Photographs to time with, made of the demo's: of any size, and as many of one joint as wanted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from helpers.archives import named, new_record
from PIL import Image

import gapvision
from gapvision.archive.record import SourceFile, add_record
from gapvision.archive.store import open_archive

DEMO = Path(gapvision.__file__).parent / "cli" / "demo_photos"
QUALITY = 92  # about what phones write
SHIFT_PX = 12  # between two that are cut of one picture: far more than copies of it differ by


def enlarged(folder: Path, megapixels: float, name: str = "photo0.jpg") -> Path:
    """One of the demo's photographs, the level one, at another size, with its Exif."""
    with Image.open(DEMO / name) as opened:
        times = (megapixels * 1e6 / (opened.width * opened.height)) ** 0.5
        size = round(opened.width * times), round(opened.height * times)
        path = folder / f"{megapixels:g}-{name}"
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


def archive(folder: Path, photographs: int) -> float:
    """An archive of joints of three photographs each, no two alike; how many MB they are."""
    mb = 0.0
    photo, template = enlarged(folder.parent, 12).read_bytes(), new_record()
    with open_archive(folder, create=True) as opened:
        for n in range(-(-photographs // 3)):
            names = range(3 * n, min(3 * n + 3, photographs))
            files = [
                SourceFile(photo + b"%d" % k, f"{k}.jpg", "photograph", "photos", False)
                for k in names
            ]
            add_record(opened, replace(named(template, f"{n}"), files=(*template.files, *files)))
            mb += len(photo) * len(files) / 1e6
    return mb
