"""Photographs that arrive in pieces: what has come is kept, and goes on where it broke off.

    drafts/uploads/<uid>.json    of which draft, what name, how long it will be; its hash once it is whole
    drafts/uploads/<uid>.part    the bytes that have come so far: its length is the offset

The addresses and their headers are those of the IETF's draft "Resumable Uploads for HTTP", in short:
create, ask for the offset, append from there.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

import msgspec

from gapvision.archive.refusals import in_words
from gapvision.errors import MeasurementError
from gapvision.files import continued, read_regular
from gapvision.page.drafts import UPLOADS, NoDraft, write_whole
from gapvision.page.photographs import add_photograph, photographs, suffix_of

MOST_BYTES = 120_000_000  # of one photograph: a phone's 48 megapixels, uncompressed, have 110 MB
MOST_PHOTOGRAPHS = 120  # of one joint: a log of 12 m from three heights and both sides has 80
MOST_AT_ONCE = 200  # uploads begun and not ended, of all phones
FREE_KEPT = (
    500_000_000  # bytes of the disk that no upload takes: the archive needs some to keep a joint
)
KEPT_S = 24 * 3600.0  # what nobody went on with for so long is removed
_UID = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Upload:
    """One photograph on its way; once it is whole, its hash, and whether its draft had it ``again``."""

    uid: str
    draft: str
    name: str
    length: int
    sha256: str = ""
    again: bool = False


def begin_upload(drafts: Path, draft_id: str, name: str, length: int) -> Upload:
    """Make room for a photograph.

    Raises
    ------
    MeasurementError
        ``too-large``, ``empty-file``, ``too-many`` or ``archive-full``, before a byte of it has come.
    """
    check_length(length)
    check_room(drafts, draft_id, length, 1)
    if sum(1 for _ in (drafts / UPLOADS).glob("*.part")) >= MOST_AT_ONCE:
        raise MeasurementError("too-many", "Too many photographs arrive at once: wait a little.")
    upload = Upload(secrets.token_hex(16), draft_id, name, length)
    write_whole(_part(drafts, upload.uid), b"")
    write_whole(_told(drafts, upload.uid), msgspec.json.encode(upload))
    return upload


def check_length(length: int) -> None:
    """Refuse a photograph by its length alone.

    Raises
    ------
    MeasurementError
        ``too-large`` or ``empty-file``.
    """
    if length > MOST_BYTES:
        raise MeasurementError(
            "too-large",
            f"The photograph has {length / 1e6:.0f} MB and at most {MOST_BYTES / 1e6:.0f} are taken: "
            "send it as JPEG or HEIC.",
        )
    if length <= 0:
        raise MeasurementError("empty-file", "The photograph is empty: photograph again.")


def check_room(drafts: Path, draft_id: str, length: int, more: int) -> None:
    """Refuse what neither the joint nor the disk has room for.

    Raises
    ------
    MeasurementError
        ``too-many`` or ``archive-full``; `NoDraft`.
    """
    if len(photographs(drafts, draft_id)) + more > MOST_PHOTOGRAPHS:
        raise MeasurementError(
            "too-many", f"A joint takes {MOST_PHOTOGRAPHS} photographs: measure it in two parts."
        )
    with in_words(drafts.parent, (OSError,)):
        free = shutil.disk_usage(drafts).free
    if free - length < FREE_KEPT:
        raise MeasurementError(
            "archive-full",
            f"The laptop's disk has only {free / 1e6:.0f} MB free, and {FREE_KEPT / 1e6:.0f} are kept "
            "for the archive: make room on it, then send again. What was sent before is safe.",
        )


def load_upload(drafts: Path, uid: str) -> tuple[Upload, int]:
    """An upload and how much of it has come.

    Raises
    ------
    NoDraft
        Where there is none: it is whole already, or was begun too long ago.
    """
    try:
        upload = msgspec.json.decode(read_regular(_told(drafts, uid)), type=Upload)
        return upload, upload.length if upload.sha256 else _part(drafts, uid).stat().st_size
    except (OSError, ValueError, msgspec.MsgspecError) as error:
        raise NoDraft("no-upload", "Nothing of this photograph is there: send it anew.") from error


@contextmanager
def appending(drafts: Path, upload: Upload, offset: int) -> Iterator[BinaryIO]:
    """The file of an upload, to write what comes from an offset on; it is on the disk at the end.

    Raises
    ------
    MeasurementError
        ``archive-full`` and the like.
    """
    with in_words(drafts.parent, (OSError,)), continued(_part(drafts, upload.uid), offset) as file:
        yield file


def finish_upload(drafts: Path, upload: Upload) -> Upload:
    """A photograph that is whole, now in its draft; whoever lost the answer to that may ask again.

    Raises
    ------
    MeasurementError
        ``not-an-image`` where it is none; `NoDraft` where its draft was removed.
    """
    if upload.sha256:
        return upload
    part = _part(drafts, upload.uid)
    with in_words(drafts.parent, (OSError,)):
        if not suffix_of(part):
            remove_upload(drafts, upload.uid)
            raise MeasurementError(
                "not-an-image",
                f"{upload.name or 'The file'} is no photograph: JPEG, HEIC, PNG or TIFF is needed.",
            )
        with part.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        try:
            new = add_photograph(drafts, upload.draft, part, sha256, upload.name)
        except NoDraft:
            remove_upload(drafts, upload.uid)
            raise
        done = replace(upload, sha256=sha256, again=not new)
        write_whole(_told(drafts, upload.uid), msgspec.json.encode(done))
    return done


def remove_upload(drafts: Path, uid: str) -> None:
    """Forget an upload."""
    for path in (_part(drafts, uid), _told(drafts, uid)):
        path.unlink(missing_ok=True)


def uploads_of(drafts: Path, draft_id: str) -> list[dict]:
    """What is on its way to a draft, for the page's script."""
    found = []
    for told in (drafts / UPLOADS).glob("*.json"):
        with suppress(NoDraft):
            upload, offset = load_upload(drafts, told.stem)
            if upload.draft == draft_id and not upload.sha256:
                known = {"uid": upload.uid, "name": upload.name, "length": upload.length}
                found.append(known | {"offset": offset})
    return found


def remove_stale(drafts: Path, now: float | None = None) -> int:
    """Remove uploads that nobody went on with, and whatever else a killed program left there; how many."""
    now, removed = time.time() if now is None else now, 0
    for path in (drafts / UPLOADS).iterdir():
        with suppress(OSError):
            beside = [path.with_suffix(suffix) for suffix in (".json", ".part")]
            last = max(p.stat().st_mtime for p in {path, *beside} if p.exists())
            if path.is_file() and now - last > KEPT_S:
                path.unlink()
                removed += 1
    return removed


def _told(drafts: Path, uid: str) -> Path:
    return _checked(drafts, uid) / f"{uid}.json"


def _part(drafts: Path, uid: str) -> Path:
    return _checked(drafts, uid) / f"{uid}.part"


def _checked(drafts: Path, uid: str) -> Path:
    if not _UID.fullmatch(uid):
        raise NoDraft("no-upload", "Nothing of this photograph is there: send it anew.")
    return drafts / UPLOADS
