"""What is told of a photograph as soon as it has come: whether it can be used, and what it shows."""

from __future__ import annotations

from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions


def verdict_of(path: Path, options: MeasureOptions) -> dict:
    """In a worker: ``ok``, a sentence, and details of one photograph."""
    from gapvision.photo.cards import read_cards
    from gapvision.photo.photo import load_photo

    try:
        photo = load_photo(path)
        sightings, _ = read_cards(photo.bgr, path.name)
    except MeasurementError as error:
        return {"ok": False, "text": error.text, "details": {"code": error.code}}
    numbers = [s.number for s in sightings]
    return {
        "ok": True,
        "text": f"card {', '.join(map(str, numbers))} found.",
        "details": {"cards": numbers},
    }
