"""Writing a file without losing one of the same name."""

from __future__ import annotations

from pathlib import Path

from gapvision.errors import MeasurementError


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
        ``"no-folder"`` or ``"file-exists"``.
    """
    if not path.parent.is_dir():
        text = f"There is no folder {path.parent} to write {what} to: make it first."
        raise MeasurementError("no-folder", text)
    if path.exists() and not overwrite:
        text = f"The file {path} exists already: choose another name, or add --overwrite."
        raise MeasurementError("file-exists", text)


def write_new(path: Path, content: bytes, what: str, overwrite: bool) -> None:
    """Write a file; the parameters are those of `check_new`.

    Raises
    ------
    MeasurementError
        ``"no-folder"``, ``"file-exists"``, or ``"not-written"`` if the disk refuses.
    """
    check_new(path, what, overwrite)
    try:
        # "x" and not "w": a file that came into being since the check is not lost either.
        with path.open("wb" if overwrite else "xb") as file:
            file.write(content)
    except FileExistsError:
        check_new(path, what, overwrite)
        raise
    except OSError as error:
        text = f"{what[0].upper()}{what[1:]} could not be written to {path}: {error.strerror or error}."
        raise MeasurementError("not-written", text) from error
