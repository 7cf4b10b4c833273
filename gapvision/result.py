"""What a measured joint is: the answer, and what the picture and the report need to show it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PureWindowsPath
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gapvision.decision import Decision

from gapvision.cameras import CameraKey

SLACK_MM = 10.0  # of a station that a person names past the measured stretch
K95 = 1.96  # coverage factor of 95 % of a normal distribution, JCGM 100:2008 table G.1
SAFE_K = 1.65  # and one-sided, likewise


@dataclass(frozen=True, slots=True)
class Quantity:
    """A length, mm, its standard uncertainty, and the half-width that holds the truth 95 in 100 times."""

    value_mm: float
    u_mm: float
    U95_mm: float


@dataclass(frozen=True, slots=True)
class Place:
    """A place on the log: its station, and the way a person finds it from the nearest card's nail.

    ``offset_mm`` is positive to the right of card ``near_card``, seen from outside.
    """

    station_mm: float
    near_card: int | None
    offset_mm: float | None


@dataclass(frozen=True, slots=True)
class Caution:
    """Something the builder must know, with a stable code, and its stretch if it has one."""

    code: str
    text: str
    from_mm: float | None = None
    to_mm: float | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Profile:
    """Numbers by station, arrays of shape (n,), mm; NaN where no photograph shows the joint."""

    station_mm: np.ndarray
    gap_mm: np.ndarray
    gap_u_mm: np.ndarray
    groove_width_mm: np.ndarray
    groove_width_u_mm: np.ndarray
    setting_needed_mm: np.ndarray
    setting_needed_u_mm: np.ndarray


def photo_name(file: str) -> str:
    """A file's name without its folders, whichever system wrote the path."""
    return PureWindowsPath(file).name


@dataclass(frozen=True, slots=True)
class LineStep:
    """Where one log's traced line steps as no log does, and by how much."""

    log: str
    station_mm: float
    step_mm: float


@dataclass(frozen=True, eq=False, slots=True)
class PhotoResult:
    """One photograph in the joint: where it was taken from and what was traced in it.

    Traces are upright image points ``(x, y)`` in px, shape (n, 2), with the station of each, shape (n,), mm;
    ``axis_px``/``axis_station_mm`` is the line in the middle of the gap by station, for ticks and marks;
    ``axis_state`` says of each of its blocks what holds for both outlines (`gapvision.outlines.STATES`).
    ``lens`` says where the prior of its lens is from, as `intrinsics.choose_lens` does.
    ``camera`` is what Exif tells of it, ``taken`` the time of exposure as ISO 8601.
    ``unread_cards`` are those of which parts are seen that cannot be read.
    ``used`` is False for a photograph left out, and then ``lacked`` says why.
    ``label`` is what texts call it where its file's name alone would not tell it from another.
    """

    file: str
    sha256: str
    side: str
    used: bool
    lacked: str = ""
    height_mm: float = float("nan")
    distance_mm: float = float("nan")
    from_mm: float = float("nan")
    to_mm: float = float("nan")
    cards: tuple[int, ...] = ()
    unread_cards: tuple[int, ...] = ()
    steps: tuple[LineStep, ...] = ()
    residual_px: float = float("nan")
    lens: str = ""
    camera: CameraKey | None = None
    taken: str | None = None
    upper_px: np.ndarray = field(default_factory=lambda: np.empty((0, 2)))
    lower_px: np.ndarray = field(default_factory=lambda: np.empty((0, 2)))
    axis_px: np.ndarray = field(default_factory=lambda: np.empty((0, 2)))
    axis_station_mm: np.ndarray = field(default_factory=lambda: np.empty(0))
    axis_state: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    label: str = ""

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


@dataclass(frozen=True, slots=True)
class ByHand:
    """A caliper reading or a trial line, beside what the photographs alone tell of its place.

    ``setting_mm`` is the gap read, or what the points were set to; ``width_mm`` the groove's width,
    None for a reading. ``u_setting_mm`` and ``u_width_mm`` are theirs, ``u_mm`` both together as of
    the setting. ``predicted`` is the gap, or the setting needed for that width. ``difference_mm`` is
    setting less predicted, ``e_number`` as `agreement.e_number` has it.
    ``u_outlines_mm`` is the part of the prediction's u that wrong outlines may add. ``slip`` tells
    what the entry looks like where it contradicts the photographs, and ``cure`` what to do; such a
    one is not ``used`` in the answer.
    """

    place: Place
    setting_mm: float
    u_setting_mm: float
    width_mm: float | None
    u_width_mm: float | None
    u_mm: float
    predicted: Quantity
    predicted_width_mm: float | None
    e_number: float
    u_outlines_mm: float = 0.0
    slip: str = ""
    cure: str = ""

    @property
    def difference_mm(self) -> float:
        return self.setting_mm - self.predicted.value_mm

    @property
    def agrees(self) -> bool:
        return abs(self.e_number) <= 1

    @property
    def used(self) -> bool:
        return not self.slip


@dataclass(frozen=True, slots=True)
class Alone:
    """What the photographs tell without anything measured by hand."""

    widest_gap: Quantity
    setting: Quantity


@dataclass(frozen=True, eq=False, slots=True)
class Measurement:
    """The whole answer of one joint; ``status`` is ``"measured"`` or ``"doubtful"``.

    A refusal is no Measurement but a MeasurementError.
    """

    status: str
    cover_mm: float
    widest_gap: Quantity
    widest_place: Place
    setting: Quantity
    set_to_mm: float
    deciding_place: Place
    narrowest_groove: Quantity
    narrowest_place: Place
    profile: Profile
    photos: tuple[PhotoResult, ...]
    cards: tuple[CardResult, ...]
    cautions: tuple[Caution, ...]
    decision: Decision | None = None
    by_hand: tuple[ByHand, ...] = ()
    alone: Alone | None = None  # where anything was measured by hand


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


def runs(mask: np.ndarray) -> list[slice]:
    """The unbroken runs of True in an array, shape (n,), in order."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8)))
    return [slice(a, b) for a, b in edges.reshape(-1, 2)]
