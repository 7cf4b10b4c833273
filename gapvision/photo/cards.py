"""Finding scale cards in a photograph: which cards, and where each of their corners lies."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import cv2
import numpy as np

from gapvision.errors import CardNotFound
from gapvision.lengths import CHECK_BAR_MM
from gapvision.photo.light import linear
from gapvision.photo.markers import detect_markers, release_memory
from gapvision.scene import card
from gapvision.scene.photo_rows import CardSighting

REDUCED_PX = 2016  # the search runs on a picture about this wide
ENLARGE = 3.0  # of a picture that is no larger, if its markers cannot be read as it is,
ENLARGED_PX = 6048  # and to no more than this: a search of seconds, in some 300 MB
FEW_MARKERS = 6  # of the 22 of one card
LESS_LIGHT = (
    8  # power of the encoded levels; of light doubled twice it reads all 22, plain levels 1 or none
)
PATCH_MM = 2.1  # half side of a corner's patch: the white rim round a marker is 2.5 mm
PATCH_SAMPLES = 15
EDGE_BLUR_PX = 1.1  # typical blur of a phone's edge, sd; a wrong one costs noise, not bias
LEAST_CONTRAST = 0.55  # share of a patch's variance that the saddle must explain
MOST_SHIFT_MM = 1.2  # of a corner from where it is looked for
LEAST_SADDLE = 0.002  # of linear light; a patch without contrast shows no corner
LEAST_MODULE_PX = 1.6  # below this a marker's bits cannot be told apart
LEAST_SIDE_PX = 8.0  # of a marker in the searched picture; of 1739 read ones the least had 9.4
LEAST_CORNERS = 10
CLOSER_REACH = 0.5  # of a card's width, past where a marker has it: of 2517 none by more than 0.48
FLAT_LOSES = 5  # corners that a flat card whole in sight loses at most; more, and it may be bent
NEAR_MARKER_MM = 16.0  # from a marker's middle to the corners of its square, and no farther
LEAST_TWICE = 3  # markers of one card in two places; one alone may be misread
LEAST_SHARP = 3.0  # sd of the Laplacian of the half-size picture, grey levels
LEAST_SHARPEST = 7.5  # second differences, grey levels
LARGE_PX = 24e6  # what the search of a smaller one leaves is soon taken again, at less cost
LEAST_PX = 2.9e6  # 3 megapixels, as phones count them

# SciPy's takes longer to load than this for ten cards.
_erf = np.vectorize(math.erf, otypes=[float])


def find_cards(bgr: np.ndarray, file: str) -> list[CardSighting]:
    """Every card that can be read, by number, corners refined to about 0.05 px.

    Parameters
    ----------
    bgr : array, shape (h, w, 3)
        Upright photograph, display-encoded, 8 or 16 bit.
    file : str
        Its name, for the error texts.

    Raises
    ------
    CardNotFound
        Where no card is seen, one number is seen twice, a card is mirrored, or what is seen is too
        small or too blurred to read.
    """
    return read_cards(bgr, file)[0]


def at_true_size(sightings: list[CardSighting], printed_bar_mm: float) -> tuple[CardSighting, ...]:
    """The sightings as of a print whose check bar measures ``printed_bar_mm``.

    This alone brings all that is measured to true millimetres.
    """
    scale = printed_bar_mm / CHECK_BAR_MM
    return tuple(replace(s, print_scale=scale) for s in sightings)


def read_cards(bgr: np.ndarray, file: str) -> tuple[list[CardSighting], tuple[int, ...]]:
    """As `find_cards`, and the numbers of cards of which parts are seen that cannot be read."""
    grey: np.ndarray = cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY)
    if grey.dtype != np.uint8:
        grey = (grey >> 8).astype(np.uint8)
    markers = _once(_find_markers(grey), file)
    if grey.size > LARGE_PX:
        release_memory()  # the search leaves 35 MB to nobody, of a picture of 48 megapixels
    sightings, unread = [], []
    for number in sorted({m // card.IDS_PER_CARD + 1 for m in markers}):
        mine = {m: p for m, p in markers.items() if m // card.IDS_PER_CARD + 1 == number}
        found = _read_card(bgr, number, mine)
        if found is None:
            found = _read_card(bgr, number, _look_closer(grey, number, mine))
        if found is not None:
            sightings.append(found)
        elif len(mine) > 1:  # a single marker may be a misreading
            unread.append(number)
    if not sightings:
        raise CardNotFound(*_why_none(grey, markers, file))
    return sightings, tuple(unread)


@cache
def _marker_quad_mm(marker: int) -> np.ndarray:
    """A marker's corners (4, 2) in the card's frame, in OpenCV's order."""
    board = card.board(marker // card.IDS_PER_CARD + 1)
    place = list(np.ravel(board.getIds())).index(marker)
    corner = np.array(board.getChessboardCorners(), float).reshape(-1, 3)[0, :2]
    nail_from_board = card.corner_points_mm()[0, :2] - corner * [1, -1]
    return nail_from_board + np.reshape(board.getObjPoints()[place], (4, 3))[:, :2] * [1, -1]


def _corner_signs() -> np.ndarray:
    """+1 where the square right and above of a corner is white: the board starts black top left."""
    points = card.corner_points_mm()
    column = np.rint((points[:, 0] - points[0, 0]) / card.SQUARE_MM)
    row = np.rint((points[0, 1] - points[:, 1]) / card.SQUARE_MM)
    return np.where((column + row) % 2 == 0, 1.0, -1.0)


def _once(markers: dict[int, list[np.ndarray]], file: str) -> dict[int, np.ndarray]:
    """One quad a marker; where several markers of a card stand in two places, it is there twice."""
    twice: dict[int, int] = {}
    for m, quads in markers.items():
        middles = np.array([q.mean(0) for q in quads])
        side = np.linalg.norm(quads[0][0] - quads[0][1])
        if np.linalg.norm(middles - middles[0], axis=1).max() > 3 * side:
            number = m // card.IDS_PER_CARD + 1
            twice[number] = twice.get(number, 0) + 1
    for number, count in sorted(twice.items()):
        if count >= LEAST_TWICE:
            raise CardNotFound(
                "card-twice",
                f"{file}: card {number} is seen twice; every card of a joint needs a number of its "
                "own: take one away or print another number (gapvision card --first).",
            )
    return {m: quads[0] for m, quads in markers.items()}


def _find_markers(grey: np.ndarray) -> dict[int, list[np.ndarray]]:
    """Corner quads (4, 2) px by marker id; sought again where hardly any are found.

    First larger, then as with less light: where there is too much, white spreads over the black modules
    until their rims are gone, and is still brighter than what is left of them.
    """
    reduce = max(1, round(max(grey.shape) / REDUCED_PX))
    found: dict[int, list[np.ndarray]] = {}
    # A picture that was reduced is sought as it is, none larger than that.
    larger = min(1.0 if reduce > 1 else ENLARGE, ENLARGED_PX / max(grey.shape))
    for scale, levels in ((1.0 / reduce, None), (larger, None), (larger, _less_light())):
        if len(found) < FEW_MARKERS:
            way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
            lit = grey if levels is None else cv2.LUT(grey, levels)
            sized = cv2.resize(lit, None, fx=scale, fy=scale, interpolation=way)
            found = max(detect_markers(sized, scale, LEAST_SIDE_PX), found, key=len)
    return found


def _less_light() -> np.ndarray:
    """Levels (256,) by which nothing but the brightest stays bright."""
    return np.rint(255 * (np.arange(256) / 255) ** LESS_LIGHT).astype(np.uint8)


def _look_closer(
    grey: np.ndarray, number: int, markers: dict[int, np.ndarray]
) -> dict[int, np.ndarray]:
    """The card's markers again, in the full picture where the few that the reduced one showed have it."""
    seen = np.concatenate(list(markers.values()))
    side = np.median([np.linalg.norm(np.diff(q, axis=0), axis=1).mean() for q in markers.values()])
    on_card = np.concatenate([_marker_quad_mm(m) for m in markers])
    fit, *_ = np.linalg.lstsq(np.c_[on_card, np.ones(len(on_card))], seen, rcond=None)
    whole = np.concatenate([np.c_[card.outline_mm(), np.ones(4)] @ fit, seen])
    reach = CLOSER_REACH * side / card.MARKER_MM * card.CARD_WIDTH_MM
    h, w = grey.shape
    x0, y0 = np.clip(whole.min(0) - reach, 0, [w - 1, h - 1]).astype(int)
    x1, y1 = np.clip(whole.max(0) + reach, 1, [w, h]).astype(int)
    # OpenCV reads markers of 4 px a module best when enlarged, and smaller ones not otherwise.
    enlarge = 1.0 if side > 48 else 2.0 if side > 20 else ENLARGE
    crop = cv2.resize(
        grey[y0:y1, x0:x1], None, fx=enlarge, fy=enlarge, interpolation=cv2.INTER_CUBIC
    )
    found = detect_markers(crop, enlarge, 0.5 * side * enlarge)
    return {
        m: quads[0] + [x0, y0] for m, quads in found.items() if m // card.IDS_PER_CARD + 1 == number
    }


def _read_card(bgr: np.ndarray, number: int, markers: dict[int, np.ndarray]) -> CardSighting | None:
    """The card's sighting from some of its markers, or None where they do not fit one board."""
    if len(markers) < 2:
        return None
    on_card = np.concatenate([_marker_quad_mm(m) for m in markers])
    in_image = np.concatenate(list(markers.values()))
    image_from_card, keep = cv2.findHomography(on_card, in_image, cv2.RANSAC, 3.0)
    if image_from_card is None or int(keep.sum()) < 8:
        return None
    if np.linalg.det(image_from_card[:2, :2]) > 0:  # y up on the card, down in the picture
        return None
    flat = refine_corners(bgr, number, image_from_card)
    count = 0 if flat is None else len(flat.corner_id)
    if count >= len(card.corner_points_mm()) - FLAT_LOSES:
        return flat
    bent = _corners_by_markers(bgr, number, markers)
    return bent if bent is not None and len(bent.corner_id) > count + FLAT_LOSES else flat


def refine_corners(
    bgr: np.ndarray, number: int, image_from_card: np.ndarray
) -> CardSighting | None:
    """Fit every inner corner of a card near where a first homography puts it.

    Notes
    -----
    Each patch is sampled on a grid square to the card, in linear light, and fitted by the product
    of two blurred steps (a saddle), whose place is free: two Newton rounds, vectorised over the
    corners. Ink spread and the tone curve move edges, not saddles. Corners whose patch is not
    explained by the saddle (hidden, in a highlight) are dropped.
    """
    points = card.corner_points_mm()[:, :2]
    sign = _corner_signs()
    good = np.zeros(len(points), bool)
    for _ in range(3):
        centres = cv2.perspectiveTransform(points[None], image_from_card)[0]
        per_mm = _px_per_mm(image_from_card, points)
        module = card.MARKER_MM / 6 * per_mm
        if module < LEAST_MODULE_PX:
            return None
        at = (points[:, None] + _grid_mm()).reshape(1, -1, 2)
        sampled = cv2.perspectiveTransform(at, image_from_card).reshape(len(points), -1, 2)
        shift, explained = _fit_saddles(_patches(bgr, sampled), sign, EDGE_BLUR_PX / per_mm)
        good = _inside(bgr, centres) & (explained > LEAST_CONTRAST)
        good &= np.abs(shift).max(1) < MOST_SHIFT_MM
        if good.sum() < LEAST_CORNERS:
            return None
        px = cv2.perspectiveTransform((points + shift)[None], image_from_card)[0]
        image_from_card, _ = cv2.findHomography(points[good], px[good], cv2.RANSAC, 1.5)
        if image_from_card is None:
            return None
    left, spread = _off_plane(points[good], px[good], image_from_card)
    keep = np.hypot(*left.T) < max(4 * spread, 0.5)
    return CardSighting(
        number=number,
        corner_id=np.flatnonzero(good)[keep],
        corner_px=px[good][keep],
        u_px=float(np.clip(spread, 0.05, 1.0)),
        card_from_image=np.linalg.inv(image_from_card),
        module_px=module,
    )


def _off_plane(
    points: np.ndarray, px: np.ndarray, image_from_card: np.ndarray
) -> tuple[np.ndarray, float]:
    """What corners (n, 2) miss a plane's picture by, px, and the robust spread of that."""
    left = px - cv2.perspectiveTransform(points[None], image_from_card)[0]
    return left, float(1.4826 * np.median(np.abs(left - np.median(left, axis=0))))


def _inside(bgr: np.ndarray, px: np.ndarray) -> np.ndarray:
    h, w = bgr.shape[:2]
    return np.all((px > 4) & (px < [w - 5, h - 5]), axis=1)


def _corners_by_markers(
    bgr: np.ndarray, number: int, markers: dict[int, np.ndarray]
) -> CardSighting | None:
    """The corners of a card that need not be flat, each looked for beside its own markers.

    Notes
    -----
    On a bent card `refine_corners` takes the corners near one plane and loses whole rows of others:
    what is left looks flat. A marker is read wherever it is, and its own homography leads to the
    corners at its square to about a pixel.
    """
    points = card.corner_points_mm()[:, :2]
    at, px, known = _by_markers(points, markers)
    if known.sum() < LEAST_CORNERS:
        return None
    image_from_card, _ = cv2.findHomography(points[known], px[known].mean(1))
    if image_from_card is None or np.linalg.det(image_from_card[:2, :2]) > 0:
        return None
    per_mm = _px_per_mm(image_from_card, points)
    if card.MARKER_MM / 6 * per_mm < LEAST_MODULE_PX:
        return None
    shift, explained = _fit_saddles(_patches(bgr, px), _corner_signs(), EDGE_BLUR_PX / per_mm)
    found = px.mean(1) + np.einsum("nij,nj->ni", at, shift)
    good = known & _inside(bgr, px.mean(1)) & (explained > LEAST_CONTRAST)
    good &= np.abs(shift).max(1) < MOST_SHIFT_MM
    if good.sum() < LEAST_CORNERS:
        return None
    image_from_card, _ = cv2.findHomography(points[good], found[good])
    if image_from_card is None:
        return None
    _, spread = _off_plane(points[good], found[good], image_from_card)
    return CardSighting(
        number=number,
        corner_id=np.flatnonzero(good),
        corner_px=found[good],
        u_px=float(np.clip(spread, 0.05, 1.0)),
        card_from_image=np.linalg.inv(image_from_card),
        module_px=card.MARKER_MM / 6 * per_mm,
    )


def _by_markers(
    points: np.ndarray, markers: dict[int, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """By corner: the affine map (2, 2) px/mm of the markers at it, its patch's px, and if there is one."""
    maps, px = np.zeros((len(points), 2, 2)), np.zeros((len(points), PATCH_SAMPLES**2, 2))
    known = np.zeros(len(points), bool)
    for k, point in enumerate(points):
        near = [m for m in markers
                if np.linalg.norm(_marker_quad_mm(m).mean(0) - point) < NEAR_MARKER_MM]  # fmt: skip
        if near:
            mm = np.concatenate([_marker_quad_mm(m) for m in near]) - point
            seen = np.concatenate([markers[m] for m in near])
            fit, *_ = np.linalg.lstsq(np.c_[mm, np.ones(len(mm))], seen, rcond=None)
            maps[k], known[k] = fit[:2].T, True
            px[k] = _grid_mm() @ fit[:2] + fit[2]
    return maps, px, known


@cache
def _grid_mm() -> np.ndarray:
    """Where a patch is sampled (k * k, 2), mm from its corner."""
    grid = np.linspace(-PATCH_MM, PATCH_MM, PATCH_SAMPLES)
    return np.stack(np.meshgrid(grid, grid), -1).reshape(-1, 2)


def _px_per_mm(image_from_card: np.ndarray, points: np.ndarray) -> float:
    corners = np.array([points[0], points[9], points[-1], points[-10]])
    px = cv2.perspectiveTransform(corners[None], image_from_card)[0]
    sides = np.linalg.norm(px - np.roll(px, 1, 0), axis=1)
    return float(sides.sum() / np.linalg.norm(corners - np.roll(corners, 1, 0), axis=1).sum())


def _patches(bgr: np.ndarray, px: np.ndarray) -> np.ndarray:
    """Linear-light patches (n, k, k) at image points (n, k * k, 2)."""
    px = px.astype(np.float32)
    h, w = bgr.shape[:2]
    x0, y0 = np.clip(np.floor(px.min((0, 1))).astype(int) - 2, 0, [w - 1, h - 1])
    x1, y1 = np.clip(np.ceil(px.max((0, 1))).astype(int) + 3, 1, [w, h])
    part = linear(bgr[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)])
    grey = np.ascontiguousarray(part @ np.array([0.114, 0.587, 0.299], np.float32))
    px = px - np.array([x0, y0], np.float32)
    out = cv2.remap(grey, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return out.reshape(len(px), PATCH_SAMPLES, PATCH_SAMPLES)


def _fit_saddles(
    patches: np.ndarray, sign: np.ndarray, blur_mm: float
) -> tuple[np.ndarray, np.ndarray]:
    """Shift (n, 2) mm of each patch's saddle from its middle, and the share of variance explained."""
    flat = patches.reshape(len(patches), -1)
    flat = (flat - flat.mean(1, keepdims=True)).astype(float).reshape(patches.shape)
    squares = (flat**2).sum((1, 2))
    shift = np.zeros((len(patches), 2))
    for _ in range(6):
        # Each model is a curve down times one across, so that sums over a patch are products of sums.
        across, down = (_edge(shift[:, k], blur_mm) for k in range(2))
        normal = _products(down)[:, PARTS[0][:, None], PARTS[0]]
        normal *= _products(across)[:, PARTS[1][:, None], PARTS[1]]
        right = (np.swapaxes(down, 1, 2) @ flat @ across)[:, *PARTS]
        fit = np.linalg.solve(normal + 1e-9 * np.eye(4), right[..., None])[..., 0]
        amplitude = np.where(np.abs(fit[:, 0]) < 1e-6, 1e-6, fit[:, 0])
        step = np.clip(fit[:, 1:3] / amplitude[:, None], -0.4, 0.4)
        shift = np.clip(shift + step, -1.5, 1.5)
    met_by_fit = (fit * (2 * right - (normal @ fit[..., None])[..., 0])).sum(1)
    explained = met_by_fit / np.maximum(squares, 1e-12)
    return shift, np.where(fit[:, 0] * sign > LEAST_SADDLE, explained, 0.0)


# A saddle, its change with a shift across and with one down, and a constant: which of `_edge`'s curves
# each is down the patch, and which across.
PARTS = np.array([[0, 0, 1, 2], [0, 1, 0, 2]])


def _edge(shift_mm: np.ndarray, blur_mm: float) -> np.ndarray:
    """A blurred step shifted (n,) along a patch, its change with the shift, and a constant: (n, k, 3)."""
    grid = np.linspace(-PATCH_MM, PATCH_MM, PATCH_SAMPLES)
    scale = blur_mm * np.sqrt(2)
    off = (grid - shift_mm[:, None]) / scale
    slope = -2 / np.sqrt(np.pi) / scale * np.exp(-(off**2))
    return np.stack([_erf(off), slope, np.ones_like(off)], -1)


def _products(curves: np.ndarray) -> np.ndarray:
    """Sums (n, 3, 3) of curves (n, k, 3) times each other."""
    return np.swapaxes(curves, 1, 2) @ curves


def _why_none(grey: np.ndarray, markers: dict[int, np.ndarray], file: str) -> tuple[str, str]:
    """Code and sentence for a photograph without a readable card."""
    half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    blurred = _how_blurred(half)
    if blurred:
        return "blurred", (
            f"{file}: no scale card can be read, and {blurred}; have a card whole in the picture, hold "
            "the phone still or rest it on something, let it focus on the card, and photograph again."
        )
    if len(detect_markers(cv2.flip(half, 1), 0.5, LEAST_SIDE_PX)) > max(LEAST_TWICE, len(markers)):
        return "mirrored", (
            f"{file}: the scale card is mirrored; use the photograph as the camera took it, not a "
            "selfie or a flipped copy."
        )
    if len(markers) > 1:
        return "card-unreadable", (
            f"{file}: parts of a scale card were seen, but too small, hidden, cut off or blurred; "
            "its squares must be some 12 px wide and most of it in sight: go nearer, hold still, "
            "and keep the whole card free and inside the picture."
        )
    h, w = grey.shape
    if h * w < LEAST_PX:
        return "no-card", (
            f"{file}: no scale card can be read in a picture of only {w} x {h} px; give the "
            "photograph as the camera took it, of 3 megapixels and more, not a reduced copy, with a "
            "printed card whole and flat in it."
        )
    return "no-card", (
        f"{file}: no scale card can be read: none is there, or it is hidden, cut off, too far away or "
        "too blurred; hang one whole and flat at the widest point of the log and photograph it "
        "sharply from 1 to 2 m."
    )


def _how_blurred(half: np.ndarray) -> str:
    """What is to be said of a half-size picture that is sharp in no direction, or not in all; or nothing.

    Notes
    -----
    Smoothed against noise, a sharp photograph of a card has second differences of 20 grey levels and
    more in its sharpest thousandth in every direction; of one shaken by 20 px or out of focus by 4 px
    (sd) there are 8 at most in one of them, and as many as ever in a picture eight times smaller. Wood
    without a card may have as few along its grain.
    """
    nothing = "nothing in the photograph is sharp: it is blurred, or shows no card"
    if cv2.Laplacian(half, cv2.CV_32F).std() < LEAST_SHARP:
        return nothing
    small = cv2.resize(half, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA)
    (least, most), (least_small, most_small) = _sharpest(half), _sharpest(small)
    if most < LEAST_SHARPEST < most_small:
        return nothing
    if least < LEAST_SHARPEST < least_small:
        return "the photograph is sharp in one direction only: it shows no card, or was shaken"
    return ""


def _sharpest(grey: np.ndarray) -> tuple[float, float]:
    """The 0.999 quantile of the second difference, in the directions in which it is least and most."""
    f = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0)
    xx = f[1:-1, 2:] + f[1:-1, :-2] - 2 * f[1:-1, 1:-1]
    yy = f[2:, 1:-1] + f[:-2, 1:-1] - 2 * f[1:-1, 1:-1]
    xy = 0.25 * (f[2:, 2:] + f[:-2, :-2] - f[2:, :-2] - f[:-2, 2:])
    found = []
    for turn in np.arange(0, np.pi, np.pi / 8):
        c, s = np.cos(turn), np.sin(turn)
        along = c * c * xx
        along += 2 * c * s * xy  # in place: of 60 megapixels each of these has 60 MB
        along += s * s * yy
        found.append(float(np.quantile(np.abs(along, out=along), 0.999, overwrite_input=True)))
    return min(found), max(found)
