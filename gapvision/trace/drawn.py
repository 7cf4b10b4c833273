"""What a person drew in a photograph, laid into its band, and how it holds the trace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gapvision.errors import OutlinesNotFound
from gapvision.inputs.corrections import Correction, Stroke
from gapvision.quantity import runs
from gapvision.trace.network import BLOCK
from gapvision.trace.rectified import Band

LOGS = ("upper", "lower")
EDGE_ROWS = 3  # nothing is traced nearer to the band's rim
# A pin says of a line that was wrong there that it is wrong near by too: wrong labels are wrong over some
# 100 mm. So far to both sides the limb is sought in what a log can do from the pin on, and nowhere else.
PIN_BLOCKS = 15
PIN_ROWS, PIN_SLOPE = 3.0, 0.12  # rows about the pin, and more with each row along
PIN_BY_HAND = 1  # blocks to both sides of a pin that are its own: a row of the fit together
# A line that lies beside what was drawn is not believed so far on: 160 mm.
BESIDE_ROWS, BESIDE_SD, DOUBTED_BLOCKS = 3.0, 3.0, 40
# What is drawn is drawn wrong, or along another edge, over some 150 mm at once: of the blocks of 4 mm in
# it so many say the same.
ALONG = 6.0
SNAPPED = 0.5  # of a drawn line's sd that is left where an edge lies there
SURE = 0.98  # that the limb is the drawn one: as sure as a good trace, for people err too
SAME_ROWS = 1.5  # the network's row and the limb beside it
HOLD = 1e4  # what a line costs that leaves what was drawn


@dataclass(frozen=True, eq=False, slots=True)
class DrawnLine:
    """One log's outline as drawn, by block (n,).

    ``row`` is the band's row, NaN where nothing is drawn; ``by_hand`` (bool) where the line counts as
    drawn; between ``least`` and ``most`` (rows) the limb must lie near a pin, infinite elsewhere.
    """

    row: np.ndarray
    by_hand: np.ndarray
    least: np.ndarray
    most: np.ndarray


@dataclass(frozen=True, eq=False, slots=True)
class Drawn:
    """A photograph's correction, with both lines in its band."""

    correction: Correction
    upper: DrawnLine
    lower: DrawnLine

    @property
    def lines(self) -> tuple[DrawnLine, DrawnLine]:
        """Upper and lower, as both are traced."""
        return self.upper, self.lower


def drawn_in(band: Band, blocks: int, correction: Correction, label: str) -> Drawn:
    """Lay a correction's lines into a band of so many blocks.

    Raises
    ------
    OutlinesNotFound
        ``bad-correction`` where a line leaves the picture or lies far from where the joint must be, or
        the upper log's lies below the lower log's.
    """
    upper, lower = (_line(band, blocks, getattr(correction, log), log, label) for log in LOGS)
    crossed = np.flatnonzero(upper.row >= lower.row)  # NaN is neither
    if len(crossed):
        x, y = band.to_image(_columns(blocks)[crossed[:1]], upper.row[crossed[:1]])[0]
        raise _refused(
            label,
            f"the line drawn for the upper log lies below that for the lower log at ({x:.0f}, "
            f"{y:.0f}): the upper log's underside is above the gap, the lower log's top below it",
        )
    return Drawn(correction, upper, lower)


def _columns(blocks: int) -> np.ndarray:
    return (np.arange(blocks) + 0.5) * BLOCK - 0.5


def _line(band: Band, blocks: int, strokes: tuple[Stroke, ...], log: str, label: str) -> DrawnLine:
    row = np.full(blocks, np.nan)
    by_hand = np.zeros(blocks, bool)
    pins = []
    for stroke in strokes:
        at, r = _laid(_in_band(band, stroke, log, label), blocks)
        row[at] = r
        by_hand[at] = True
        if len(at) == 1:
            pins.append((at[0], r[0]))
            by_hand[max(at[0] - PIN_BY_HAND, 0) : at[0] + PIN_BY_HAND + 1] = True
    least, most = _corridor(pins, row)
    return DrawnLine(row, by_hand, least, most)


def _in_band(band: Band, stroke: Stroke, log: str, label: str) -> tuple[np.ndarray, np.ndarray]:
    """Columns and rows (n,) of a stroke's points, refused where the joint cannot be."""
    xy = np.array(stroke, float)
    _check_inside(band, xy, log, label)
    column, row = band.from_image(xy)
    _check_near(band, xy, column, row, log, label)
    return column, row


def _laid(points: tuple[np.ndarray, np.ndarray], blocks: int) -> tuple[np.ndarray, np.ndarray]:
    """Blocks (k,) that a stroke covers, and its rows there; of one shorter than a block, its middle's."""
    order = np.argsort(points[0], kind="stable")
    c, r = (x[order] for x in points)
    column = _columns(blocks)
    at = np.flatnonzero((column >= c[0] - 0.5) & (column <= c[-1] + 0.5))
    if c[-1] - c[0] < BLOCK or not len(at):
        middle = int(np.clip(np.rint(c.mean() / BLOCK - 0.5), 0, blocks - 1))
        return np.array([middle]), np.array([r.mean()])
    return at, np.interp(column[at], c, r)


