"""A joint photographed before and after its log was lowered: two gaps, of which no setting is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from gapvision.errors import JointNotFitted
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.gather import Gathered
from gapvision.joint.solve import Solved, solve
from gapvision.lengths import format_length
from gapvision.scene.priors import Priors
from gapvision.trace.rows import slope_of
from gapvision.trace.traced_photo import TracedPhoto

LEAST_PAUSE = timedelta(minutes=5)  # to lower a log takes longer, to walk round it less
FEWEST = 2  # photographs of each gap: one alone may be traced wrongly
# A view that slopes less sees the gap from about level, where lines are seldom taken for others.
LEVEL_SLOPE = 0.12
APART_MM = 3.0  # of the gap, all along
STEP_MM = 20.0


def check_one_gap(options: MeasureOptions, given: Gathered, solved: Solved, priors: Priors) -> None:
    """Refuse photographs that contradict each other and, parted by a pause, agree on two gaps.

    Raises
    ------
    JointNotFitted
        ``several-joints``, with the files of each.

    Notes
    -----
    Each part must have a level photograph: a sweep and a later pass from above and below contradict each
    other mostly because a line of the later one is wrong.
    """
    parts = _by_pause(given.photos) if solved.disagrees else None
    if parts is None or any(len(p) < FEWEST or not any(map(_is_level, p)) for p in parts):
        return
    try:
        alone = [solve(options, replace(given, photos=p), priors) for p in parts]
    except JointNotFitted:
        return
    first = [min(c.number for c in s.joint.cards) for s in alone]
    if any(s.disagrees for s in alone) or first[0] != first[1]:
        return
    low, high = (f(s.stretch_mm[k] for s in alone) for k, f in ((0, max), (1, min)))
    if high - low < STEP_MM:
        return
    at = np.arange(low, high, STEP_MM)
    gaps = [float(np.median(s.joint.sections(at).gap())) for s in alone]
    if abs(gaps[0] - gaps[1]) < APART_MM:
        return
    told = "; ".join(
        f"{letter}: {', '.join(p.label for p in part)}: about {format_length(round(gap), options.units)}"
        for letter, part, gap in zip("AB", parts, gaps, strict=True)
    )
    raise JointNotFitted(
        "several-joints",
        f"These show two gaps: {told}. The log was lowered or moved between, or they are two joints: "
        "measure each by itself, and go by the later ones.",
    )


def _by_pause(photos: Sequence[TracedPhoto]) -> list[tuple[TracedPhoto, ...]] | None:
    """The photographs before and after the longest pause; None where there is none, or no times."""
    when = {
        id(p): datetime.fromisoformat(p.facts.taken).replace(tzinfo=None)
        for p in photos
        if p.facts.taken
    }
    cameras = {(p.facts.make, p.facts.model) for p in photos}
    if len(photos) < 2 or len(cameras) > 1 or len(when) < len(photos):
        return None
    pause, after = max((b - a, b) for a, b in pairwise(sorted(when.values())))
    if pause < LEAST_PAUSE:
        return None
    return [tuple(p for p in photos if (when[id(p)] >= after) is later) for later in (False, True)]


def _is_level(photo: TracedPhoto) -> bool:
    return abs(slope_of(photo)) < LEVEL_SLOPE
