"""Slips among the photographs of one joint: of two joints they tell that it is none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.shoot.roll import name_of, read_shot, sort_roll


def check_one_slip(without_card: Iterable[Path], photos: Sequence[Path]) -> None:
    """Refuse photographs among which there are slips of several joints.

    Parameters
    ----------
    without_card : iterable of Path
        The photographs in which no card was found: a slip is photographed by itself.
    photos : sequence of Path
        All of them, which are then put in order of time as `sort_roll` does.

    Raises
    ------
    MeasurementError
        ``several-joints``, with the files of each.
    """
    slips = {shot.slip for shot in map(read_shot, without_card)} - {None}
    if len(slips) < 2:
        return
    roll = sort_roll(map(read_shot, photos))
    told = "; ".join(
        f"{name_of(g.slip)}: {', '.join(p.name for p in g.photos) or 'none'}" for g in roll.groups
    )
    raise MeasurementError(
        "several-joints",
        f"The slips name {len(slips)} joints: {told}. Measure each by itself: gapvision sort "
        "--copy-to puts each into a folder of its own.",
    )
