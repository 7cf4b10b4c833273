"""The one writer of files: each appears whole or not at all, and none is lost by it.

A file is written under another name beside its place, brought to the disk, and only then given its name;
so a full disk, a killed run or a pulled stick leaves what was there before. The name of what is being
written begins with `PART`, and it is locked as long as its writer lives: whoever writes into the same
folder next removes what is not.
"""

from __future__ import annotations

import errno
import io
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, TextIO

from gapvision.errors import MeasurementError

if sys.platform != "win32":
    import fcntl
else:  # which lets nobody remove a file that is open
    fcntl = None

PART = ".gapvision-"  # begins the name of what is being written
FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
FORBIDDEN = frozenset({errno.EROFS, errno.EACCES, errno.EPERM})
# What disks answer that cannot bring a folder's names to themselves, or know no locks.
_NOT_KNOWN = frozenset({errno.EINVAL, errno.ENOTSUP, errno.ENOSYS, errno.ENOLCK})


def check_new(path: Path, what: str, overwrite: bool) -> None:
    """Raise what `write_new` would, as far as it can be known before any work is done.

    Parameters
    ----------
    path : Path
        Where something is to be written.
    what : str
        What that is, as in "the picture".
    overwrite : bool
        Whether a file of this name may be replaced.

    Raises
    ------
    MeasurementError
        ``"no-folder"``, ``"file-exists"``, or ``"not-written"`` where no file can be of this name or in
        this folder.
    """
    there = True
    try:
        os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        there = False
    except (OSError, ValueError) as error:
        raise not_written(path, what, error) from error
    if not path.parent.is_dir():
        text = f"There is no folder {path.parent} to write {what} to: make it first."
        raise MeasurementError("no-folder", text)
    if path.is_dir():
        raise MeasurementError("not-written", f"{path} is a folder: name a file in it.")
    if there and path.exists() and not path.is_file():
        text = f"{path} is a device or a pipe: name a file to write {what} to."
        raise MeasurementError("not-written", text)
    if there and not overwrite:
        text = f"The file {path} exists already: choose another name, or add --overwrite."
        raise MeasurementError("file-exists", text)
    real = Path(os.path.realpath(path))
    for place in (real.parent, *([real] if real.exists() else ())):
        if not os.access(place, os.W_OK):
            raise not_written(path, what, PermissionError(errno.EACCES, "Permission denied"))


def write_new(path: Path, content: bytes, what: str, overwrite: bool) -> None:
    """Write a file; the parameters are those of `check_new`.

    Raises
    ------
    MeasurementError
        As `new_file`.
    """
    with new_file(path, what, overwrite) as file:
        file.write(content)


@contextmanager
def new_file(path: Path, what: str, overwrite: bool) -> Iterator[BinaryIO]:
    """A file to write piece by piece; the parameters are those of `check_new`.

    Where the block ends well, the file is on the disk under its name; where anything is raised in it,
    all is as it was. What a link leads to is replaced, not the link.

    Raises
    ------
    MeasurementError
        As `check_new`; ``"not-written"`` if the disk refuses.
    """
    check_new(path, what, overwrite)
    place = Path(os.path.realpath(path)) if overwrite else path
    try:
        with part_file(place.parent) as file:
            if overwrite and place.exists() and hasattr(os, "fchmod"):
                os.fchmod(file.fileno(), stat.S_IMODE(place.stat().st_mode))
            yield file
            settle(file, place, overwrite)
    except FileExistsError as error:  # it came into being since the check
        text = f"The file {path} exists already: choose another name, or add --overwrite."
        raise MeasurementError("file-exists", text) from error
    except OSError as error:
        raise not_written(path, what, error) from error


@contextmanager
def part_file(folder: Path, lead: str = PART) -> Iterator[BinaryIO]:
    """A file in a folder that is gone when the block ends, unless `settle` gave it a name by then.

    Raises
    ------
    OSError
        As the disk has it.
    """
    remove_leftovers(folder)
    while True:
        part = folder / f"{lead}{os.urandom(8).hex()}"
        with part.open("xb") as file:
            _lock(file.fileno())
            if not _is(file.fileno(), part):  # taken for a leftover before it was locked
                continue
            try:
                yield file
            finally:
                with suppress(OSError):  # of what a full disk did not take when it was asked first
                    file.close()
                with suppress(OSError):
                    part.unlink()
            return


def settle(file: BinaryIO, path: Path, overwrite: bool) -> None:
    """Bring a `part_file` to the disk, and only then give it its name.

    Raises
    ------
    OSError
        As the disk has it; FileExistsError where there is something and it may not be replaced.
    """
    file.flush()
    os.fsync(file.fileno())
    if fcntl is None:
        file.close()  # Windows gives no other name to a file that is open
    if overwrite:
        os.replace(file.name, path)
    else:
        _name_new(file.name, path)
    sync_folder(path.parent)


@contextmanager
def continued(path: Path, at: int) -> Iterator[BinaryIO]:
    """A file that is there, to go on writing from a place on; what is written is on the disk at the end.

    It is not whole meanwhile, and must have a name by which nobody takes it for that.

    Raises
    ------
    OSError
        As the disk has it.
    """
    with path.open("r+b") as file:
        file.truncate(at)
        file.seek(at)
        try:
            yield file
        finally:
            file.flush()
            os.fsync(file.fileno())


@contextmanager
def held(folder: Path) -> Iterator[bool]:
    """Whether this process alone holds a folder until the block ends; a killed one holds none.

    Where locks are not known everybody may.
    """
    if fcntl is None:
        yield True
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            alone = True
        except BlockingIOError:
            alone = False
        except OSError as error:
            if error.errno not in _NOT_KNOWN:
                raise
            alone = True
        yield alone
    finally:
        os.close(handle)


