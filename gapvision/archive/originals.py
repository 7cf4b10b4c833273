"""The original files of an archive, each under its hash: stored, read, removed, set aside.

A database may come from anybody. So a name from it is used only if it is a hash, no link below the folder
is followed, only ordinary files are read or deleted, and all else is named and left alone. What no record
has may be what a lost journal's record had: it is set aside, never deleted.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import re
import stat
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, TypeGuard

from gapvision.archive.store import Archive, writing
from gapvision.errors import MeasurementError
from gapvision.files import move_new, open_regular, part_file, settle, sync_folder

NEW = "new-"  # of a file that is being written; names of finished ones are hexadecimal
ASIDE = "set-aside"
CHUNK = 1 << 20

_HASH = re.compile(r"[0-9a-f]{64}")
_KNOWN = "SELECT 1 FROM content WHERE sha256 = ?"
# By its first bytes, so that a photograph that was set aside opens, and can be measured, by itself.
_SUFFIXES = {b"\xff\xd8\xff": ".jpg", b"\x89PNG": ".png", b"II*\0": ".tif", b"MM\0*": ".tif"}


@dataclass(frozen=True, slots=True)
class Removal:
    """How many files a removal took away, and a sentence on each thing that it left behind."""

    files: int
    left: tuple[str, ...] = ()


def is_hash(name: object) -> TypeGuard[str]:
    """Whether it can name a stored file: 64 hexadecimal digits, and so no path to anywhere."""
    return isinstance(name, str) and _HASH.fullmatch(name) is not None


def path_of(archive: Archive, sha256: object) -> Path:
    """Where the file of this hash lies, reached by no link.

    Raises
    ------
    OSError
        Where it is no hash, or a link would lead out of the archive.
    """
    if not is_hash(sha256):
        raise OSError(errno.EINVAL, "its name in the database is no hash")
    path = archive.photos / sha256[:2] / sha256
    for place in (archive.photos, path.parent, path):
        if place.is_symlink():
            raise OSError(errno.ELOOP, f"{place.name} is a link, and none is followed")
    return path


def open_stored(archive: Archive, sha256: object) -> io.BufferedReader:
    """A stored file to read from.

    Raises
    ------
    OSError
        As `path_of` and `open_regular`.
    """
    return open_regular(path_of(archive, sha256), follow=False)


def digest(archive: Archive, sha256: object) -> tuple[str, int]:
    """SHA-256 and number of bytes of a stored file as it is; empty and 0 where there is none.

    Raises
    ------
    OSError
        As `open_stored`, but where there is nothing.
    """
    try:
        with open_stored(archive, sha256) as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
            return found, os.fstat(file.fileno()).st_size
    except FileNotFoundError:
        return "", 0


def put(archive: Archive, source: Path | bytes, sha256: str | None = None) -> tuple[str, int]:
    """Store a file under its hash, inside `writing`; one that is there already is left alone.

    Parameters
    ----------
    archive : Archive
    source : Path or bytes
    sha256 : str, optional
        What it must be: the hash of what was measured.

    Returns
    -------
    str, int
        Its SHA-256 and its number of bytes.

    Raises
    ------
    MeasurementError
        ``photo-changed`` where the file is no longer what it was, ``no-access`` where it cannot be read.
    OSError
        As the disk has it.
    """
    with _open_source(source) as file:
        if sha256 is not None and (size := _size_if_whole(archive, sha256)):
            if not archive.db.execute(_KNOWN, (sha256,)).fetchone():
                _sync_name(archive, sha256)  # its writer may have been killed before that
            return sha256, size
        _no_link(archive.photos).mkdir(exist_ok=True)
        with part_file(archive.photos, NEW) as copy:
            found, size = _copied(file, copy)
            if sha256 is not None and found != sha256:
                name = source.name if isinstance(source, Path) else "What was read"
                raise MeasurementError(
                    "photo-changed",
                    f"{name} is no longer the file that was measured: leave the "
                    "photographs alone until the answer is there, and measure again.",
                )
            path = archive.photos / found[:2] / found
            _no_link(path.parent).mkdir(exist_ok=True)
            if _there(path) and not _is_file(path):
                set_aside(archive, path)  # it would be in the way for ever
            settle(copy, path, overwrite=True)
            for folder in (archive.photos, archive.folder):
                sync_folder(folder)
    return found, size


def sweep(archive: Archive) -> int:
    """Remove what killed processes left half written, inside `writing`; how many files it was."""
    swept = 0
    for new in halves(archive):
        with suppress(OSError):
            (archive.photos / new).unlink()
            swept += 1
    return swept


def halves(archive: Archive) -> Iterator[str]:
    """Names of files that were never finished: nobody's, under the write lock."""
    if not archive.photos.is_symlink():
        for new in sorted(archive.photos.glob(f"{NEW}*")):
            if _is_file(new):
                yield new.name


