"""Joints at work: a folder each, in the archive's folder `drafts`, that a killed program leaves whole.

    drafts/<id>/draft.json                    what was entered, and how far it is
    drafts/<id>/photos/<sha256>/photo.json    one photograph: its number, and the name it came by
    drafts/<id>/photos/<sha256>/photo-3.jpg   its bytes, as they came
    drafts/<id>/photos/<sha256>/verdict.json  what was seen in it by itself
    drafts/<id>/answer.json                   what `measure --json` writes, of answer or refusal
    drafts/<id>/picture.jpg                   what `measure --picture` draws
    drafts/uploads/                           what is arriving: `uploads`

No name that came over the network is a file's name here: ids, hashes and numbers are this program's.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec

from gapvision.archive.refusals import in_words
from gapvision.archive.store import archive_folder, open_archive
from gapvision.errors import MeasurementError
from gapvision.files import (
    move_new,
    part_file,
    read_regular,
    remove_leftovers,
    settle,
    work_folder,
)
from gapvision.inputs.joint_name import JointName

DRAFTS, UPLOADS = "drafts", "uploads"
DRAFT, PHOTO, VERDICT, ANSWER, PICTURE, PROGRESS = (
    "draft.json", "photo.json", "verdict.json", "answer.json", "picture.jpg", "progress.json",
)  # fmt: skip
COLLECTING, MEASURING, ANSWERED, REFUSED, KEPT = (
    "collecting", "measuring", "answered", "refused", "kept",
)  # fmt: skip
KEPT_FOR = timedelta(days=7)  # of what is in the archive by now, where somebody may still add to it
_ID = re.compile(r"[0-9a-f]{12}")
WRITING = threading.RLock()  # one writer at a time: two phones may work on one draft


@dataclass(frozen=True, slots=True)
class Draft:
    """What was entered of a joint, as it was typed, and how far it is.

    Attributes
    ----------
    entries : dict
        What a form's fields say, by their names; empty texts are left out.
    readings, trials : tuple of str
        As `--reading` and `--trial` take them.
    corrections : dict
        What was changed by hand, by the photographs' hashes.
    state : str
        One of `COLLECTING`, `MEASURING`, `ANSWERED`, `REFUSED`, `KEPT`.
    sentence : str
        Why there is no answer.
    asked : str
        What the answer stands for, so that a later change is told.
    record : int or None
        Its number in the archive, once it is kept.
    roll : bool
        Whether it is no joint, but photographs of many, to be sorted by their slips.
    sorted_into : dict
        Of a roll: how many of its photographs went to which drafts.
    """

    id: str
    building: str
    wall: str
    log: str
    entries: dict[str, str] = field(default_factory=dict)
    units: str = "mm"
    readings: tuple[str, ...] = ()
    trials: tuple[str, ...] = ()
    corrections: dict[str, Any] = field(default_factory=dict)
    state: str = COLLECTING
    sentence: str = ""
    asked: str = ""
    record: int | None = None
    roll: bool = False
    sorted_into: dict[str, int] = field(default_factory=dict)
    begun_at: str = ""
    changed_at: str = ""

    @property
    def joint(self) -> JointName:
        """Which joint it is."""
        return JointName(self.building, self.wall, self.log)


class NoDraft(MeasurementError):
    """There is no draft, or no photograph in it, of this id."""


def drafts_folder(archive: Path | None = None) -> Path:
    """The folder of the drafts, made with its archive where there is none.

    Raises
    ------
    MeasurementError
        As `open_archive`.
    """
    folder = archive_folder(archive) / DRAFTS
    with open_archive(archive, create=True), in_words(folder.parent, (OSError,)):
        folder.mkdir(exist_ok=True)
        (folder / UPLOADS).mkdir(exist_ok=True)
        remove_leftovers(folder)
    return folder


def new_draft(drafts: Path, draft: Draft) -> Draft:
    """Begin a draft; it gets an id and the time.

    Raises
    ------
    MeasurementError
        ``archive-full`` and the like.
    """
    draft = replace(draft, id=secrets.token_hex(6), begun_at=_now(), changed_at=_now())
    with in_words(drafts.parent, (OSError,)), work_folder(drafts) as work:
        (work / "photos").mkdir()
        write_whole(work / DRAFT, msgspec.json.encode(draft))
        move_new(work, drafts / draft.id)
    return draft


def load_draft(drafts: Path, draft_id: str) -> Draft:
    """A draft by its id.

    Raises
    ------
    NoDraft
        Where there is none, or its file is damaged.
    """
    try:
        content = read_regular(folder_of_draft(drafts, draft_id) / DRAFT)
        return msgspec.json.decode(content, type=Draft)
    except (OSError, ValueError, msgspec.MsgspecError) as error:
        raise NoDraft("no-draft", "There is no such joint at work any more.") from error


def all_drafts(drafts: Path) -> list[Draft]:
    """Every draft that can be read, the one changed last first."""
    found = []
    for folder in drafts.iterdir():
        if _ID.fullmatch(folder.name):
            try:
                found.append(load_draft(drafts, folder.name))
            except NoDraft:
                continue
    return sorted(found, key=lambda d: d.changed_at, reverse=True)


def change_draft(drafts: Path, draft_id: str, change: Callable[[Draft], Draft]) -> Draft:
    """Write what a change makes of a draft; nobody else changes it meanwhile.

    Raises
    ------
    MeasurementError
        As `load_draft` and `new_draft`.
    """
    with WRITING:
        old = load_draft(drafts, draft_id)
        new = change(old)
        if new != old:
            new = replace(new, changed_at=_now())
            write_whole(folder_of_draft(drafts, draft_id) / DRAFT, msgspec.json.encode(new))
    return new


def remove_draft(drafts: Path, draft_id: str) -> None:
    """Remove a draft with its photographs."""
    with WRITING:
        load_draft(drafts, draft_id)
        shutil.rmtree(folder_of_draft(drafts, draft_id), ignore_errors=True)


def remove_kept(drafts: Path, now: datetime | None = None) -> int:
    """Remove drafts that are in the archive for some days, where their photographs are too; how many."""
    now, removed = now or datetime.now().astimezone(), 0
    for draft in all_drafts(drafts):
        if draft.state == KEPT and now - datetime.fromisoformat(draft.changed_at) > KEPT_FOR:
            remove_draft(drafts, draft.id)
            removed += 1
    return removed


# --- answers --------------------------------------------------------------------------------------


def answer_of(drafts: Path, draft_id: str) -> dict | None:
    """The JSON of the draft's answer or refusal; None where there is none."""
    return read_json(folder_of_draft(drafts, draft_id) / ANSWER)


