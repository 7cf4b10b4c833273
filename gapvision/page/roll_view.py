"""Photographs of many joints as their screen shows them: by their slips, and where they went."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from gapvision.page.drafts import Draft
from gapvision.page.joint_view import JointRow, PhotoItem, counted
from gapvision.page.photographs import Photograph
from gapvision.shoot.roll import Roll, name_of

TITLE = "Photographs of many joints"


def roll_row(draft: Draft, photos: Sequence[Photograph]) -> JointRow:
    """A roll as a line of the list of what is at work."""
    return JointRow(f"/roll/{draft.id}", TITLE, counted(len(photos)), "camera")


def roll_context(
    draft: Draft | None,
    photos: Sequence[Photograph] = (),
    roll: Roll | None = None,
    joints: Iterable[tuple[Draft, int]] = (),
) -> dict[str, Any]:
    """What the screen of a roll shows.

    Parameters
    ----------
    draft : Draft or None
        None before the first photograph.
    photos : sequence of Photograph
        Those that are in no joint yet.
    roll : Roll
        The same by their slips.
    joints : iterable of (Draft, int)
        Joints that photographs went to, and how many.
    """
    rows = [
        {"url": f"/joint/{d.id}", "title": d.joint.title, "text": counted(count)}
        for d, count in joints
    ]
    if roll is not None:
        rows += [
            {"url": "", "title": name_of(g.slip), "text": f"{counted(len(g.photos))}, to be sorted"}
            for g in roll.groups
        ]
        rows += [{"url": "", "title": path.stem, "text": why} for path, why in roll.unsorted]
    waiting = sum(p.verdict is None for p in photos)
    return {
        "roll": draft and draft.id,
        "sorted": rows,
        "waiting": waiting,
        "ready": bool(roll and any(g.photos for g in roll.groups)) and not waiting,
        "blank": PhotoItem(),
        "sentences": [*(roll.cautions if roll else ()), *filter(None, [draft and draft.sentence])],
    }
