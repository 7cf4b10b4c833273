"""A file of outlines that a person changed, read back: what was drawn, marked, moved or taken out.

The file holds the points as they were traced beside those that stand to be changed, so that any
program, or a person in an editor, may move points, and what was not moved counts as traced.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from dataclasses import replace
from itertools import groupby
from pathlib import Path

from gapvision.answer.corrected_json import KEY
from gapvision.answer.outlines_json import FORMAT, PX_DECIMALS, STATES, VERSION
from gapvision.errors import MeasurementError
from gapvision.files import read_regular
from gapvision.inputs.corrections import Correction, Stroke, check_correction, corrections_of
from gapvision.trace.drawn import LOGS
from gapvision.trace.outlines import SEEN

MOST_BYTES = 64_000_000  # some 600 photographs'
HALF_BLOCK_MM = 2.0


def read_outlines(path: Path) -> dict | None:
    """The JSON of a file that `measure --outlines` wrote; None where it is something else.

    Raises
    ------
    MeasurementError
        ``"bad-outlines"`` where it was such a file and is damaged; ``"newer-version"``.
    """
    try:
        content = read_regular(path, MOST_BYTES)
    except OSError:
        return None
    ours = f'"{FORMAT}"'.encode() in content[:1000]
    try:
        told = json.loads(content, parse_constant=_no_number)
    except (RecursionError, ValueError) as error:
        if ours:
            raise _damaged(path.name, f"it is no JSON any more ({error})") from None
        return None
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        return None
    if told.get("version") != VERSION:
        text = (
            f"{path.name} has version {repr(told.get('version'))[:20]} of the outlines' format and this "
            f"program reads version {VERSION}: use the program that wrote it, or a newer one."
        )
        raise MeasurementError("newer-version", text)
    return told


def holds_changes(path: Path) -> bool:
    """Whether a file is one of outlines in which a person changed something, as far as it can be read."""
    try:
        told = read_outlines(path)
        return bool(told and corrections_in(told, path.name))
    except MeasurementError as error:
        return error.code == "bad-correction"


def corrections_in(told: dict, name: str) -> dict[str, Correction]:
    """What a person changed in a file of outlines, by the photographs' SHA-256.

    Parameters
    ----------
    told : dict
        From `read_outlines`.
    name : str
        Of the file, for sentences.

    Raises
    ------
    MeasurementError
        ``"bad-outlines"`` where it is not of its form; ``"bad-correction"`` as `corrections_of`.
    """
    if told.get("status") == "refused" and not told.get("photos"):
        raise MeasurementError(
            "bad-outlines",
            f"{name} tells of a refusal and names no photograph to correct: add --overwrite to write "
            "it anew.",
        )
    photos = _photos(told, name)
    names = {sha256: _name_of(p, sha256) for sha256, p in photos.items()}
    drawn = corrections_of({s: p.get(KEY) or {} for s, p in photos.items()}, names)
    out = {}
    for sha256, photo in photos.items():
        try:
            moved = _moved(photo)
        except (
            KeyError,
            TypeError,
            ValueError,
            AttributeError,
            IndexError,
            OverflowError,
        ) as error:
            at = str(error)[:80]
            raise _damaged(name, f"{names[sha256]}: {type(error).__name__} at {at}") from None
        both = _together(drawn.get(sha256, Correction()), moved)
        check_correction(names[sha256], both)
        if both.changes:
            out[sha256] = both
    return out


def check_given(told: dict, name: str, given: Collection[str]) -> None:
    """Refuse a file of outlines that names photographs which were not given.

    Parameters
    ----------
    given : collection of str
        The SHA-256 of those that were.

    Raises
    ------
    MeasurementError
        ``"bad-outlines"``.
    """
    photos = _photos(told, name)
    strange = [_name_of(p, sha256) for sha256, p in photos.items() if sha256 not in given]
    if strange:
        more = f" and {len(strange) - 1} more" if len(strange) > 1 else ""
        raise MeasurementError(
            "bad-outlines",
            f"{name} holds outlines of {strange[0]}{more}, and no photograph given is the same file: "
            "give the photographs that it was written of, or take that one out of it.",
        )


def _photos(told: dict, name: str) -> dict[str, dict]:
    photos = told.get("photos")
    if not isinstance(photos, list) or not all(isinstance(p, dict) for p in photos):
        raise _damaged(name, "photos is no list of photographs")
    if not all(isinstance(p.get("sha256"), str) for p in photos):
        raise _damaged(name, "a photograph has no sha256")
    out = {p["sha256"]: p for p in photos}
    if len(out) < len(photos):
        raise _damaged(name, "a photograph stands in it twice")
    return out


def _name_of(photo: dict, sha256: str) -> str:
    file = photo.get("file")
    name = Path(file).name[:80] if isinstance(file, str) and file else sha256[:12]
    return name if name.isprintable() else repr(name)


def _together(drawn: Correction, moved: Correction) -> Correction:
    """What was drawn, over what was moved."""
    return replace(
        drawn,
        upper=moved.upper + drawn.upper,
        lower=moved.lower + drawn.lower,
        not_gap=moved.not_gap + drawn.not_gap,
    )


# --- points that were moved, added or taken out ---------------------------------------------------


def _moved(photo: dict) -> Correction:
    """Of the points of both lines against those that were traced."""
    outlines = photo.get("outlines")
    if outlines is None:
        return Correction()
    strokes, marked = {}, []
    for log in LOGS:
        now, before = (_points(of[log]) for of in (outlines, photo["traced"]))
        strokes[log] = tuple(_strokes(now, set(before)))
        blocks = outlines["blocks"]
        seen = [k for k, state in enumerate(blocks[f"{log}_state"]) if state == STATES[SEEN]]
        if len(seen) != len(before):
            raise ValueError(f"traced {log}: not a point for each block that is seen")
        gone = _gone(now, before, strokes[log])
        marked += _stretches([seen[n] for n in gone], blocks["station_mm"])
    return Correction(strokes["upper"], strokes["lower"], tuple(marked))


def _points(values: list) -> list[tuple[float, float]]:
    return [(round(float(x), PX_DECIMALS), round(float(y), PX_DECIMALS)) for x, y in values]


def _strokes(now: list, before: set) -> Iterator[Stroke]:
    """Points next to each other that were not traced so."""
    for is_traced, run in groupby(now, lambda point: point in before):
        if not is_traced:
            yield tuple(run)


def _gone(now: list, before: list, strokes: tuple[Stroke, ...]) -> list[int]:
    """Which traced points are neither there any more nor replaced by a line drawn over them."""
    there = set(now)
    spans = [(min(x for x, _ in s), max(x for x, _ in s)) for s in strokes]
    return [
        n
        for n, point in enumerate(before)
        if point not in there and not any(a <= point[0] <= b for a, b in spans)
    ]


def _stretches(blocks: list[int], station_mm: list[float]) -> list[tuple[float, float]]:
    """Blocks next to each other as stretches."""
    out = []
    for _, run in groupby(enumerate(blocks), lambda pair: pair[1] - pair[0]):
        at = [float(station_mm[k]) for _, k in run]
        out.append((min(at) - HALF_BLOCK_MM, max(at) + HALF_BLOCK_MM))
    return out


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of strict JSON")


def _damaged(name: str, why: str) -> MeasurementError:
    return MeasurementError(
        "bad-outlines", f"{name} is damaged: {why}; mend it, or add --overwrite to write it anew."
    )
