"""What was traced in each photograph, in pixels: JSON, both ways, and a format of its own."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from gapvision.answer.corrected_json import KEY as BY_HAND
from gapvision.answer.corrected_json import corrected_json
from gapvision.errors import MeasurementError
from gapvision.joint.photo_results import PhotoOutlines, PhotoResult, both_states
from gapvision.measurement import Measurement
from gapvision.trace.outlines import HIDDEN, OUTSIDE, SEEN, SHUT, UNSURE

FORMAT, VERSION = "gapvision-outlines", 1
PX_DECIMALS, MM_DECIMALS = 2, 1  # a limb is known to 0.25 px at best, a block is 4 mm long
STATES = {SEEN: "seen", SHUT: "shut", HIDDEN: "hidden", UNSURE: "unsure", OUTSIDE: "outside"}
_CODES = {word: state for state, word in STATES.items()}


def outlines_json(outlines: PhotoOutlines) -> dict:
    """The outlines of one photograph for programs.

    Returns
    -------
    dict
        ``upper`` and ``lower``, lists of ``[x, y]``: the claimed points, px of the upright picture,
        integer at the pixel's centre. ``blocks``: of every block ``station_mm``, ``upper_state`` and
        ``lower_state``, a word each. The claimed points of a line are those of its blocks that are
        ``seen``, in their order.
    """
    return {
        "upper": _points(outlines.upper_px),
        "lower": _points(outlines.lower_px),
        "blocks": {
            "station_mm": _rounded(outlines.axis_station_mm, MM_DECIMALS),
            "upper_state": [STATES[s] for s in outlines.upper_state.tolist()],
            "lower_state": [STATES[s] for s in outlines.lower_state.tolist()],
        },
    }


def outlines_read(outlines: dict | None) -> PhotoOutlines:
    """What `outlines_json` wrote, without the middle line; nothing traced where a record has none.

    Raises
    ------
    KeyError, TypeError, ValueError
        Where it is not of that form.
    """
    if outlines is None:
        return PhotoOutlines()
    blocks = outlines["blocks"]
    station = np.array(blocks["station_mm"], float)
    states = [
        np.array([_CODES[word] for word in blocks[f"{log}_state"]], int)
        for log in ("upper", "lower")
    ]
    points = [np.array(outlines[log], float).reshape(-1, 2) for log in ("upper", "lower")]
    if any(len(state) != len(station) for state in states):
        raise ValueError("outlines: the blocks' lists differ in length")
    if any(len(p) != np.sum(s == SEEN) for p, s in zip(points, states, strict=True)):
        raise ValueError("outlines: not a point for each block that is seen")
    return PhotoOutlines(
        upper_px=points[0], lower_px=points[1], axis_station_mm=station,
        axis_state=both_states(*states), upper_state=states[0], lower_state=states[1],
    )  # fmt: skip


def outlines_answer(measurement: Measurement) -> dict:
    """The outlines of all photographs in use by themselves, a JSON of version `VERSION`.

    Photographs dropped by hand stand there too, so that what was changed can be read back
    (`outlines_file`).
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": measurement.status,
        "photos": [
            _photo_answer(p) for p in measurement.photos if p.used or p.corrected is not None
        ],
    }


def _photo_answer(p: PhotoResult) -> dict:
    """One photograph, what to write into, and its points twice: to be moved, and as they were traced."""
    outlines = outlines_json(p.outlines)
    traced = {log: outlines[log] for log in ("upper", "lower")}
    by_hand = {BY_HAND: {}} | corrected_json(p.corrected)
    head = {"file": p.file, "sha256": p.sha256, "side": p.side}
    return head | by_hand | {"outlines": outlines, "traced": traced}


def outlines_refusal(error: MeasurementError, given: Mapping[str, str]) -> dict:
    """What programs get where nothing could be measured.

    ``given`` are the photographs' files by their SHA-256, in which lines may be drawn by hand instead.
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "refused",
        "reason": {"code": error.code, "text": error.text},
        "photos": [{"file": file, "sha256": sha256, BY_HAND: {}} for sha256, file in given.items()],
    }


def _points(xy_px: np.ndarray) -> list[list[float]]:
    return np.round(xy_px, PX_DECIMALS).tolist()


def _rounded(values: np.ndarray, decimals: int) -> list[float]:
    return np.round(values, decimals).tolist()
