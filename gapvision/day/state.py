"""A joint's answer beside its photographs, and whether it still answers what is asked."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from gapvision import __version__
from gapvision.answer.as_json import FORMAT
from gapvision.errors import MeasurementError
from gapvision.files import read_regular, write_new
from gapvision.inputs.joint_name import JointName
from gapvision.inputs.options import MeasureOptions
from gapvision.photo.lens.files import camera_paths
from gapvision.photo.photo import photo_paths

if TYPE_CHECKING:
    from gapvision.archive.record import Kept
    from gapvision.archive.store import Archive

FILE = "gapvision.json"
KEY = "day"  # of what is added to the measurement's JSON


def asked_of(options: MeasureOptions) -> str:
    """A hash of all that an answer depends on: photographs, options, cameras and the program.

    Neither the folder nor its name enters it, so that a day may be moved.
    """
    asked = {k: v for k, v in asdict(options).items() if k not in ("photos", "inside", "camera")}
    files = [
        (side, path.name, _sha256(path))
        for side in ("photos", "inside")
        for path in photo_paths(getattr(options, side))
    ]
    cameras = [_sha256(path) for path in (options.camera, *camera_paths()) if path]
    text = json.dumps([__version__, asked, files, cameras, options.camera is None])
    return hashlib.sha256(text.encode()).hexdigest()


def known_answer(folder: Path, asked: str) -> dict | None:
    """The answer in a joint's folder; None where there is none, or it answers something else.

    Raises
    ------
    MeasurementError
        ``file-exists`` where a file of this name was not written by `write_answer`.
    """
    path = folder / FILE
    if not path.exists():
        return None
    try:
        answer = json.loads(read_regular(path).decode("utf-8"))
        ours = answer["format"] == FORMAT and answer[KEY]["asked"]
    except (OSError, RecursionError, ValueError, TypeError, KeyError):
        text = f"{path} was written by something else, and stays as it is: move it away first."
        raise MeasurementError("file-exists", text) from None
    return answer if ours == asked else None


def write_answer(folder: Path, answer: dict, asked: str, kept: Kept | None) -> None:
    """Write a joint's answer beside its photographs, instead of the one that `known_answer` allowed.

    Raises
    ------
    MeasurementError
        ``not-written``.
    """
    state = {"asked": asked, "kept": asdict(kept) if kept else None}
    text = json.dumps({**answer, KEY: state}, allow_nan=False, indent=1)
    write_new(folder / FILE, f"{text}\n".encode(), "the answer", overwrite=True)


def is_kept(archive: Archive, answer: dict, joint: JointName) -> bool:
    """Whether this archive has an answer, under the joint's names and with its photographs."""
    from gapvision.archive.query import files_of, load_entry

    kept = answer[KEY].get("kept")
    if not kept:
        return False
    try:
        entry = load_entry(archive, kept["record"])
    except MeasurementError:
        return False
    stored = {f.sha256 for f in files_of(archive, entry.record)}
    used = {p["sha256"] for p in answer["photos"] if p["used"]}
    return entry.joint == joint and used <= stored


def _sha256(path: Path) -> str:
    """Of a file; empty where it cannot be read, which measuring it then tells."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
