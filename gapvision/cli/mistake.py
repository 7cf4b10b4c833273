"""The last line of defence: what no command expected is one sentence, and a file to send."""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback
from datetime import datetime
from importlib import metadata
from pathlib import Path

from gapvision import __version__
from gapvision.cli.terminal import say
from gapvision.errors import MeasurementError
from gapvision.files import FULL, write_new

_LIBRARIES = ("numpy", "scipy", "opencv-python-headless", "pillow", "pillow-heif", "reportlab")


def tell_mistake(error: Exception) -> None:
    """Say what stopped the program, and where what its makers need to know was written."""
    if isinstance(error, MemoryError):
        say("Refused: the computer's memory does not suffice: give fewer photographs.", err=True)
    elif isinstance(error, OSError) and error.errno in FULL:
        say("Refused: a disk is full: make room, then try again.", err=True)
    else:
        name = type(error).__name__
        place = _written(_report(error))
        if place is None:
            send = f"please tell its makers: {name}: {error}"
        else:
            send = f"please send {place} to its makers; there is no photograph in it"
        say(" ".join(f"Stopped by a mistake of the program ({name}): {send}.".split()), err=True)


def _report(error: Exception) -> str:
    versions = [f"gapvision {__version__}", f"Python {sys.version}", platform.platform()]
    for library in _LIBRARIES:
        try:
            versions.append(f"{library} {metadata.version(library)}")
        except metadata.PackageNotFoundError:
            versions.append(f"{library}: not installed")
    typed = f"gapvision {' '.join(sys.argv[1:])}"
    trace = "".join(traceback.format_exception(error))
    return "\n".join([*versions, "", typed, "", trace])


def _written(text: str) -> Path | None:
    """Where it was written: here, or where temporary files go; None where neither can be."""
    name = f"gapvision-mistake-{datetime.now():%Y%m%d-%H%M%S}-{os.getpid()}.txt"
    for folder in (Path(), Path(tempfile.gettempdir())):
        try:
            write_new(folder / name, text.encode(errors="replace"), "what happened", False)
        except (MeasurementError, OSError):
            continue
        return folder / name
    return None
