"""What the answer says of each photograph and card."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import PureWindowsPath
from typing import Any

import numpy as np

from gapvision.inputs.corrections import Correction
from gapvision.joint.model import FittedPhoto, Joint, residuals
from gapvision.joint.seen import near, traced
from gapvision.photo.facts import CameraKey
from gapvision.quantity import Place, runs
from gapvision.scene.photo_rows import OutlineRows
from gapvision.trace.outlines import HIDDEN, OUTSIDE, SEEN, SHUT, UNSURE, Trace
from gapvision.trace.steps import largest_step
from gapvision.trace.traced_photo import LEAST_BLOCKS, TracedPhoto


def left_out_result(photo: TracedPhoto, why: Lack) -> PhotoResult:
    """A photograph that shows cards and joint and yet is of no use."""
    facts = photo.facts
    return PhotoResult(
        str(facts.path), facts.sha256, photo.rows.side, False, why,
        cards=tuple(s.number for s in photo.rows.sightings),
        exposure=Exposure("", facts.key, facts.taken), label=photo.label,
        corrected=None if photo.drawn is None else Corrected(photo.drawn.correction),
    )  # fmt: skip


def photo_result(photo: TracedPhoto, fitted: FittedPhoto, joint: Joint) -> PhotoResult:
    """Of one photograph in use."""
    camera, trace, facts = fitted.camera, photo.trace, photo.facts
    middle = float(np.mean(joint.coefficients["z_l"]))
    mid_px = 0.5 * (trace.upper.xy_px + trace.lower.xy_px)
    axis = camera.plane_point(mid_px, middle)[:, 0]
    heights = joint.sections(np.clip(axis, axis.min(), axis.max()))
    level = 0.5 * (float(np.mean(heights.h_l)) + float(np.mean(heights.h_u)))
    miss = np.concatenate(list(fitted.residual_px.values()) or [np.array([np.nan])])
    first, last = _extent(trace, axis)
    return PhotoResult(
        file=str(facts.path), sha256=facts.sha256, side=photo.rows.side, used=True,
        height_mm=float(camera.centre_mm[1] - level), distance_mm=joint.distance_mm(fitted),
        from_mm=first, to_mm=last,
        cards=tuple(s.number for s in photo.rows.sightings), unread_cards=photo.unread_cards,
        bent_cards=photo.bent_cards, damage=photo.damage,
        steps=tuple(_steps(photo, axis, fitted, joint)),
        exposure=Exposure(photo.lens_source, facts.key, facts.taken),
        residual_px=float(np.median(np.abs(miss))) * 1.4826,
        outlines=PhotoOutlines(
            upper_px=trace.upper.xy_px[trace.upper.state == SEEN],
            lower_px=trace.lower.xy_px[trace.lower.state == SEEN],
            axis_px=mid_px, axis_station_mm=axis,
            axis_state=both_states(trace.upper.state, trace.lower.state),
            upper_state=trace.upper.state, lower_state=trace.lower.state,
        ),
        label=photo.label,
        corrected=_corrected(photo, axis),
    )  # fmt: skip


def _corrected(photo: TracedPhoto, axis: np.ndarray) -> Corrected | None:
    """What was changed by hand, with the stations that the drawn lines cover."""
    if photo.drawn is None:
        return None
    stretches = [
        tuple(sorted((float(axis[r].min()), float(axis[r].max())) for r in runs(line.by_hand)))
        for line in photo.drawn.lines
    ]
    return Corrected(photo.drawn.correction, *stretches)


def _extent(trace: Trace, axis: np.ndarray) -> tuple[float, float]:
    """First and last station at which both outlines are seen, or one where both hardly are."""
    upper, lower = trace.upper.state == SEEN, trace.lower.state == SEEN
    if not (upper | lower).any():
        return math.nan, math.nan
    both = upper & lower
    seen = axis[both if both.sum() >= LEAST_BLOCKS else upper | lower]
    return float(seen.min()), float(seen.max())


def _steps(
    photo: TracedPhoto, axis: np.ndarray, fitted: FittedPhoto, joint: Joint
) -> Iterator[LineStep]:
    trace = photo.trace
    for log in ("upper", "lower"):
        line = getattr(trace, log)
        by_hand = None if photo.drawn is None else getattr(photo.drawn, log).by_hand
        nobody = np.zeros(len(line.row))
        if largest_step(line, trace.mm_per_px, nobody, nobody, by_hand) is None:
            continue  # as nearly always; what the others show takes time
        whole = OutlineRows(log, line.xy_px, np.ones(len(line.xy_px)))
        miss, station = residuals(fitted.camera, whole, joint)
        others = np.zeros(len(station), int)
        for other in (p for p in joint.photos if p is not fitted):
            others += near(station, traced(other, log, joint))
        found = largest_step(line, trace.mm_per_px, miss, others, by_hand)
        if found is not None:
            step_mm, block = found
            yield LineStep(log, float(axis[block]), step_mm)


def card_results(joint: Joint, photos: tuple[PhotoResult, ...]) -> tuple[CardResult, ...]:
    """Of every card of the joint, with the photographs that show it."""
    return tuple(
        CardResult(
            c.number, c.side, float(c.nail_mm[0]), -math.degrees(float(c.tilt_rad[0])),
            tuple(p.name for p in photos if c.number in p.cards),
        )
        for c in joint.cards
    )  # fmt: skip


def both_states(upper: np.ndarray, lower: np.ndarray) -> np.ndarray:
    """What holds for both outlines by block (n,): seen where both are, else what hinders most."""
    out = np.full(len(upper), UNSURE)
    for state in (SHUT, HIDDEN, OUTSIDE):
        out[(upper == state) | (lower == state)] = state
    out[(upper == SEEN) & (lower == SEEN)] = SEEN
    return out


def photo_name(file: str) -> str:
    """A file's name without its folders, whichever system wrote the path."""
    return PureWindowsPath(file).name


