"""What a measured joint cannot know, told as the photograph to take or the reading to make."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.fit import Joint, View
from gapvision.lengths import format_length
from gapvision.options import MeasureOptions
from gapvision.result import CardResult, Caution, PhotoResult, Quantity, runs

HEIGHTS_APART = 0.15  # slopes of sight, rad; under this two photographs count as one height
LONGEST_UNSEEN_MM = 60.0
MISFIT_PX = 4.0  # robust spread of an outline's residuals
LEAN_DEG = 2.5
MOVED_PX = 1.5  # a card's corners against the joint of all photographs, rms
BENT_PX = 0.35  # and against a plane of its own: a flat card reaches 0.05 to 0.15
WIDE_U95_MM = 2.5


@dataclass(frozen=True, eq=False, slots=True)
class Findings:
    """What the cautions are read from. ``shown`` and ``seen`` are by station, bool."""

    options: MeasureOptions
    station_mm: np.ndarray
    shown: np.ndarray
    seen: np.ndarray
    setting: Quantity
    photos: tuple[PhotoResult, ...]
    left_out: tuple[PhotoResult, ...]
    cards: tuple[CardResult, ...]
    joint: Joint
    views: tuple[View, ...]


def is_doubtful(f: Findings) -> bool:
    """Whether the setting is only a lower bound: a long stretch unseen, or data against the model."""
    return bool(_unseen(f)) or bool(_misfits(f))


def find_cautions(f: Findings) -> tuple[Caution, ...]:
    """All cautions, the gravest first."""
    say = _speaker(f)
    out = []
    for a, b in _unseen(f):
        out.append(
            Caution(
                "not-seen",
                f"Not seen from {say(a)} to {say(b)}: the setting is only a lower bound there. Put "
                "the caliper here, or photograph this stretch level with the gap.",
                a, b,
            )
        )  # fmt: skip
    for p in _misfits(f):
        out.append(
            Caution(
                "misfit",
                f"{_name(p)}: its outlines miss the fitted logs by {p.residual_px:.0f} px; a card or "
                "log moved, or the tracing went wrong: look at the picture, photograph again.",
            )
        )
    out += [Caution("left-out", p.lacked) for p in f.left_out]
    out += _cards(f)
    out += _heights(f)
    out += _ends(f)
    for a, b in _bridged(f):
        out.append(
            Caution("bridged", f"From {say(a)} to {say(b)} the gap is bridged, not seen.", a, b)
        )
    missing = [
        w
        for w, d in (("upper", f.options.upper_diameter), ("lower", f.options.lower_diameter))
        if d is None
    ]  # noqa: E501
    if missing:
        out.append(
            Caution(
                "no-diameter",
                f"No diameter stated for the {' and the '.join(missing)} log; tape both ends and "
                "state them: the groove's width is known better then.",
            )
        )
    return tuple(out)


def _cards(f: Findings) -> list[Caution]:
    """Cards that lean, moved between photographs, or are not flat."""
    out = []
    for c in f.cards:
        if abs(c.lean_deg) > LEAN_DEG:
            out.append(
                Caution(
                    "card-leans",
                    f"Card {c.number} leaned {abs(c.lean_deg):.0f} degrees out of plumb; let it hang "
                    "free, or photograph from two heights, which makes the answer independent of it.",
                )
            )
    for photo, view, corner_px in zip(f.photos, f.views, f.joint.corner_px, strict=True):
        for sighting in view.sightings:
            if len(f.photos) > 1 and corner_px[sighting.number] > MOVED_PX:
                out.append(
                    Caution(
                        "card-moved",
                        f"{_name(photo)}: card {sighting.number} is {corner_px[sighting.number]:.1f} px "
                        "off its place in the other photographs; it swung, moved or the log was bumped: "
                        "photograph all heights again without touching card or log.",
                    )
                )
            elif sighting.u_px > BENT_PX:
                out.append(
                    Caution(
                        "card-not-flat",
                        f"{_name(photo)}: card {sighting.number} is not flat or is shaken "
                        f"({sighting.u_px:.1f} px); glue it to something stiff and hold still.",
                    )
                )
    return out


def slopes(photos: tuple[PhotoResult, ...]) -> np.ndarray:
    """Slope of sight of each photograph, positive from above."""
    return np.array([p.height_mm / p.distance_mm for p in photos])


def _heights(f: Findings) -> list[Caution]:
    t = slopes(f.photos)
    units, say = f.options.units, _speaker(f)
    u95 = format_length(round(f.setting.U95_mm, 1), units)
    if t.max() - t.min() < HEIGHTS_APART:
        d = float(np.median([p.distance_mm for p in f.photos]))
        return [
            Caution(
                "one-height",
                f"One height only: the setting is known to +-{u95}, for the crowns' sideways "
                f"offset cannot be seen. Two more photographs, {say(0.22 * d)} above and below the "
                f"gap, bring it to about +-{format_length(1.5, units)}.",
            )
        ]
    if f.setting.U95_mm > WIDE_U95_MM:
        return [
            Caution(
                "wide",
                f"The setting is known only to +-{u95}; a level photograph and one from 0.2 of "
                "the distance above and below would narrow it.",
            )
        ]
    return []


def _ends(f: Findings) -> list[Caution]:
    say = _speaker(f)
    out = []
    for given, end, name in (
        (f.options.from_mm, f.station_mm[0], "left"),
        (f.options.to_mm, f.station_mm[-1], "right"),
    ):
        if given is None:
            out.append(
                Caution(
                    "notch-not-confirmed",
                    f"The measured stretch ends at {say(end)} on the {name} where the view ends; it "
                    "is not known to be the notch: all between the notches counts. State --from and "
                    "--to, and put the caliper beyond.",
                )
            )
    return out


def _speaker(f: Findings):
    """Whole millimetres, or sixteenths, in words."""
    return lambda mm: format_length(
        float(round(mm)) if f.options.units == "mm" else mm, f.options.units
    )


def _stretches(f: Findings, mask: np.ndarray) -> list[tuple[float, float]]:
    half = 0.5 * (f.station_mm[1] - f.station_mm[0])
    return [
        (float(f.station_mm[r.start]) - half, float(f.station_mm[r.stop - 1]) + half)
        for r in runs(mask)
    ]


def _unseen(f: Findings) -> list[tuple[float, float]]:
    return [(a, b) for a, b in _stretches(f, ~f.shown) if b - a > LONGEST_UNSEEN_MM]


def _bridged(f: Findings) -> list[tuple[float, float]]:
    return [(a, b) for a, b in _stretches(f, f.shown & ~f.seen) if b - a > 15.0]


def _misfits(f: Findings) -> list[PhotoResult]:
    return [p for p in f.photos if p.residual_px > MISFIT_PX]


def _name(photo: PhotoResult) -> str:
    return photo.file.replace("\\", "/").rsplit("/", 1)[-1]
