"""What a calibration says: a text for people, and the camera file."""

from __future__ import annotations

from datetime import date

import numpy as np
import tomlkit
from tomlkit.items import Table

from gapvision.photo.facts import CameraKey
from gapvision.photo.lens.calibration import Calibration, Known, named
from gapvision.photo.lens.files import FORMAT, VERSION
from gapvision.phrases import wrap
from gapvision.quantity import K95

PART_ROWS = ("upper", "middle", "lower")
PART_COLUMNS = ("left", "middle", "right")
CELLS = (9, 6)  # of the frame across and down: each of its nine parts has 3 x 2
DIGITS = {"focal_px": 2, "cx_px": 2, "cy_px": 2, "k1": 5, "k2": 5}


def corner_counts(calibration: Calibration) -> np.ndarray:
    """How many corners fall into each cell of the frame, array (6, 9)."""
    places = np.concatenate([p.corner_px for p in calibration.photos]) + 0.5
    width, height = calibration.size
    counts, *_ = np.histogram2d(
        places[:, 1], places[:, 0], (CELLS[1], CELLS[0]), ((0, height), (0, width))
    )
    return counts.astype(int)


def unreached(calibration: Calibration) -> list[str]:
    """The ninths of the frame of which at least half was reached by no photograph."""
    empty = (corner_counts(calibration) == 0).reshape(3, 2, 3, 3).mean((1, 3))
    return [
        "the middle" if row == column == "middle" else f"the {row} {column}"
        for i, row in enumerate(PART_ROWS) for j, column in enumerate(PART_COLUMNS)
        if empty[i, j] >= 0.5
    ]  # fmt: skip


def calibration_text(key: CameraKey, calibration: Calibration) -> str:
    """The calibration for people, at most `phrases.WIDTH` columns wide; the camera file has all numbers."""
    c = calibration
    camera = " ".join(t for t in (key.make, key.model, key.lens) if t)
    focal35 = "" if key.focal35_mm is None else f", {key.focal35_mm:g} mm"
    lines = wrap(f"PHONE SAVED: {camera}{focal35}, {key.width_px} x {key.height_px} px.")
    for note in calibration_notes(c):
        lines += wrap(note, "- ")
    lines += ["", *_row("Focal length", f"{_with_u(c.focal_px, 1)} px")]
    lines += _row("Straight lines", f"bent by {_with_u(corner_bend(c), 1)} px in the corners")
    lines += _row(
        "Photographs", f"{len(c.photos)} used, {len(c.poor)} left out, {c.distance_mm:.0f} mm away"
    )
    return "\n".join([*lines, "± holds 95 times in 100."])


def corner_bend(c: Calibration) -> Known:
    """By how much the lens moves a picture's corner, px: ``focal k1 r^3``, r over the focal length."""
    r = np.hypot(*c.size) / 2 / c.focal_px.value
    cube = c.focal_px.value * r**3
    return Known(abs(c.k1.value) * cube, c.k1.u * cube)


def calibration_notes(c: Calibration) -> list[str]:
    """What is wrong or missing, gravest first, with what to do."""
    notes = []
    if c.anisotropic:
        percent = 100 * (c.aspect.value - 1)
        notes.append(
            f"The print is {abs(percent):.2f} % {'longer' if percent > 0 else 'shorter'} across the "
            f"cards than along them (± {100 * K95 * c.aspect.u:.2f}): print again at 100 % by "
            "another way or printer, and do not measure with cards of this print."
        )
    notes += [f"Left out: {named(file, why)}." for file, why in c.poor]
    parts = unreached(c)
    if parts:
        notes.append(
            f"Add photographs with the sheet at {_listed(parts)} of the frame: there it is only guessed "
            "how the lens bends lines."
        )
    return notes


def camera_toml(key: CameraKey, calibration: Calibration, made: date) -> str:
    """The camera file: what `measure` reads first, then what is good to know."""
    c = calibration
    doc = tomlkit.document()
    doc.add(tomlkit.comment("A phone's lens, calibrated from photographs of the uncut card sheet."))
    doc.add(tomlkit.comment("u_...: standard uncertainties. k1, k2: OpenCV's sign, coordinates"))
    doc.add(tomlkit.comment("divided by the focal length. Pixels: integer at the pixel's centre."))
    doc["format"], doc["version"], doc["made"] = FORMAT, VERSION, made
    doc["make"], doc["model"], doc["lens"] = key.make, key.model, key.lens
    if key.focal35_mm is not None:
        doc["focal35_mm"] = key.focal35_mm
    doc["width_px"], doc["height_px"] = key.width_px, key.height_px
    doc["distance_mm"] = round(c.distance_mm, 1)
    _add(doc, "focal_px", c.focal_px)
    _add(doc, "k1", c.k1)
    chosen = tomlkit.table()
    chosen.add(tomlkit.comment("The model that predicts left-out photographs best."))
    chosen["model"] = c.model
    for name, known in c.values.items():
        _add(chosen, name, known)
    doc["chosen"] = chosen
    point = tomlkit.table()
    point.add(tomlkit.comment("Where it is left free; measuring takes the picture's middle."))
    for name, known in zip(("cx_px", "cy_px"), c.principal_px, strict=True):
        _add(point, name, known)
    doc["principal_point"] = point
    quality = tomlkit.table()
    quality["photographs"] = len(c.photos)
    quality["left_out"] = [file for file, _ in c.poor]
    misfit = tomlkit.inline_table()
    misfit.update({m: round(v, 4) for m, v in c.misfit_px.items()})
    quality["left_out_misfit_px"] = misfit
    quality["print_across_over_along"] = round(c.aspect.value, 5)
    quality["u_print_across_over_along"] = round(c.aspect.u, 5)
    doc["quality"] = quality
    return tomlkit.dumps(doc)


def _add(table: tomlkit.TOMLDocument | Table, name: str, known: Known) -> None:
    digits = DIGITS[name]
    table[name] = round(known.value, digits)
    table[f"u_{name}"] = max(round(known.u, digits), 10.0**-digits)


def _with_u(known: Known, decimals: int) -> str:
    return f"{known.value:.{decimals}f} ± {K95 * known.u:.{decimals}f}"


def _row(name: str, text: str) -> list[str]:
    return wrap(text, f"{name:18}")


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
