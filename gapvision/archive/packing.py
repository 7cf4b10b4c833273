"""Where an export goes: a folder or a zip file that appears whole or not at all, and names in it."""

from __future__ import annotations

import io
import re
import shutil
import unicodedata
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from gapvision.files import move_new, new_file, part_file, settle, work_folder

Write = Callable[[str, bytes | BinaryIO], None]

MOST_BYTES = 60  # of a name: encrypted disks have 143, and Windows 260 for the whole path
_FIRST, _LAST = (1980, 1, 1, 0, 0, 0), (2107, 12, 31, 23, 59, 58)  # what a zip's clock can say
_FILE = 0o100644 << 16  # an ordinary file that all may read


@contextmanager
def place_for(target: Path, what: str) -> Iterator[Write]:
    """Somewhere to write files to by their names, which gets its own name when all is there.

    Raises
    ------
    MeasurementError
        As `new_file`.
    OSError
        As the disk has it.
    """
    if target.suffix.lower() == ".zip":
        with new_file(target, what, overwrite=False) as file, zipfile.ZipFile(file, "w") as packed:
            yield lambda name, content: _into_zip(packed, name, content)
        return
    with work_folder(target.absolute().parent) as work:
        folder = work / "export"
        folder.mkdir()
        yield lambda name, content: _into_folder(folder / name, content)
        move_new(folder, target)


def plain_name(text: str) -> str:
    """A name in ASCII that every file system and unpacker takes; empty where nothing is left of it.

    >>> plain_name("Järvitalo, wall north: log 3.jpg")
    'Jarvitalo-wall-north-log-3.jpg'
    """
    ascii_only = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    stem, _, suffix = re.sub(r"[^A-Za-z0-9_.]+", "-", ascii_only).rpartition(".")
    if not stem or not re.fullmatch(r"[A-Za-z0-9]{1,5}", suffix):
        stem, suffix = f"{stem}.{suffix}" if stem else suffix, ""
    stem = stem.strip("-.")[:MOST_BYTES].strip("-.")
    return f"{stem}.{suffix}" if suffix else stem


def numbered(number: str, text: str) -> str:
    """A number and what is left of a name, joined by a hyphen where anything is."""
    name = plain_name(text)
    return f"{number}{name}" if name.startswith(".") or not name else f"{number}-{name}"


def _into_folder(path: Path, content: bytes | BinaryIO) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with part_file(path.parent) as file:
        shutil.copyfileobj(io.BytesIO(content) if isinstance(content, bytes) else content, file)
        settle(file, path, overwrite=False)


def _into_zip(packed: zipfile.ZipFile, name: str, content: bytes | BinaryIO) -> None:
    """Old unpackers know no ZIP64: it is used only for what is too large without."""
    now = datetime.now().timetuple()[:6]
    info = zipfile.ZipInfo(name, min(max(now, _FIRST), _LAST))
    photograph = "/photographs/" in name or name.endswith("/picture.jpg")
    info.compress_type = zipfile.ZIP_STORED if photograph else zipfile.ZIP_DEFLATED
    info.external_attr = _FILE
    source = io.BytesIO(content) if isinstance(content, bytes) else content
    info.file_size = source.seek(0, io.SEEK_END)
    source.seek(0)
    with packed.open(info, "w") as file:
        shutil.copyfileobj(source, file)