def copy_new(source: Path, target: Path) -> None:
    """Copy a file with its time to a name that is free.

    Raises
    ------
    OSError
        As the disk has it; FileExistsError where there is something already.
    """
    with open_regular(source) as old, part_file(target.parent) as new:
        shutil.copyfileobj(old, new)
        new.flush()
        shutil.copystat(source, new.name)
        settle(new, target, overwrite=False)


@contextmanager
def work_folder(parent: Path) -> Iterator[Path]:
    """A folder of one's own that is gone when the block ends, unless it got another name by then.

    Raises
    ------
    OSError
        As the disk has it.
    """
    remove_leftovers(parent)
    folder = parent / f"{PART}{os.urandom(8).hex()}"
    folder.mkdir(mode=0o700)
    handle = os.open(folder, os.O_RDONLY) if fcntl else None
    try:
        if handle is not None:
            _lock(handle)
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        if handle is not None:
            os.close(handle)


def move_new(old: Path, path: Path) -> None:
    """Give a file or folder whose contents are on the disk another name, where nothing is.

    Raises
    ------
    OSError
        As the disk has it; FileExistsError where there is something already.
    """
    if os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST))
    os.rename(old, path)
    for folder in {old.parent, path.parent}:
        sync_folder(folder)


def scratch_file() -> BinaryIO:
    """A file without a name, to write and read again; it is gone when it is closed."""
    return tempfile.TemporaryFile()


def safe_name(text: str, most_bytes: int = 200) -> str:
    """A file's name that leads nowhere else and is not too long, as near to the given one as can be."""
    name = Path(text.replace("\0", "")).name
    stem, dot, suffix = name.rpartition(".")
    suffix = f"{dot}{suffix}" if stem and len(suffix) < 10 else ""
    head = name.removesuffix(suffix).encode()[: most_bytes - len(suffix.encode())]
    return head.decode(errors="ignore").replace("\\", "-") + suffix or "file"


def discard(stream: TextIO) -> None:
    """Have what is still written to a stream go nowhere, since nobody reads it any more."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


def remove_leftovers(folder: Path) -> None:
    """Remove what killed runs left half written in a folder; what a living one writes stays."""
    if fcntl is None:
        return
    try:
        found = [entry for entry in os.scandir(folder) if entry.name.startswith(PART)]
    except OSError:
        return
    for entry in found:
        if entry.is_symlink() or not (entry.is_dir() or entry.is_file()):
            continue
        with suppress(OSError):  # it is locked, or gone, or another's: then it stays
            handle = os.open(entry.path, os.O_RDONLY)
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                if entry.is_dir():
                    shutil.rmtree(entry.path, ignore_errors=True)
                else:
                    os.unlink(entry.path)
            finally:
                os.close(handle)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk; Windows does so by itself and knows no such call."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _NOT_KNOWN:
            raise
    finally:
        os.close(handle)


def not_written(path: Path, what: str, error: OSError | ValueError) -> MeasurementError:
    """What is said where the disk refuses; the parameters are those of `check_new`."""
    number = getattr(error, "errno", None)
    if number in FULL:
        why = "the disk is full: make room, then try again"
    elif number in FORBIDDEN:
        why = "nobody may write there, or not you: name another folder"
    else:
        why = getattr(error, "strerror", None) or str(error)
    text = f"{what[0].upper()}{what[1:]} could not be written to {path}; {why}."
    return MeasurementError("not-written", text)


# --- what is read ---------------------------------------------------------------------------------


def open_regular(path: Path, follow: bool = True) -> io.BufferedReader:
    """An ordinary file to read from: a pipe would never end, and a device may do anything.

    Parameters
    ----------
    path : Path
    follow : bool
        Whether it may be reached by a link in its last place.

    Raises
    ------
    OSError
        As the disk has it, or where it is no ordinary file.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    flags |= 0 if follow else getattr(os, "O_NOFOLLOW", 0)
    try:
        _check_regular(os.stat(path, follow_symlinks=follow))
        raw = io.FileIO(path, opener=lambda name, _: os.open(name, flags))
    except ValueError as error:  # a name with a zero in it
        raise OSError(errno.EINVAL, str(error)) from error
    try:
        _check_regular(os.fstat(raw.fileno()))  # and still is, now that it is open
    except OSError:
        raw.close()
        raise
    return io.BufferedReader(raw)


def read_regular(path: Path, most_bytes: int | None = None) -> bytes:
    """What an ordinary file holds.

    Raises
    ------
    OSError
        As `open_regular`, and where it has more bytes than ``most_bytes``.
    """
    with open_regular(path) as file:
        content = file.read() if most_bytes is None else file.read(most_bytes + 1)
    if most_bytes is not None and len(content) > most_bytes:
        raise OSError(errno.EFBIG, "it is too large")
    return content


def _check_regular(found: os.stat_result) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, "it is a folder")
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "it is no ordinary file")


# --- names and locks ------------------------------------------------------------------------------


def _name_new(part: str, path: Path) -> None:
    try:
        os.link(part, path)  # of all calls the one that never replaces what is there
    except FileExistsError:
        raise
    except (
        OSError
    ):  # a disk without second names, such as FAT: the name is taken first, then filled
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        try:
            os.replace(part, path)
        except OSError:
            os.unlink(path)
            raise
    else:
        os.unlink(part)


def _lock(handle: int) -> None:
    if fcntl is None:
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
    except OSError as error:
        if error.errno not in _NOT_KNOWN:
            raise


def _is(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), os.lstat(path))
    except OSError:
        return False
