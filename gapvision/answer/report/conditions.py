"""Of what a report's numbers were made: photographs, cards and lenses."""

from __future__ import annotations

import math

from gapvision.answer.as_json import measurement_of
from gapvision.answer.corrected_text import corrected_rows
from gapvision.answer.lack_text import lack_text
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.section import Section
from gapvision.joint.photo_results import CardResult, PhotoResult, photo_name
from gapvision.phrases import distance_text

TITLE = "Photographs and cards"

_LENSES = {
    "exif": "focal length as the photograph states it",
    "assumed": "focal length assumed, the photograph states none",
}


def conditions(report: JointReport) -> Section:
    """Photographs with their heights and distances, cards and lens."""
    if report.result["status"] == "refused":
        return Section(TITLE, items=report.missing)
    m, units = measurement_of(report.result), report.units
    used = [p for p in m.photos if p.used]
    rows = tuple(_photo_row(p, units) for p in used)
    parts = []
    if corrected := corrected_rows(m, units):
        parts.append(Section("Outlines corrected by hand", rows=tuple(corrected)))
    left_out = tuple(
        f"{p.name}: {without_folders(lack_text(p, units), report)}" for p in m.photos if not p.used
    )
    if left_out:
        parts.append(Section("Photographs left out of the measurement", items=left_out))
    cards = tuple(_card_row(c, units) for c in m.cards)
    heads = ("Card", "Side", "At", "Out of plumb")
    parts.append(Section("Cards", table=(heads, *cards)))
    lenses = sorted({p.exposure.lens for p in used if p.exposure.lens})
    if lenses:
        parts.append(Section("Lens", items=tuple(map(_lens_text, lenses))))
    if report.missing:
        parts.append(Section("Photographs not in this report", items=report.missing))
    return Section(TITLE, rows, (about(report),), parts=tuple(parts))


def about(report: JointReport) -> str:
    """From where the axis counts: the nail of the lowest-numbered outside card."""
    cards = report.result.get("cards", ())
    numbers = [c["number"] for c in cards if abs(c["station_mm"]) < 1.0]
    nail = f"card {min(numbers)}'s nail" if numbers else "the lowest-numbered outside card's nail"
    return f"The axis counts from {nail} to the right, seen from outside."


def photo_words(report: JointReport, name: str) -> str:
    """A photograph's name and where it was taken from, for those who do not see it."""
    if report.result["status"] == "refused":
        return name
    found = [p for p in measurement_of(report.result).photos if p.name == name]
    if not found:
        return name
    where = _photo_row(found[0], report.units)[1] if found[0].used else "left out"
    return f"{name}: {where}"


def without_folders(text: str, report: JointReport) -> str:
    """A sentence that names photographs without the folders of somebody's computer."""
    for photo in report.result.get("photos", ()):
        text = text.replace(photo["file"], photo_name(photo["file"]))
    return text


def _photo_row(p: PhotoResult, units: str) -> tuple[str, str]:
    said = [f"from {p.side}"]
    if math.isfinite(p.height_mm) and math.isfinite(p.distance_mm):
        height = distance_text(abs(p.height_mm), units)
        over = "above" if p.height_mm >= 0 else "below"
        said.append(f"lens {height} {over} the gap's middle")
        said.append(f"{distance_text(p.distance_mm, units)} away")
    if math.isfinite(p.from_mm) and math.isfinite(p.to_mm):
        said.append(
            f"shows the joint from {distance_text(p.from_mm, units)} to {distance_text(p.to_mm, units)}"
        )
    if p.exposure.taken:
        said.append(f"taken {p.exposure.taken.replace('T', ' ')}")
    if p.cards:
        said.append(f"card{'s' * (len(p.cards) > 1)} {', '.join(map(str, p.cards))}")
    return p.name, ", ".join(said)


def _card_row(c: CardResult, units: str) -> tuple[str, ...]:
    lean = f"{abs(c.lean_deg):.1f}°" if math.isfinite(c.lean_deg) else "unknown"
    if math.isfinite(c.lean_deg) and abs(c.lean_deg) >= 0.05:
        lean += ", foot out" if c.lean_deg > 0 else ", foot in"
    return str(c.number), c.side, distance_text(c.station_mm, units), lean


def _lens_text(source: str) -> str:
    prior, _, why_not = source.partition(": ")
    said = _LENSES.get(prior, prior)
    return f"{said}; {why_not}" if why_not else said
