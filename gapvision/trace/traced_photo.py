"""One photograph by itself: cards, its own camera, and both outlines traced -> TracedPhoto."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from gapvision.errors import OutlinesNotFound
from gapvision.inputs.corrections import Correction
from gapvision.photo.facts import PhotoFacts
from gapvision.photo.light import linear, to_8bit
from gapvision.photo.photo import Photo
from gapvision.photo.pose import joint_z, place_cards
from gapvision.scene import card
from gapvision.scene.camera import Lens
from gapvision.scene.hung_card import HungCard
from gapvision.scene.photo_rows import CardSighting, PhotoRows
from gapvision.scene.priors import Half, Priors
from gapvision.trace.drawn import Drawn, drawn_in
from gapvision.trace.looks import about_lines, first_look, rows_of_lines, second_look
from gapvision.trace.network import BLOCK, FLOOR
from gapvision.trace.outlines import (
    HIDDEN,
    LEAST_GAP_PX,
    OUTSIDE,
    SEEN,
    SHUT,
    UNSURE,
    Trace,
    TracedOutline,
    trace_outlines,
)
from gapvision.trace.rectified import CELL_MM, Band, cut_band, visible_stretch

ABOVE_CROWN_MM = 120.0  # of the band, past where the cards' log should end
BEYOND_CROWN_MM = 260.0  # and on the gap's side: 150 mm of gap, and a diameter badly known
FREE_REACH_MM = 420.0  # where a free card tells nothing of the joint's height
BACKING_MM = 3.0  # rim beside a cut card that its stiff backing may show

# How a damaged part of a picture lies to the joint and its cards.
APART, REACHES, ANYWHERE = "apart", "reaches", "anywhere"

CROP_MM = 45.0  # kept of the picture around the joint, for a second look
MOST = 65535
LEAST_BLOCKS = 25  # 100 mm of both outlines
# 400 mm of one: seen steeply the gap looks shut, and the nearer log's limb is plain.
LEAST_ALONE = 100


@dataclass(frozen=True, eq=False, slots=True)
class Crop:
    """A part of the photograph, upright, kept when the picture is let go."""

    bgr: np.ndarray
    x0: int
    y0: int

    def linear(self, x0: int, y0: int, x1: int, y1: int) -> np.ndarray:
        """Linear light (h, w, 3) of a part given in the photograph's pixels."""
        h, w = self.bgr.shape[:2]
        ys = np.clip(np.arange(y0, y1) - self.y0, 0, h - 1)
        xs = np.clip(np.arange(x0, x1) - self.x0, 0, w - 1)
        return (
            linear(self.bgr[ys[0] : ys[-1] + 1, xs[0] : xs[-1] + 1])
            if _plain(ys, xs)
            else linear(self.bgr[np.ix_(ys, xs)])
        )


def _plain(ys: np.ndarray, xs: np.ndarray) -> bool:
    return ys[-1] - ys[0] == len(ys) - 1 and xs[-1] - xs[0] == len(xs) - 1


@dataclass(frozen=True, eq=False, slots=True)
class TracedPhoto:
    """What one photograph shows, in its own frame (first card's nail, hanging plumb)."""

    facts: PhotoFacts
    label: str  # what texts call it
    lens_source: str  # where the prior of its lens is from, as `choose_lens` tells
    rows: PhotoRows  # cards only: outlines come with the joint that they are fitted to
    band: Band  # without its picture
    labels: np.ndarray  # (4, rows, blocks), and
    limbs: np.ndarray  # (2, rows + 1, blocks), from `second_look`, `_packed`
    trace: Trace
    crop: Crop
    unread_cards: tuple[int, ...] = ()  # of which parts are seen
    bent_cards: tuple[int, ...] = ()  # too bent to be of use
    wood: Mapping[int, np.ndarray] = field(
        default_factory=dict
    )  # `wood_beside` each card, by number
    damage: str = ""  # of the picture: none, `APART`, `REACHES` or `ANYWHERE`
    drawn: Drawn | None = None  # where a person corrected it
    not_gap: np.ndarray | None = None  # by block (n,), bool: what was marked so


@dataclass(frozen=True, eq=False, slots=True)
class ReadPhoto:
    """A photograph whose cards are read: all that tracing needs to know of it.

    ``label`` is what texts call it, ``lens_source`` where the prior of its lens is from, as
    `gapvision.photo.lens.prior.choose_lens` tells; ``unread_cards`` are those of which parts are seen,
    ``bent_cards`` those too bent to be of use.
    """

    photo: Photo
    label: str
    side: str
    sightings: tuple[CardSighting, ...]
    unread_cards: tuple[int, ...]
    lens: Lens
    lens_source: str
    bent_cards: tuple[int, ...] = ()
    correction: Correction | None = None


