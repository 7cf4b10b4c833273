"""The folder of what a person keeps for all runs, and the writing of a file in it."""

from __future__ import annotations

import os
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.files import write_new

FOLDER_VARIABLE = "GAPVISION_CONFIG_DIR"  # another place for it, as tests and shared computers need


def config_folder() -> Path:
    """The folder of what a user states once: where this system keeps it, or as told otherwise."""
    told = os.environ.get(FOLDER_VARIABLE)
    if told:
        return Path(told)
    from platformdirs import user_config_path

    return user_config_path("gapvision", appauthor=False)


def write_text(path: Path, text: str, what: str, overwrite: bool) -> None:
    """Write a file of the user's folder, which is made where it is not there yet.

    Raises
    ------
    MeasurementError
        ``file-exists``; ``not-written`` if the disk refuses.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise MeasurementError(
            "not-written", f"{path.parent} could not be made: {error.strerror or error}."
        ) from error
    write_new(path, text.encode(), what, overwrite)
