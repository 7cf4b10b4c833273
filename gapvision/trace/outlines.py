"""The two outlines of the open joint, sub-pixel, each point with its own standard uncertainty.

Three steps: a small network says of every place in the band what lies there (upper log, background
seen through the gap, lower log, something in front), and of each column in which row each limb lies
(`gapvision.trace.network`); dynamic programming finds the two lines that agree best with both along
the whole band; a limb model then finds the edge beside each line in linear light at full resolution.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from gapvision.trace.drawn import (
    SURE,
    Drawn,
    DrawnLine,
    disproved,
    drawn_u,
    held_cost,
    held_limbs,
    leads_back,
)
from gapvision.trace.edges import EdgeFit, LightOf, fit_edges
from gapvision.trace.network import BLOCK, FRONT, GAP, LOWER, UPPER
from gapvision.trace.rectified import CELL_MM, Band

TEMPER = 0.35  # neighbouring cells err together: their votes are counted less than in full
VOTE_LIMIT = 4.0  # and no cell outvotes its surroundings
VOTES_SHARE, LIMBS_SHARE = 0.25, 1.0  # of a line's cost
STEP_ROWS = 3  # the line's largest step between blocks
STEP_COST = 3.0
LEAST_GAP_PX = 3.0  # nothing below this can be measured
EDGE_ZONE_MM = 6  # rows around a line that must be free and clearly labelled
MOST_IN_FRONT = 0.4  # of what the zone shows
LEAST_MARGIN = 0.9  # mean vote on both sides; below it the label is a guess
NEAR_ROWS, LEAST_SD_ROWS = 4, 0.3
SURE_REACH, LEAST_SURE = 2, 0.60  # of lines at least so sure 1.8 % of blocks are over 2 mm off
# Who is often unsure errs where he is sure, too: claimed blocks amid many unsure ones are believed less.
AROUND_BLOCKS, MOST_UNSURE, AMID_UNSURE_MM = 75, 0.6, 20.0
DOUBT_ROWS, DOUBT_BLOCKS, DOUBT_SHARE = 40, 7, 0.8
SURE_ROWS = 1.5  # clear votes alone give 1.3; the limb beside such a line is the right one
ALONG = 3.0  # a wrong label is wrong over some 100 mm, not in one row of the fit: counted so often
MOST_DOUBT_PX = 36.0
MOST_MISFIT_PX = 6.0
MOST_PULLS = 2.5  # an edge farther off than so many sds of the network's row is another edge


@dataclass(frozen=True, eq=False, slots=True)
class TracedOutline:
    """One outline in blocks (n,): band row, px place (n, 2), uncertainty (px), and where it holds.

    ``state`` is one of `SEEN`, `SHUT`, `HIDDEN`, `UNSURE` and `OUTSIDE` per block, ``sure`` the network's
    own probability that the limb lies within `SURE_REACH` rows of the line.
    """

    row: np.ndarray
    xy_px: np.ndarray
    u_px: np.ndarray
    state: np.ndarray
    sure: np.ndarray


SEEN, SHUT, HIDDEN, UNSURE, OUTSIDE = range(5)


@dataclass(frozen=True, eq=False, slots=True)
class Trace:
    """Both outlines of one photograph by block; ``station_mm`` (n,) in the band's plane."""

    station_mm: np.ndarray
    upper: TracedOutline
    lower: TracedOutline
    mm_per_px: np.ndarray


