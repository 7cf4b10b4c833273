"""The main job on bundled photographs, beside the truth that the renderer knows."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import resources
from pathlib import Path

from gapvision.answer.picture.picture import write_picture
from gapvision.answer.text import answer_text
from gapvision.inputs.options import MeasureOptions, Stretch
from gapvision.lengths import format_length, parse_diameter
from gapvision.phrases import quantity_text, signed_text, wrap
from gapvision.spine import measure

PICTURE = "gapvision-demo{}.jpg"
MORE = "All else: gapvision measure --details."


def run_demo(
    out_dir: Path,
    units: str = "mm",
    whole_log: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> str:
    """Measure a bundled joint, write its picture into a folder, and return the text to print.

    The joint is one stretch from three heights, or a whole log in two passes. The picture never
    replaces another: a number is added to its name where one is there.
    """
    folder = resources.files("gapvision").joinpath("cli/demo_photos")
    if whole_log:
        folder = folder.joinpath("whole_log")
    truth = json.loads(folder.joinpath("truth.json").read_text(encoding="utf-8"))
    with resources.as_file(folder) as photos:
        options = MeasureOptions(
            photos=tuple(photos / name for name in truth["files"]),
            cover_mm=truth["cover_mm"],
            upper_diameter=parse_diameter(truth["upper_diameter"], "mm"),
            lower_diameter=parse_diameter(truth["lower_diameter"], "mm"),
            stretch=Stretch(truth["from_mm"], truth["to_mm"]),
            units=units,
        )
        measurement = measure(options, progress)
        picture = _free_name(out_dir)
        write_picture(picture, measurement, units)
    rows = [
        ("widest gap", measurement.widest_gap, truth["widest_gap_mm"]),
        ("setting needed", measurement.setting, truth["setting_mm"]),
    ]
    lines = wrap(
        f"{len(truth['files'])} rendered (path-traced) photographs of one joint, so that the truth is "
        f"known: {truth['shoot']}."
    )
    lines += [
        "",
        answer_text(measurement, units, more=MORE),
        "",
        "Beside the truth, from the rendered logs' own surfaces:",
    ]
    for name, q, true in rows:
        lines.append(
            f"  {name:15} measured {quantity_text(q, units)}   true "
            f"{format_length(round(true, 1), units)}   off by {signed_text(q.value_mm - true, units)} {units}"
        )
    lines += ["", f"Picture: {picture}"]
    return "\n".join(lines)


def _free_name(folder: Path) -> Path:
    n = 0
    while (path := folder / PICTURE.format(f"-{n}" if n else "")).exists():
        n += 1
    return path
