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

import hashlib
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
    copy_new,
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
SUFFIXES = {
    b"\xff\xd8\xff": ".jpg", b"\x89PNG": ".png", b"II*\0": ".tif", b"MM\0*": ".tif", b"II+\0": ".tif",
    b"MM\0+": ".tif",
}  # fmt: skip
KEPT_FOR = timedelta(days=7)  # of what is in the archive by now, where somebody may still add to it
_ID = re.compile(r"[0-9a-f]{12}")
_HASH = re.compile(r"[0-9a-f]{64}")
_WRITING = threading.RLock()  # one writer at a time: two phones may work on one draft


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


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph of a draft; ``number`` counts them as they came, ``name`` is only shown."""

    sha256: str
    number: int
    name: str
    bytes: int
    suffix: str
    dropped: bool = False
    verdict: dict[str, Any] | None = None

    @property
    def file_name(self) -> str:
        """What the file is called, here and in the record."""
        return f"photo-{self.number}{self.suffix}"


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
        content = read_regular(_folder(drafts, draft_id) / DRAFT)
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
    with _WRITING:
        old = load_draft(drafts, draft_id)
        new = change(old)
        if new != old:
            new = replace(new, changed_at=_now())
            write_whole(_folder(drafts, draft_id) / DRAFT, msgspec.json.encode(new))
    return new


def remove_draft(drafts: Path, draft_id: str) -> None:
    """Remove a draft with its photographs."""
    with _WRITING:
        load_draft(drafts, draft_id)
        shutil.rmtree(_folder(drafts, draft_id), ignore_errors=True)


def remove_kept(drafts: Path, now: datetime | None = None) -> int:
    """Remove drafts that are in the archive for some days, where their photographs are too; how many."""
    now, removed = now or datetime.now().astimezone(), 0
    for draft in all_drafts(drafts):
        if draft.state == KEPT and now - datetime.fromisoformat(draft.changed_at) > KEPT_FOR:
            remove_draft(drafts, draft.id)
            removed += 1
    return removed


# --- photographs ----------------------------------------------------------------------------------


def photographs(drafts: Path, draft_id: str) -> tuple[Photograph, ...]:
    """The photographs of a draft as they came.

    Raises
    ------
    NoDraft
    """
    found = []
    try:
        names = [f.name for f in (_folder(drafts, draft_id) / "photos").iterdir()]
    except OSError as error:
        raise NoDraft("no-draft", "There is no such joint at work any more.") from error
    for sha256 in names:
        if _HASH.fullmatch(sha256):
            found.append(photograph(drafts, draft_id, sha256))
    return tuple(sorted(found, key=lambda p: p.number))


def photograph(drafts: Path, draft_id: str, sha256: str) -> Photograph:
    """One photograph of a draft, with its verdict where there is one.

    Raises
    ------
    NoDraft
        Where there is none of this hash.
    """
    folder = photo_folder(drafts, draft_id, sha256)
    try:
        photo = msgspec.json.decode(read_regular(folder / PHOTO), type=Photograph)
    except (OSError, ValueError, msgspec.MsgspecError) as error:
        raise NoDraft("no-photograph", "There is no such photograph of this joint.") from error
    return replace(photo, verdict=read_json(folder / VERDICT))


def photo_path(drafts: Path, draft_id: str, photo: Photograph) -> Path:
    """Where a photograph's bytes lie."""
    return photo_folder(drafts, draft_id, photo.sha256) / photo.file_name


def photo_folder(drafts: Path, draft_id: str, sha256: str) -> Path:
    """The folder of one photograph, which need not be there.

    Raises
    ------
    NoDraft
        Where it is no hash.
    """
    if not _HASH.fullmatch(sha256):
        raise NoDraft("no-photograph", "There is no such photograph of this joint.")
    return _folder(drafts, draft_id) / "photos" / sha256


def add_photograph(
    drafts: Path, draft_id: str, file: Path, sha256: str, name: str, move: bool = True
) -> bool:
    """Take a whole file on the disk of drafts into a draft; False where it has it already.

    What was dropped and is sent again is taken back. The file is moved, or removed where it is there;
    or copied, and stays.

    Raises
    ------
    MeasurementError
        As `new_draft`; `NoDraft` where the draft was removed.
    """
    with _WRITING, in_words(drafts.parent, (OSError,)):
        place = photo_folder(drafts, draft_id, sha256)
        if place.is_dir():
            if move:
                file.unlink()
            drop(drafts, draft_id, sha256, False)
            return False
        number = 1 + max((p.number for p in photographs(drafts, draft_id)), default=0)
        photo = Photograph(sha256, number, name[:200], file.stat().st_size, suffix_of(file))
        with work_folder(place.parent) as work:
            (move_new if move else copy_new)(file, work / photo.file_name)
            write_whole(work / PHOTO, msgspec.json.encode(photo))
            move_new(work, place)
    return True


def remove_photograph(drafts: Path, draft_id: str, sha256: str) -> None:
    """Remove a photograph that is elsewhere by now."""
    with _WRITING:
        shutil.rmtree(photo_folder(drafts, draft_id, sha256), ignore_errors=True)


def drop(drafts: Path, draft_id: str, sha256: str, dropped: bool) -> None:
    """Leave a photograph out of the joint, or take it back."""
    with _WRITING:
        photo = photograph(drafts, draft_id, sha256)
        if photo.dropped != dropped:
            changed = replace(photo, dropped=dropped, verdict=None)
            place = photo_folder(drafts, draft_id, sha256) / PHOTO
            write_whole(place, msgspec.json.encode(changed))


def suffix_of(file: Path) -> str:
    """By what a photograph begins with, as its own name tells nothing; empty where it is none."""
    with file.open("rb") as opened:
        first = opened.read(12)
    if first[4:8] == b"ftyp":
        return ".heic"
    return next((suffix for head, suffix in SUFFIXES.items() if first.startswith(head)), "")


def damaged(drafts: Path) -> list[str]:
    """A sentence on each photograph of a draft that is no longer what came."""
    found = []
    for draft in all_drafts(drafts):
        for photo in photographs(drafts, draft.id):
            try:
                with photo_path(drafts, draft.id, photo).open("rb") as file:
                    sha256 = hashlib.file_digest(file, "sha256").hexdigest()
            except OSError:
                sha256 = ""
            if sha256 != photo.sha256:
                of = draft.joint.title or "a roll"
                found.append(
                    f"{photo.name or photo.file_name} of {of} at work is damaged: send it again."
                )
    return found


# --- answers --------------------------------------------------------------------------------------


def answer_of(drafts: Path, draft_id: str) -> dict | None:
    """The JSON of the draft's answer or refusal; None where there is none."""
    return read_json(_folder(drafts, draft_id) / ANSWER)


def write_beside(drafts: Path, draft_id: str, name: str, content: dict) -> None:
    """Write a JSON of this program's naming into a draft's folder.

    Raises
    ------
    NoDraft
        Where its folder was removed.
    MeasurementError
        As `new_draft`.
    """
    place = _folder(drafts, draft_id) / name
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
    return _folder(drafts, draft_id)


def _folder(drafts: Path, draft_id: str) -> Path:
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