def likely_lines(
    band: Band, labels: np.ndarray, limbs: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Rows (blocks,) of the upper and the lower line by the network alone, to half a row."""
    votes, _ = _votes(band, labels)
    upper, lower = _best_paths(np.stack(_costs(votes, limbs))) - 0.5
    return upper, lower


def _votes(band: Band, labels: np.ndarray) -> tuple[list[np.ndarray], np.ndarray]:
    """Votes (rows, blocks) of cells to lie above the upper, above the lower line; what is usable."""
    p = labels.astype(np.float32) + np.float32(1e-4)
    usable = _blockwise(band.seen & ~band.hidden, labels.shape[2])
    heard = (1 - p[FRONT]) * usable * np.float32(TEMPER)
    votes = [np.log(p[UPPER] / (p[GAP] + p[LOWER])), np.log((p[UPPER] + p[GAP]) / p[LOWER])]
    for vote in votes:
        np.clip(vote, -VOTE_LIMIT, VOTE_LIMIT, out=vote)
        vote *= heard
    return votes, usable


def _cost(votes: np.ndarray) -> np.ndarray:
    """What a line above row r costs (rows + 1, blocks), over the least in its column: with numbers that
    stay small single precision is enough."""
    cost = np.zeros((len(votes) + 1, votes.shape[1]), votes.dtype)
    np.cumsum(votes, axis=0, out=cost[1:])
    return np.subtract(cost.max(0), cost, out=cost)


def _costs(votes: list[np.ndarray], limbs: np.ndarray) -> list[np.ndarray]:
    """What each of the two lines costs (rows + 1, blocks) by the votes and the limbs' places."""
    return [
        VOTES_SHARE * _cost(v) - LIMBS_SHARE * limb for v, limb in zip(votes, limbs, strict=True)
    ]


def trace_outlines(
    linear_bgr: LightOf,
    band: Band,
    labels: np.ndarray,
    limbs: np.ndarray,
    guide: tuple[np.ndarray, np.ndarray] | None = None,
    drawn: Drawn | None = None,
) -> Trace:
    """Find both outlines along a band.

    Parameters
    ----------
    linear_bgr : callable
        The photograph's light, as `edges.LightOf`.
    labels : array (4, rows, blocks)
    limbs : array (2, rows + 1, blocks)
        Both as `looks.first_look` gives them.
    guide : pair of arrays (blocks,), optional
        Rows of the upper and lower outline that a fitted joint predicts, NaN where it does not;
        the lines are then sought near them.
    drawn : Drawn, optional
        What a person drew: there the lines are where it was drawn, or at an edge beside, and claimed.
    """
    votes, usable = _votes(band, labels)
    followed = _follow(votes, limbs, guide, drawn)
    column = (np.arange(labels.shape[2]) + 0.5) * BLOCK - 0.5
    smooth = [
        np.where(f.by_hand, f.row, cv2.GaussianBlur(f.row[None], (0, 0), 1.5)[0]) for f in followed
    ]
    smooth[1] = np.maximum(smooth[1], smooth[0])
    below = band.to_image(column, smooth[0] + 1.0)
    per_cell = np.linalg.norm(below - band.to_image(column, smooth[0]), axis=1)
    gap_px = (smooth[1] - smooth[0]) * per_cell
    pull = tuple(f.sd_rows * per_cell for f in followed)
    edges = fit_edges(linear_bgr, band, column, smooth[0], smooth[1], pull)
    fits = [_not_back(fit, f, per_cell) for fit, f in zip(edges, followed, strict=True)]
    states = [
        _states(band, labels[FRONT], votes[k], smooth[k], gap_px, usable, followed[k].by_hand)
        for k in range(2)
    ]
    placed = [
        _placed(smooth[k], fits[k], per_cell, pull[k], followed[k].doubt_rows) for k in range(2)
    ]
    gap_px = (placed[1][0] - placed[0][0]) * per_cell
    middle = 0.5 * (placed[0][0] + placed[1][0])
    lines = []
    for k, keep in enumerate((np.minimum, np.maximum)):
        (row, u), f = placed[k], followed[k]
        state = np.where((states[k] == SEEN) & (gap_px < LEAST_GAP_PX), SHUT, states[k])
        state, share = _doubted(state, u, f.sure, f.by_hand)
        u = np.hypot(u, AMID_UNSURE_MM * share * per_cell / CELL_MM)
        u = np.where(f.by_hand, drawn_u(pull[k], _at_edge(fits[k], pull[k])), u)
        row = keep(row, middle)  # the two never cross, not even where neither is seen
        xy = band.to_image(column, row)
        lines.append(TracedOutline(row, xy, u, state, f.sure))
    return Trace(
        band.left_mm + column * CELL_MM, lines[0], lines[1], CELL_MM / np.maximum(per_cell, 1e-6)
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Followed:
    """One line along the band by block (n,): its row, and how sure that is.

    ``sd_rows`` is of the limb about the line, ``doubt_rows`` of lines as good as this one, ``sure`` the
    probability that the limb is this line's, ``by_hand`` whether it was drawn there, and ``before`` the row
    by the network alone.
    """

    row: np.ndarray
    sd_rows: np.ndarray
    doubt_rows: np.ndarray
    sure: np.ndarray
    by_hand: np.ndarray
    before: np.ndarray


def _follow(
    votes: list[np.ndarray],
    limbs: np.ndarray,
    guide: tuple[np.ndarray, np.ndarray] | None,
    drawn: Drawn | None,
) -> list[_Followed]:
    """The two lines that agree best with votes (rows, blocks), the limbs' places, and a guide.

    They go through what was drawn, and are sure there.
    """
    costs = _costs(votes, limbs)
    if drawn is not None:
        alone = [
            path + _about(limb, path)[0] - 0.5
            for limb, path in zip(limbs, _best_paths(np.stack(costs)), strict=True)
        ]
    if guide is not None:
        costs = [cost + _away(guide[k], len(cost)) for k, cost in enumerate(costs)]
    places = list(limbs)
    if drawn is not None:
        upper, lower = drawn.lines
        costs = [held_cost(costs[0], upper, lower, 1.0), held_cost(costs[1], lower, upper, -1.0)]
        places = [held_limbs(limb, x) for limb, x in zip(limbs, drawn.lines, strict=True)]
    followed = []
    for limb, cost, path in zip(places, costs, _best_paths(np.stack(costs)), strict=True):
        offset, sd = _about(limb, path)
        row = path + offset - 0.5  # a line between two rows
        nowhere = np.zeros(len(row), bool)
        followed.append(_Followed(row, sd, _doubt(cost, path), _sure(limb, path), nowhere, row))
    if drawn is None:
        return followed
    u_rows = drawn.correction.u_mm / CELL_MM
    return [
        _as_drawn(f, x, u_rows, b) for f, x, b in zip(followed, drawn.lines, alone, strict=True)
    ]


def _as_drawn(f: _Followed, line: DrawnLine, u_rows: float, before: np.ndarray) -> _Followed:
    """The line where it was drawn, as sure there as a person is, and not where that proves it wrong.

    ``before`` (n,) are its rows by the network alone.
    """
    hand = line.by_hand
    unsure = disproved(line, f.row, before, u_rows)
    return _Followed(
        np.where(np.isfinite(line.row), line.row, f.row),
        np.where(hand, u_rows, f.sd_rows),
        np.where(hand, 0.0, f.doubt_rows),
        np.where(hand, SURE, np.where(unsure, 0.0, f.sure)),
        hand,
        before,
    )


def _away(guide: np.ndarray, rows: int) -> np.ndarray:
    """What a line costs (rows, blocks) for lying off a guide (blocks,), nothing where there is none."""
    place = np.arange(rows, dtype=np.float32)[:, None] - 0.5
    away = 0.5 * np.abs(place - guide.astype(np.float32))
    return np.where(np.isfinite(guide), away, np.float32(0.0))


def _doubted(
    state: np.ndarray, u_px: np.ndarray, sure: np.ndarray, by_hand: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """States (n,) with those unsure that are doubted after all, and the share of such about each.

    What was drawn by hand is not doubted.
    """
    open_ = (state == SEEN) & ~by_hand
    state = np.where(open_ & ((u_px > MOST_DOUBT_PX) | (sure < LEAST_SURE)), UNSURE, state)
    share = _unsure_share(state)
    return np.where((state == SEEN) & ~by_hand & (share > MOST_UNSURE), UNSURE, state), share


def _blockwise(mask: np.ndarray, blocks: int) -> np.ndarray:
    return np.logical_and.reduce([mask[:, k : blocks * BLOCK : BLOCK] for k in range(BLOCK)])


def _best_paths(costs: np.ndarray) -> np.ndarray:
    """Rows (k, n) of the cheapest lines through costs (k, rows, n), steps at most STEP_ROWS.

    Forwards only what it costs at least to come to each row is kept; from where is asked backwards,
    in the rows of the line alone.
    """
    k, rows, n = costs.shape
    along = np.ascontiguousarray(costs.transpose(2, 0, 1))
    tolls = (STEP_COST * np.abs(np.arange(-STEP_ROWS, STEP_ROWS + 1))).astype(costs.dtype)
    totals = np.full((n, k, rows + 2 * STEP_ROWS), np.inf, costs.dtype)
    inner = totals[:, :, STEP_ROWS : STEP_ROWS + rows]
    inner[0] = along[0]
    before = np.lib.stride_tricks.sliding_window_view(totals, rows, axis=2).transpose(0, 2, 1, 3)
    options = np.empty((len(tolls), k, rows), costs.dtype)
    each = tolls[:, None, None]
    for left, here, cost in zip(before[:-1], inner[1:], along[1:], strict=True):
        np.add(left, each, out=options)
        np.minimum.reduce(options, axis=0, out=here)
        here += cost
    paths = np.empty((k, n))
    for i in range(k):
        r = int(np.argmin(inner[-1, i]))
        for j in range(n - 1, 0, -1):
            paths[i, j] = r
            r += int((totals[j - 1, i, r : r + len(tolls)] + tolls).argmin()) - STEP_ROWS
        paths[i, 0] = r
    return paths


def _about(limbs: np.ndarray, path: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the limb lies by the network beside the line (n,), and its sd, rows.

    Only the peak on which the line lies is meant: of others `_doubt` tells.
    """
    offset = np.arange(-NEAR_ROWS, NEAR_ROWS + 1)
    at = np.clip(path.astype(int)[:, None] + offset, 0, limbs.shape[0] - 1)
    weight = np.exp(limbs[at, np.arange(limbs.shape[1])[:, None]])
    weight /= weight.sum(1, keepdims=True)
    mean = (weight * offset).sum(1)
    variance = (weight * (offset - mean[:, None]) ** 2).sum(1)
    return mean, np.hypot(np.sqrt(variance), LEAST_SD_ROWS)


def _sure(limb: np.ndarray, path: np.ndarray) -> np.ndarray:
    """Probability (n,) that the limb lies within `SURE_REACH` rows of the line, of blocks together."""
    offset = np.arange(-SURE_REACH, SURE_REACH + 1)
    within = _zone(limb, path.astype(int), offset, np.exp).sum(0)
    return cv2.blur(within[None], (DOUBT_BLOCKS, 1), borderType=cv2.BORDER_REPLICATE)[0]


def _zone(
    values: np.ndarray,
    row: np.ndarray,
    offset: np.ndarray,
    of: Callable[[np.ndarray], np.ndarray] = np.asarray,
) -> np.ndarray:
    """Values (rows, n), or what ``of`` makes of them, at rows about one in each column; 0 beyond them."""
    at = row + offset[:, None]
    inside = (at >= 0) & (at < len(values))
    return np.where(
        inside, of(values[np.where(inside, at, 0), np.arange(len(row))].astype(float)), 0.0
    )


def _unsure_share(state: np.ndarray) -> np.ndarray:
    """Share (n,) of what is not clear among what is open about each block."""
    unsure, open_ = (
        cv2.blur(np.isin(state, of).astype(float)[None], (AROUND_BLOCKS, 1),
                 borderType=cv2.BORDER_REPLICATE)[0]
        for of in ((UNSURE,), (SEEN, UNSURE))
    )  # fmt: skip
    return unsure / np.maximum(open_, 1e-6)


def _doubt(cost: np.ndarray, path: np.ndarray) -> np.ndarray:
    """How far off the line (n,) the votes would as well have it, sd in rows.

    Costs relative to the line are averaged over neighbouring blocks and taken for log-probabilities
    of the line's place: where the votes between two candidate lines cancel, both are likely.
    """
    blocks = cost.shape[1]
    offset = np.arange(-DOUBT_ROWS, DOUBT_ROWS + 1)
    at = path.astype(int)[:, None] + offset
    inside = (at >= 0) & (at < cost.shape[0])
    column = np.arange(blocks)[:, None]
    relative = cost[np.clip(at, 0, cost.shape[0] - 1), column]
    relative = relative - relative[:, DOUBT_ROWS : DOUBT_ROWS + 1]
    relative = np.where(inside, relative, 50.0)
    relative = cv2.blur(relative, (1, DOUBT_BLOCKS), borderType=cv2.BORDER_REPLICATE)
    weight = np.exp(-np.clip(DOUBT_SHARE * relative, -5.0, 50.0))
    return np.sqrt((weight * offset**2).sum(1) / weight.sum(1))


def _states(
    band: Band, front: np.ndarray, votes: np.ndarray, row: np.ndarray, gap_px: np.ndarray,
    usable: np.ndarray, by_hand: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """What can be said of one line in each block; what was drawn by hand is seen."""
    blocks, rows = len(row), len(votes)
    state = np.full(blocks, SEEN)
    at = np.clip(np.rint(row + 0.5).astype(int), 0, rows)
    over, under = np.arange(-EDGE_ZONE_MM, 0), np.arange(EDGE_ZONE_MM)
    many_over, many_under = np.minimum(EDGE_ZONE_MM, [at, rows - at])
    vote_over = _zone(votes, at, over).sum(0) / np.maximum(many_over, 1)
    vote_under = _zone(votes, at, under).sum(0) / np.maximum(many_under, 1)
    above, below = vote_over / TEMPER, vote_under / TEMPER
    state[((above < LEAST_MARGIN) | (-below < LEAST_MARGIN)) & ~by_hand] = UNSURE
    state[gap_px < LEAST_GAP_PX] = SHUT
    zone, many = np.concatenate([over, under]), many_over + many_under
    in_front = (_zone(front, at, zone).sum(0) / many > MOST_IN_FRONT) & ~by_hand
    state[in_front | (_zone(usable, at, zone).sum(0) / many < 0.99)] = HIDDEN
    centre = band.to_image((np.arange(blocks) + 0.5) * BLOCK - 0.5, row)
    edge = np.array(band.camera.size) - 5
    state[np.any((centre < 4) | (centre > edge), axis=1) | (at <= 2) | (at >= rows - 2)] = OUTSIDE
    return state


def _placed(
    row: np.ndarray, fit: EdgeFit, per_cell: np.ndarray, pull_px: np.ndarray, doubt: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the sub-pixel limbs and their u, px; where one fails the network's line stands, loosely."""
    ok = _at_edge(fit, pull_px)
    shift = np.where(ok, fit.shift_px, 0.0)
    u = np.where(ok, np.hypot(fit.u_px, 0.25), np.hypot(pull_px, 0.5))
    place = row + shift / np.maximum(per_cell, 1e-6)
    spread = np.abs(place - _running_median(place, 9)) * per_cell
    u = np.hypot(u, np.maximum(spread - 1.0, 0.0))
    return place, np.hypot(u, ALONG * np.maximum(doubt - SURE_ROWS, 0.0) * per_cell)


def _not_back(fit: EdgeFit, f: _Followed, per_cell: np.ndarray) -> EdgeFit:
    """The limbs without those that lead a drawn line back to the one that it was drawn to replace."""
    shift_rows = fit.shift_px / np.maximum(per_cell, 1e-6)
    back = f.by_hand & leads_back(f.row, f.before, shift_rows, f.sd_rows)
    return replace(fit, good=fit.good & ~back)


def _at_edge(fit: EdgeFit, pull_px: np.ndarray) -> np.ndarray:
    """Whether an edge (n,) lies where the line may be."""
    return fit.good & (np.abs(fit.shift_px) < np.minimum(MOST_PULLS * pull_px, MOST_MISFIT_PX))


def _running_median(values: np.ndarray, width: int) -> np.ndarray:
    padded = np.pad(values, width // 2, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)