def unclaimed(archive: Archive) -> Iterator[Path]:
    """What lies in a photograph's place, and no record and no removal knows of it."""
    for folder in () if archive.photos.is_symlink() else sorted(archive.photos.glob("??")):
        for path in () if folder.is_symlink() else sorted(folder.glob("*")):
            waiting = "SELECT 1 FROM leftover WHERE sha256 = ?"
            if is_hash(path.name) and not any(
                archive.db.execute(sql, (path.name,)).fetchone() for sql in (_KNOWN, waiting)
            ):
                yield path


def set_aside(archive: Archive, path: Path) -> str:
    """Move what nobody knows out of the way, and return its new name; inside `writing`.

    Raises
    ------
    OSError
        As the disk has it.
    """
    aside = _no_link(archive.folder / ASIDE)
    aside.mkdir(exist_ok=True)
    name = path.name + _suffix(path)
    number = 1
    while _there(aside / name):
        number += 1
        name = f"{path.name}-{number}{_suffix(path)}"
    move_new(path, aside / name)
    sync_folder(archive.folder)
    return name


def names_aside(archive: Archive) -> list[str]:
    """What was set aside by now."""
    aside = archive.folder / ASIDE
    return [] if aside.is_symlink() else sorted(p.name for p in aside.glob("*"))


def finish_removal(archive: Archive) -> Removal:
    """Remove the files that removed records left, unless another record needs them by now.

    What cannot be removed now is waited for no longer than it may ever go: a folder in a photograph's
    place is left to `verify`, a file that the disk holds fast to the next removal.

    Raises
    ------
    MeasurementError
        As `writing`.
    """
    if archive.db.execute("SELECT 1 FROM leftover").fetchone() is None:
        return Removal(0)
    removed, left, done = 0, [], []
    with writing(archive, "its photographs are still there") as db:
        for (sha256,) in db.execute("SELECT sha256 FROM leftover").fetchall():
            why = "" if db.execute(_KNOWN, (sha256,)).fetchone() else _unlinked(archive, sha256)
            removed += why is None
            if why:
                left.append(why)
            if not why or not is_hash(sha256) or not _is_file(archive.photos / sha256[:2] / sha256):
                done.append((sha256,))
        db.executemany("DELETE FROM leftover WHERE sha256 IS ?", done)
    return Removal(removed, tuple(left))


def _unlinked(archive: Archive, sha256: str) -> str | None:
    """None if the file was deleted, empty if there was none, else why it is still there."""
    try:
        path = path_of(archive, sha256)
        if not _there(path):
            return ""
        if not _is_file(path):
            return (
                f"photos/{sha256[:2]}/{sha256} is no file: archive verify --repair sets it aside."
            )
        path.unlink()
    except OSError as error:
        where = f"photos/{sha256[:2]}/{sha256}" if is_hash(sha256) else repr(sha256)[:80]
        return f"{where} could not be deleted ({error.strerror})."
    return None


def _size_if_whole(archive: Archive, sha256: str) -> int:
    """Bytes of the stored file of this hash; 0 where there is none that is whole."""
    try:
        found, size = digest(archive, sha256)
    except OSError:
        return 0
    return size if found == sha256 else 0


def _sync_name(archive: Archive, sha256: str) -> None:
    """Have the name of a stored file on the disk, and those of the folders that lead to it."""
    for folder in (path_of(archive, sha256).parent, archive.photos, archive.folder):
        sync_folder(folder)


def _no_link(folder: Path) -> Path:
    if folder.is_symlink():
        raise OSError(errno.ELOOP, f"{folder.name} is a link, and none is followed")
    return folder


def _there(path: Path) -> bool:
    return os.path.lexists(path)


def _is_file(path: Path) -> bool:
    try:
        return stat.S_ISREG(os.lstat(path).st_mode)
    except OSError:
        return False


def _suffix(path: Path) -> str:
    if not _is_file(path):
        return ""
    try:
        with open_regular(path, follow=False) as file:
            head = file.read(8)
    except OSError:
        return ""
    if head[4:8] == b"ftyp":
        return ".heic"
    return next((s for first, s in _SUFFIXES.items() if head.startswith(first)), "")


def _open_source(source: Path | bytes) -> BinaryIO:
    if isinstance(source, bytes):
        return io.BytesIO(source)
    try:
        return open_regular(source)
    except OSError as error:
        raise _source_gone(source, error) from error


def _copied(source: BinaryIO, copy: BinaryIO) -> tuple[str, int]:
    hashed, size = hashlib.sha256(), 0
    while piece := _read(source):
        hashed.update(piece)
        copy.write(piece)
        size += len(piece)
    return hashed.hexdigest(), size


def _read(source: BinaryIO) -> bytes:
    try:
        return source.read(CHUNK)
    except OSError as error:
        raise _source_gone(source.name, error) from error


def _source_gone(source: object, error: OSError) -> MeasurementError:
    return MeasurementError(
        "no-access",
        f"{source} could not be read any more ({error.strerror}), so that the joint was not kept: "
        "bring the photograph back and measure again.",
    )
