"""Photographs of many joints in one draft: what each shows of slips, and each to its joint's draft."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from gapvision.inputs.joint_name import JointName
from gapvision.page.drafts import KEPT, Draft, all_drafts, change_draft, new_draft
from gapvision.page.photographs import Photograph, add_photograph, photo_path, remove_photograph
from gapvision.shoot.roll import Roll, Shot, sort_roll
from gapvision.shoot.slip import Slip


def shot_verdict(path: Path) -> dict[str, Any]:
    """In a worker: when a photograph was taken, and which slip it shows, as its verdict."""
    from gapvision.shoot.roll import name_of, read_shot

    shot = read_shot(path)
    if shot.unreadable:
        return {"ok": False, "text": f"{path.name}: {shot.unreadable}.", "details": _plain(shot)}
    text = f"The slip of {name_of(shot.slip)}." if shot.slip else "A photograph."
    if shot.unread:
        text = "A slip that cannot be read: photograph it again, flat, whole and sharp."
    return {"ok": not shot.unread, "text": text, "details": _plain(shot)}


def sorted_roll(drafts: Path, draft: Draft, photos: Sequence[Photograph]) -> Roll:
    """The photographs of a roll's draft by their slips, as far as they were looked at."""
    seen = [(p, p.verdict) for p in photos if p.verdict and not p.dropped]
    return sort_roll(_shot(photo_path(drafts, draft.id, p), told["details"]) for p, told in seen)


def sort_into_drafts(drafts: Path, draft: Draft, photos: Sequence[Photograph]) -> Draft:
    """Each photograph of a roll into the draft of its slip's joint, which is begun where there is none.

    What has no slip stays. A photograph is copied before it is removed here, so that none is lost.

    Raises
    ------
    MeasurementError
        ``archive-full`` and the like; what was sorted by then is.
    """
    by_file = {photo_path(drafts, draft.id, p): p for p in photos}
    roll, into = sorted_roll(drafts, draft, photos), dict(draft.sorted_into)
    for group in roll.groups:
        if not group.photos:
            continue
        target = _draft_of(drafts, group.slip.joint, draft)
        for path in group.photos:
            photo = by_file[path]
            add_photograph(drafts, target.id, path, photo.sha256, photo.name, move=False)
            remove_photograph(drafts, draft.id, photo.sha256)
            into[target.id] = into.get(target.id, 0) + 1
        for path in group.slip_photos:
            remove_photograph(drafts, draft.id, by_file[path].sha256)
    said = " ".join(roll.cautions)
    return change_draft(drafts, draft.id, lambda d: replace(d, sorted_into=into, sentence=said))


def _draft_of(drafts: Path, joint: JointName, roll: Draft) -> Draft:
    """The draft of a joint that is at work, or a new one with what the last of its wall had entered."""
    at_work = [d for d in all_drafts(drafts) if not d.roll]
    same = [d for d in at_work if d.joint == joint and d.state != KEPT]
    if same:
        return same[0]
    of_wall = [d for d in at_work if (d.building, d.wall) == (joint.building, joint.wall)]
    entries = {} if not of_wall else of_wall[0].entries
    alike = {k: v for k, v in entries.items() if k in ("cover", "card_on", "printed_bar")}
    units = of_wall[0].units if of_wall else roll.units
    return new_draft(drafts, Draft("", joint.building, joint.wall, joint.log, alike, units))


def _plain(shot: Shot) -> dict[str, Any]:
    """A shot but for its path, as JSON has it."""
    return {
        "taken": shot.taken and shot.taken.isoformat(),
        "camera": shot.camera,
        "slip": shot.slip and asdict(shot.slip.joint),
        "in_passing": shot.in_passing and asdict(shot.in_passing.joint),
        "unread": shot.unread,
        "unreadable": shot.unreadable,
    }


def _shot(path: Path, details: dict[str, Any]) -> Shot:
    """The shot of what `_plain` made."""
    taken, slip, passing = (details.get(k) for k in ("taken", "slip", "in_passing"))
    return Shot(
        path,
        datetime.fromisoformat(taken) if taken else None,
        details.get("camera", ""),
        Slip(JointName(**slip)) if slip else None,
        Slip(JointName(**passing)) if passing else None,
        details.get("unread", False),
        details.get("unreadable", ""),
    )
