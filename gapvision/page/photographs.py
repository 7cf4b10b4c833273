"""The photographs of a draft: a folder each, by its hash, with its number, its bytes and its verdict."""

from __future__ import annotations

import hashlib
import re
import shutil
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from gapvision.archive.refusals import in_words
from gapvision.files import copy_new, move_new, read_regular, work_folder
from gapvision.page.drafts import (
    PHOTO,
    VERDICT,
    WRITING,
    NoDraft,
    all_drafts,
    folder_of_draft,
    read_json,
    write_whole,
)

SUFFIXES = {
    b"\xff\xd8\xff": ".jpg", b"\x89PNG": ".png", b"II*\0": ".tif", b"MM\0*": ".tif", b"II+\0": ".tif",
    b"MM\0+": ".tif",
}  # fmt: skip
_HASH = re.compile(r"[0-9a-f]{64}")


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


def photographs(drafts: Path, draft_id: str) -> tuple[Photograph, ...]:
    """The photographs of a draft as they came; one of which nothing can be read is not among them.

    Raises
    ------
    NoDraft
    """
    found = []
    try:
        names = [f.name for f in (folder_of_draft(drafts, draft_id) / "photos").iterdir()]
    except OSError as error:
        raise NoDraft("no-draft", "There is no such joint at work any more.") from error
    for sha256 in names:
        if _HASH.fullmatch(sha256):
            with suppress(NoDraft):
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
    return folder_of_draft(drafts, draft_id) / "photos" / sha256


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
    with WRITING, in_words(drafts.parent, (OSError,)):
        place = photo_folder(drafts, draft_id, sha256)
        if place.is_dir():
            try:
                drop(drafts, draft_id, sha256, False)
            except NoDraft:  # what is there is damaged
                shutil.rmtree(place)
            else:
                if move:
                    file.unlink()
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
    with WRITING:
        shutil.rmtree(photo_folder(drafts, draft_id, sha256), ignore_errors=True)


def drop(drafts: Path, draft_id: str, sha256: str, dropped: bool) -> None:
    """Leave a photograph out of the joint, or take it back."""
    with WRITING:
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