@dataclass(frozen=True, slots=True)
class LineStep:
    """Where one log's traced line steps as no log does, and by how much."""

    log: str
    station_mm: float
    step_mm: float


@dataclass(frozen=True, slots=True)
class Lack:
    """Why a photograph is left out; `answer.lack_text` makes its sentence of it.

    ``facts`` are the parameters of that sentence's function, or ``text``, the sentence itself, where it
    is given already, as by an error.
    """

    code: str
    facts: Mapping[str, Any] = field(default_factory=dict)


def _none(*shape: int) -> np.ndarray:
    return field(default_factory=lambda: np.empty(shape))


@dataclass(frozen=True, eq=False, slots=True)
class PhotoOutlines:
    """What was traced in a photograph, upright image points ``(x, y)`` in px.

    ``upper_px`` and ``lower_px`` (n, 2) are the points of each outline that are claimed: those of the
    blocks whose state is seen, in their order. By block: ``axis_px`` (n, 2) is the line in the middle of
    the gap, for ticks and marks, ``axis_station_mm`` (n,) its station, ``axis_state`` (n,) what holds for
    both outlines there, and ``upper_state`` and ``lower_state`` (n,) for each (`gapvision.trace.outlines`).
    """

    upper_px: np.ndarray = _none(0, 2)
    lower_px: np.ndarray = _none(0, 2)
    axis_px: np.ndarray = _none(0, 2)
    axis_station_mm: np.ndarray = _none(0)
    axis_state: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    upper_state: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    lower_state: np.ndarray = field(default_factory=lambda: np.empty(0, int))


@dataclass(frozen=True, slots=True)
class Corrected:
    """What a person changed in a photograph, and the stations (from, to) that the drawn lines cover."""

    given: Correction
    upper_mm: tuple[tuple[float, float], ...] = ()
    lower_mm: tuple[tuple[float, float], ...] = ()

    @property
    def stretches_mm(self) -> tuple[tuple[float, float], ...]:
        """All that was drawn or marked, left to right, those that overlap as one."""
        return joined_mm((*self.upper_mm, *self.lower_mm, *self.given.not_gap))


def joined_mm(stretches: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Stretches (from, to) left to right, those that overlap as one."""
    out: list[tuple[float, float]] = []
    for low, high in sorted(stretches):
        if out and low <= out[-1][1]:
            low, before = out.pop()
            high = max(high, before)
        out.append((low, high))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Exposure:
    """By which camera (as Exif tells) and when (ISO 8601) a photograph was taken.

    ``lens`` says where the prior of its lens is from, as `prior.choose_lens` does.
    """

    lens: str = ""
    camera: CameraKey | None = None
    taken: str | None = None


@dataclass(frozen=True, eq=False, slots=True)
class PhotoResult:
    """One photograph in the joint: where it was taken from and what was traced in it.

    ``unread_cards`` are those of which parts are seen that cannot be read,
    ``bent_cards`` those too bent to be of use. ``damage`` is as a `TracedPhoto` has it.
    ``used`` is False for a photograph left out, and then ``lacked`` tells why.
    ``label`` is what texts call it where its file's name alone would not tell it from another.
    ``corrected`` is what a person changed in it, None where nothing.
    """

    file: str
    sha256: str
    side: str
    used: bool
    lacked: Lack | None = None
    height_mm: float = float("nan")
    distance_mm: float = float("nan")
    from_mm: float = float("nan")
    to_mm: float = float("nan")
    cards: tuple[int, ...] = ()
    unread_cards: tuple[int, ...] = ()
    bent_cards: tuple[int, ...] = ()
    damage: str = ""
    steps: tuple[LineStep, ...] = ()
    residual_px: float = float("nan")
    exposure: Exposure = Exposure()
    outlines: PhotoOutlines = field(default_factory=PhotoOutlines)
    label: str = ""
    corrected: Corrected | None = None

    @property
    def name(self) -> str:
        """The file without its folder, or with the last one where two have one name."""
        return self.label or photo_name(self.file)


@dataclass(frozen=True, slots=True)
class CardResult:
    """One card: where its nail is and how far it hung out of plumb (degrees, foot outwards positive)."""

    number: int
    side: str
    station_mm: float
    lean_deg: float
    photos: tuple[str, ...]


def place_at(cards: tuple[CardResult, ...], station_mm: float) -> Place:
    """A station as a `Place`, from the nearest card; of the outside ones where there are any."""
    outside = [c for c in cards if c.side == "outside"] or list(cards)
    if not outside:
        return Place(station_mm, None, None)
    near = min(outside, key=lambda c: abs(c.station_mm - station_mm))
    return Place(station_mm, near.number, station_mm - near.station_mm)


def station_origin(cards: tuple[CardResult, ...]) -> CardResult | None:
    """The card whose nail is station 0: the lowest-numbered one outside, or of all; None of none."""
    return min(cards, key=lambda c: (c.side != "outside", c.number), default=None)