def _corridor(pins: list[tuple[int, float]], row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows (n,) between which the limb must lie beside pins, where no ``row`` is drawn."""
    least, most = np.full(len(row), -np.inf), np.full(len(row), np.inf)
    for pin, r in pins:
        away = np.abs(np.arange(len(row)) - pin)
        reach = PIN_ROWS + PIN_SLOPE * BLOCK * away
        near = (away <= PIN_BLOCKS) & ~np.isfinite(row)
        least[near] = np.maximum(least, r - reach)[near]
        most[near] = np.minimum(most, r + reach)[near]
    apart = least > most - 1  # two pins through both of which no log goes
    least[apart], most[apart] = -np.inf, np.inf
    return least, most


def _check_inside(band: Band, xy: np.ndarray, log: str, label: str) -> None:
    w, h = band.camera.size
    outside = np.any((xy < -0.5) | (xy > [w - 0.5, h - 0.5]), axis=1)
    if outside.any():
        x, y = xy[outside][0]
        raise _refused(
            label,
            f"the line drawn for the {log} log has a point at ({x:.0f}, {y:.0f}), outside the "
            f"picture of {w} x {h} px: points count from the upright picture's top left, in pixels "
            "of the photograph itself",
        )


def _check_near(
    band: Band, xy: np.ndarray, column: np.ndarray, row: np.ndarray, log: str, label: str
) -> None:
    rows, columns = band.seen.shape
    off = np.maximum(EDGE_ROWS - row, row - (rows - 1 - EDGE_ROWS))
    beyond = np.maximum(-column, column - (columns - 1))
    far = np.flatnonzero(~(off <= 0) | ~(beyond <= BLOCK))
    if not len(far) or (np.all(off <= 0) and np.any(beyond <= 0)):
        return  # ends that reach past what the band holds are cut off
    x, y = xy[far[0]]
    raise _refused(
        label,
        f"the line drawn for the {log} log has a point at ({x:.0f}, {y:.0f}), where by the card the "
        "joint cannot be: draw it along the log beside the gap",
    )


def _refused(label: str, text: str) -> OutlinesNotFound:
    return OutlinesNotFound("bad-correction", f"{label}: {text}.")


# --- how it holds the trace -----------------------------------------------------------------------


def held_cost(cost: np.ndarray, line: DrawnLine, other: DrawnLine, sign: float) -> np.ndarray:
    """What a line above row r costs (rows + 1, blocks), held to what was drawn.

    ``other`` is the other log's line, which this one must not cross; ``sign`` is +1 where that lies
    below this one, -1 where above.
    """
    place = np.arange(len(cost))[:, None] - 0.5
    off = np.abs(place - line.row)
    out = cost + np.where(np.isfinite(line.row), HOLD * np.nan_to_num(off), 0.0)
    out += np.where((place < line.least) | (place > line.most), HOLD, 0.0)
    crosses = sign * (other.row - place) < 1.0  # NaN, where nothing is drawn, crosses nothing
    return out + np.where(crosses & ~np.isfinite(line.row), HOLD, 0.0)


def held_limbs(limbs: np.ndarray, line: DrawnLine) -> np.ndarray:
    """Log-probabilities of the limb's row (rows + 1, blocks), known to lie where a pin has it."""
    place = np.arange(len(limbs))[:, None] - 0.5
    outside = (place < line.least) | (place > line.most)
    if not outside.any():
        return limbs
    held = np.where(outside, -np.inf, limbs.astype(float))
    top = held.max(0)
    total = top + np.log(np.exp(held - top).sum(0))
    near = np.isfinite(line.least)
    return np.where(near & ~outside, held - total, np.where(near, -50.0, limbs))


def disproved(line: DrawnLine, now: np.ndarray, before: np.ndarray, sd_rows: float) -> np.ndarray:
    """Blocks (n,) where the line ``now`` still is the one ``before`` that what is drawn proves wrong.

    Rows each, ``sd_rows`` of what is drawn. Where a drawn line ends beside the traced one, and not on it,
    or a pin lies beside, that is wrong farther on too; as far as the next place that was drawn, which
    speaks for itself.
    """
    beside = max(BESIDE_ROWS, BESIDE_SD * sd_rows)
    out = np.zeros(len(now), bool)
    for run in runs(line.by_hand):
        at = np.flatnonzero(np.isfinite(line.row[run])) + run.start
        for end, edge, away in ((at[0], run.start, -1), (at[-1], run.stop - 1, 1)):
            if abs(line.row[end] - before[end]) <= beside:
                continue
            side = edge + away * np.arange(1, DOUBTED_BLOCKS + 1)
            side = side[(side >= 0) & (side < len(now))]
            drawn = np.flatnonzero(line.by_hand[side])
            out[side[: drawn[0]] if len(drawn) else side] = True
    return out & (np.abs(now - before) < BESIDE_ROWS)


def leads_back(
    row: np.ndarray, before: np.ndarray, shift_rows: np.ndarray, sd_rows: np.ndarray
) -> np.ndarray:
    """Blocks (n,) in which the edge beside a drawn row is that of the line ``before``.

    Whoever draws farther from it than a drawn line is off by, ``sd_rows``, means another edge.
    """
    there = np.abs(row + shift_rows - before) < SAME_ROWS
    return there & (np.abs(shift_rows) > sd_rows)


def drawn_u(sd: np.ndarray, snapped: np.ndarray) -> np.ndarray:
    """How far each drawn block (n,) may be off, from the line's sd, with that its neighbours err alike."""
    return np.where(snapped, SNAPPED, 1.0) * sd * ALONG
