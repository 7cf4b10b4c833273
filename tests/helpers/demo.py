"""The rendered photographs that come with the program, their truth, and how they are measured."""

from __future__ import annotations

import json
from importlib import resources

from helpers.options import options_with

from gapvision.lengths import parse_diameter

FOLDER = resources.files("gapvision").joinpath("cli/demo_photos")
TRUTH = json.loads(FOLDER.joinpath("truth.json").read_text(encoding="utf-8"))


def options(*names, **more):
    stated = {
        "cover_mm": TRUTH["cover_mm"],
        "from_mm": TRUTH["from_mm"],
        "to_mm": TRUTH["to_mm"],
        "upper_diameter": parse_diameter(TRUTH["upper_diameter"]),
        "lower_diameter": parse_diameter(TRUTH["lower_diameter"]),
    }
    return options_with(tuple(FOLDER / n for n in names), **(stated | more))