def trace_photo(
    read: ReadPhoto, hung_on: str, stated: Mapping[str, Half | None], priors: Priors
) -> TracedPhoto:
    """Trace the joint in one photograph by itself, through what was drawn in it by hand.

    Parameters
    ----------
    hung_on : ``"upper"``, ``"lower"`` or ``"free"``: what the cards hang on.
    stated : ``"upper"``/``"lower"`` -> stated half diameter by station, or None.

    Raises
    ------
    OutlinesNotFound
        Where the joint lies outside the picture or hardly anything of it can be traced; as `drawn_in`.
    """
    rows = PhotoRows(read.side, read.photo.facts.size, 0, read.sightings)
    placed = place_cards([rows], [read.lens], hung_on)
    camera, cards = placed.cameras[0], list(placed.cards.values())
    reach = _reach(cards, hung_on, stated, priors)
    stretch = visible_stretch(camera, reach.joint_mm, reach.z_mm)
    if stretch[1] - stretch[0] < 150.0:
        raise OutlinesNotFound(
            "joint-outside",
            f"{read.label}: the joint between the logs should lie outside this picture by the "
            "card's place; photograph so that card and gap are both well inside.",
        )
    printed = {s.number: s.print_scale for s in read.sightings}
    polygons = [c.points(_with_backing() * printed[c.number]) for c in cards]
    bgr = read.photo.bgr
    shown = to_8bit(bgr)
    band, band_bgr = cut_band(
        shown, camera, reach.z_mm, stretch, reach.top_mm, reach.bottom_mm, polygons
    )
    labels, limbs = first_look(band, band_bgr, reach.expected_mm)
    within = rows_of_lines(band, labels, limbs)
    labels, limbs = second_look(
        shown, camera, band, labels, limbs, polygons, reach.expected_mm, within
    )
    drawn = None
    if read.correction is not None:  # what was drawn may lie anywhere
        drawn = drawn_in(band, labels.shape[2], read.correction, read.label)
    else:
        band, labels, limbs = about_lines(band, labels, limbs, within)
    trace = trace_outlines(Crop(bgr, 0, 0).linear, band, labels, limbs, drawn=drawn)
    if not shows_gap(trace):
        alone = _longer_alone(trace)
        if alone is None:
            raise no_outlines(read.label)
        trace = alone
    return TracedPhoto(
        read.photo.facts, read.label, read.lens_source, rows, band,
        _packed(labels), _packed(limbs / FLOOR), trace, _crop(bgr, trace),
        read.unread_cards, read.bent_cards, damage=_damage(read, trace), drawn=drawn,
    )  # fmt: skip


def _damage(read: ReadPhoto, trace: Trace) -> str:
    """How what is damaged of the picture lies to its cards and to the joint with what is around it."""
    damage = read.photo.damage
    if damage is None:
        return ""
    if not damage.located:
        return ANYWHERE
    reach = CROP_MM / float(np.median(trace.mm_per_px))
    cards = [cv2.perspectiveTransform(card.outline_mm()[None, :, :2], np.linalg.inv(s.card_from_image))[0]
             for s in read.sightings]  # fmt: skip
    lines = np.concatenate([trace.upper.xy_px, trace.lower.xy_px])
    lines = lines[np.isfinite(lines).all(1)]
    joint = np.concatenate([lines - reach, lines + reach])
    return REACHES if any(damage.touches(xy) for xy in (joint, *cards)) else APART


def _packed(shares: np.ndarray) -> np.ndarray:
    """Numbers from 0 to 1 in steps of 1/65535, uint16: all photographs' are kept until the end."""
    return (np.clip(shares, 0.0, 1.0) * np.float32(MOST) + np.float32(0.5)).astype(np.uint16)


def _unpacked(packed: np.ndarray) -> np.ndarray:
    return packed * np.float32(1 / MOST)


@dataclass(frozen=True, slots=True)
class _Reach:
    """Where the joint must lie in one photograph's own frame, mm: heights, and across the wall.

    ``expected_mm`` is where the cards' log should end, None where its cards do not tell.
    """

    z_mm: float
    joint_mm: float
    top_mm: float
    bottom_mm: float
    expected_mm: float | None


def _reach(
    cards: list[HungCard], hung_on: str, stated: Mapping[str, Half | None], priors: Priors
) -> _Reach:
    half = {
        log: np.array([priors.unknown_radius_mm]) if along is None else along(np.zeros(1))
        for log, along in stated.items()
    }
    z = joint_z(cards, half, priors)
    nail = float(np.median([c.nail_mm[1] for c in cards]))
    if hung_on == "upper":
        crown = nail - float(half["upper"][0])
        return _Reach(z, crown, crown + ABOVE_CROWN_MM, crown - BEYOND_CROWN_MM, crown)
    if hung_on == "lower":
        crown = nail + float(half["lower"][0])
        return _Reach(z, crown, crown + BEYOND_CROWN_MM, crown - ABOVE_CROWN_MM, crown)
    return _Reach(z, nail, nail + FREE_REACH_MM, nail - FREE_REACH_MM, None)


