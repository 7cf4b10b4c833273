"""One photograph by itself: cards, its own camera, and both outlines traced -> Sight."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gapvision.errors import OutlinesNotFound
from gapvision.photo.cards import CardSighting
from gapvision.photo.light import linear, to_8bit
from gapvision.photo.photo import Photo
from gapvision.photo.pose import joint_z, place_cards
from gapvision.scene import card
from gapvision.scene.camera import Lens
from gapvision.scene.hung_card import card_axes
from gapvision.scene.priors import Priors
from gapvision.scene.view import View
from gapvision.trace.labels import BLOCK, in_blocks, label_cells, network_input
from gapvision.trace.limbs import line_places
from gapvision.trace.outlines import (
    LEAST_GAP_PX,
    SEEN,
    SHUT,
    UNSURE,
    Line,
    Trace,
    first_lines,
    trace_outlines,
)
from gapvision.trace.rectified import CELL_MM, Band, cut_band, visible_stretch

ABOVE_CROWN_MM = 120.0  # of the band, past where the cards' log should end
BEYOND_CROWN_MM = 260.0  # and on the gap's side: 150 mm of gap, and a diameter badly known
FREE_REACH_MM = 420.0  # where a free card tells nothing of the joint's height
BACKING_MM = 3.0  # rim beside a cut card that its stiff backing may show

STRIP_MM = 45.0  # kept of the picture around the joint, for a second look
LEAST_BLOCKS = 25  # 100 mm of both outlines
LEAST_ALONE = (
    100  # 400 mm of one: seen steeply the gap looks shut, and the nearer log's limb is plain
)


@dataclass(frozen=True, eq=False, slots=True)
class Strip:
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
class Sight:
    """What one photograph shows, in its own frame (first card's nail, hanging plumb)."""

    photo: Photo  # its pixels dropped: bgr is empty
    view: View
    band: Band
    chances: np.ndarray  # float16 (4, rows, blocks), from `in_blocks`
    places: np.ndarray  # float16 (2, rows + 1, blocks), from `line_places`
    trace: Trace
    strip: Strip
    unread_cards: tuple[int, ...] = ()  # of which parts are seen


def camera_of(view: View, lens: Lens, hung_on: str):
    """The photograph's camera and cards in a frame of its own."""
    alone = replace(view, lens=0)
    return place_cards([alone], [lens], hung_on)


def take_sight(
    photo: Photo,
    sightings: list[CardSighting],
    side: str,
    lens: Lens,
    hung_on: str,
    stated: dict,
    priors: Priors,
) -> Sight:
    """Trace the joint in one photograph whose cards are found.

    Raises
    ------
    OutlinesNotFound
        Where the joint lies outside the picture or hardly anything of it can be traced.
    """
    size = (photo.bgr.shape[1], photo.bgr.shape[0])
    view = View(side, size, 0, tuple(sightings))
    placed = camera_of(view, lens, hung_on)
    camera = placed.cameras[0]
    cards = list(placed.cards.values())
    middle = np.zeros(1)
    half = {
        log: stated[log](middle)
        if stated[log] is not None
        else np.array([priors.unknown_radius_mm])  # noqa: E501
        for log in ("upper", "lower")
    }
    z = joint_z(cards, half, priors)
    nail = float(np.median([c.nail_mm[1] for c in cards]))
    if hung_on == "upper":
        expected = nail - float(half["upper"][0])
        top, bottom = expected + ABOVE_CROWN_MM, expected - BEYOND_CROWN_MM
    elif hung_on == "lower":
        expected = nail + float(half["lower"][0])
        top, bottom = expected + BEYOND_CROWN_MM, expected - ABOVE_CROWN_MM
    else:
        expected, top, bottom = None, nail + FREE_REACH_MM, nail - FREE_REACH_MM
    along = expected if expected is not None else nail
    stretch = visible_stretch(camera, along, z)
    if stretch[1] - stretch[0] < 150.0:
        raise OutlinesNotFound(
            "joint-outside",
            f"{photo.file}: the joint between the logs should lie outside this picture by the "
            "card's place; photograph so that card and gap are both well inside.",
        )
    polygons = [c.nail_mm + _with_backing() @ card_axes(c.tilt_rad, c.side).T for c in cards]
    band = cut_band(to_8bit(photo.bgr), camera, z, stretch, top, bottom, polygons)
    row = None if expected is None else top - expected
    planes = network_input(band, row)
    chances = in_blocks(label_cells(planes))
    places = line_places(planes, first_lines(band, chances), BLOCK)
    whole = Strip(photo.bgr, 0, 0)
    trace = trace_outlines(whole.linear, band, chances, places)
    if not shows_gap(trace):
        trace = _longer_alone(trace)
        if trace is None:
            raise no_outlines(photo)
    strip = _strip(photo.bgr, band, trace)
    band = replace(band, bgr=np.empty((0, 0, 3), np.uint8))
    photo = replace(photo, bgr=np.empty((0, 0, 3), np.uint8))
    seen = chances.astype(np.float16), places.astype(np.float16)
    return Sight(photo, view, band, *seen, trace, strip)


def shows_gap(trace: Trace) -> bool:
    """Whether enough of both outlines is seen: without such a photograph there is no gap to measure."""
    both = (trace.upper.state == SEEN) & (trace.lower.state == SEEN)
    return int(both.sum()) >= LEAST_BLOCKS


def no_outlines(photo: Photo) -> OutlinesNotFound:
    """What to say of a photograph in which the gap is not seen."""
    return OutlinesNotFound(
        "no-outlines",
        f"{photo.file}: the open gap could not be traced below the upper log; it must be "
        "open by at least 3 mm, in the picture, and different from what lies behind it: "
        "hang a plain cloth behind the gap and photograph level with it.",
    )


def _longer_alone(trace: Trace) -> Trace | None:
    """The longer outline where the other is not to be trusted; None where neither is long enough."""
    seen = {log: int((getattr(trace, log).state == SEEN).sum()) for log in ("upper", "lower")}
    shorter, longer = sorted(seen, key=seen.get)
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


def _strip(bgr: np.ndarray, band: Band, trace: Trace) -> Strip:
    reach = STRIP_MM / float(np.median(trace.mm_per_px))
    seen = (trace.upper.state == SEEN) | (trace.lower.state == SEEN)
    y = np.concatenate([trace.upper.xy_px[seen, 1], trace.lower.xy_px[seen, 1]])
    y0 = int(np.clip(y.min() - reach, 0, bgr.shape[0] - 2))
    y1 = int(np.clip(y.max() + reach, y0 + 1, bgr.shape[0]))
    return Strip(bgr[y0:y1].copy(), 0, y0)


def retrace(sight: Sight, upper_px: np.ndarray, lower_px: np.ndarray) -> Sight:
    """Trace again near the outlines that the joint predicts, each (n, 2) px."""
    guide = []
    for px in (upper_px, lower_px):
        column, row = sight.band.from_image(px)
        order = np.argsort(column)
        blocks = len(sight.trace.station_mm)
        at = (np.arange(blocks) + 0.5) * BLOCK - 0.5
        guide.append(np.interp(at, column[order], row[order], left=np.nan, right=np.nan))
    trace = trace_outlines(
        sight.strip.linear, sight.band, sight.chances, sight.places, tuple(guide)
    )
    opening = CELL_MM * (guide[1] - guide[0]) / trace.mm_per_px
    shut = np.nan_to_num(opening, nan=np.inf) < LEAST_GAP_PX
    return replace(
        sight,
        trace=replace(trace, upper=_close(trace.upper, shut), lower=_close(trace.lower, shut)),
    )


def _close(line: Line, shut: np.ndarray) -> Line:
    """Call a line's seen blocks shut where the joint says that no light comes through there."""
    return replace(line, state=np.where((line.state == SEEN) & shut, SHUT, line.state))