def write_beside(drafts: Path, draft_id: str, name: str, content: dict) -> None:
    """Write a JSON of this program's naming into a draft's folder.

    Raises
    ------
    NoDraft
        Where its folder was removed.
    MeasurementError
        As `new_draft`.
    """
    place = folder_of_draft(drafts, draft_id) / name
    if not place.parent.is_dir():
        raise NoDraft("no-draft", "There is no such joint at work any more.")
    write_whole(place, json.dumps(content, allow_nan=False).encode())


def read_json(path: Path) -> dict | None:
    """What a JSON of a draft holds; None where it is not there or damaged."""
    try:
        return json.loads(read_regular(path))
    except (OSError, ValueError):
        return None


def folder_of_draft(drafts: Path, draft_id: str) -> Path:
    """A draft's folder.

    Raises
    ------
    NoDraft
        Where it is no id.
    """
    if not _ID.fullmatch(draft_id):
        raise NoDraft("no-draft", "There is no such joint at work any more.")
    return drafts / draft_id


def write_whole(path: Path, content: bytes) -> None:
    """Write a file of a draft, whole or not at all, instead of the one that is there.

    Raises
    ------
    MeasurementError
        ``archive-full`` and the like.
    """
    archive = next(p for p in path.parents if p.name == DRAFTS).parent
    with in_words(archive, (OSError,)), part_file(path.parent) as file:
        file.write(content)
        settle(file, path, overwrite=True)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="milliseconds")