def shows_gap(trace: Trace) -> bool:
    """Whether enough of both outlines is seen: without such a photograph there is no gap to measure."""
    both = (trace.upper.state == SEEN) & (trace.lower.state == SEEN)
    return int(both.sum()) >= LEAST_BLOCKS


def no_outlines(label: str) -> OutlinesNotFound:
    """What to say of a photograph in which the gap is not seen."""
    return OutlinesNotFound(
        "no-outlines",
        f"{label}: the open gap could not be traced below the upper log; it must be "
        "open by at least 3 mm, in the picture, and different from what lies behind it: "
        "hang a plain cloth behind the gap and photograph level with it.",
    )


def _longer_alone(trace: Trace) -> Trace | None:
    """The longer outline where the other is not to be trusted; None where neither is long enough."""
    seen = {log: int((getattr(trace, log).state == SEEN).sum()) for log in ("upper", "lower")}
    shorter, longer = sorted(seen, key=seen.__getitem__)
    if seen[longer] < LEAST_ALONE:
        return None
    line = getattr(trace, shorter)
    unsure = np.where(line.state == SEEN, UNSURE, line.state)
    return replace(trace, **{shorter: replace(line, state=unsure)})


def _with_backing() -> np.ndarray:
    """Outline (4, 3) of a cut card and the rim of its backing, in the card's frame."""
    corners = card.outline_mm()
    middle = corners.mean(0)
    grown = corners + BACKING_MM * np.sign(corners - middle)
    return np.concatenate([grown, np.zeros((4, 1))], 1)


def _crop(bgr: np.ndarray, trace: Trace) -> Crop:
    """What a second look may need, and no more: the picture itself is let go."""
    reach = CROP_MM / float(np.median(trace.mm_per_px))
    seen = (trace.upper.state == SEEN) | (trace.lower.state == SEEN)
    y = np.concatenate([trace.upper.xy_px[seen, 1], trace.lower.xy_px[seen, 1]])
    y0 = int(np.clip(y.min() - reach, 0, bgr.shape[0] - 2))
    y1 = int(np.clip(y.max() + reach, y0 + 1, bgr.shape[0]))
    return Crop(bgr[y0:y1].copy(), 0, y0)


def retrace(photo: TracedPhoto, upper_px: np.ndarray, lower_px: np.ndarray) -> TracedPhoto:
    """Trace again near the outlines that the joint predicts, each (n, 2) px."""
    guide = []
    for px in (upper_px, lower_px):
        column, row = photo.band.from_image(px)
        order = np.argsort(column)
        blocks = len(photo.trace.station_mm)
        at = (np.arange(blocks) + 0.5) * BLOCK - 0.5
        guide.append(np.interp(at, column[order], row[order], left=np.nan, right=np.nan))
    said = _unpacked(photo.labels), FLOOR * _unpacked(photo.limbs)
    trace = trace_outlines(photo.crop.linear, photo.band, *said, tuple(guide), photo.drawn)
    opening = CELL_MM * (guide[1] - guide[0]) / trace.mm_per_px
    shut = np.nan_to_num(opening, nan=np.inf) < LEAST_GAP_PX
    hands = [False, False] if photo.drawn is None else [x.by_hand for x in photo.drawn.lines]
    upper, lower = (
        _close(line, shut & ~np.asarray(hand))
        for line, hand in zip((trace.upper, trace.lower), hands, strict=True)
    )
    again = replace(photo, trace=replace(trace, upper=upper, lower=lower))
    return again if photo.not_gap is None else without_marked(again, photo.not_gap)


def without_marked(photo: TracedPhoto, not_gap: np.ndarray) -> TracedPhoto:
    """The photograph with nothing claimed in blocks (n,) that were marked as not the gap."""
    upper, lower = (
        replace(line, state=np.where(not_gap & (line.state != OUTSIDE), HIDDEN, line.state))
        for line in (photo.trace.upper, photo.trace.lower)
    )
    return replace(photo, trace=replace(photo.trace, upper=upper, lower=lower), not_gap=not_gap)


def _close(line: TracedOutline, shut: np.ndarray) -> TracedOutline:
    """Call a line's seen blocks shut where the joint says that no light comes through there."""
    return replace(line, state=np.where((line.state == SEEN) & shut, SHUT, line.state))
