"""`gapvision measure --outlines FILE`: a file that is not there is written, one that is there is read."""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from gapvision.cli.terminal import STDOUT, say
from gapvision.errors import MeasurementError
from gapvision.files import open_regular
from gapvision.inputs.options import MeasureOptions


def outlines_given(file: str | None, overwrite: bool) -> tuple[str | None, dict | None]:
    """Where outlines are to be written, and what is read of a file of them that is there already.

    Only one of the two. A file of another kind is to be written to, which its writer refuses; one in
    which a person changed something is read whatever may be overwritten.

    Raises
    ------
    MeasurementError
        As `outlines_file.read_outlines`.
    """
    if file in (None, STDOUT) or not os.path.isfile(file):
        return file, None
    from gapvision.answer.outlines_file import holds_changes, read_outlines

    if overwrite and not holds_changes(Path(file)):
        return file, None
    told = read_outlines(Path(file))
    return (file, None) if told is None else (None, told)


def corrected(options: MeasureOptions, told: dict | None, file: str | None) -> MeasureOptions:
    """The options with what was changed by hand in a file of outlines; as they were without one.

    Raises
    ------
    MeasurementError
        As `outlines_file.corrections_in` and `check_given`.
    """
    if told is None or file is None:
        return options
    from gapvision.answer.outlines_file import check_given, corrections_in

    name = Path(file).name
    corrections = corrections_in(told, name)
    check_given(told, name, photos_given(options))
    what = "holds corrections by hand" if corrections else "was there already"
    say(f"Outlines: {file} {what}: it was read, not written", err=True)
    return replace(options, corrections=corrections)


def photos_given(options: MeasureOptions) -> dict[str, str]:
    """The photographs' files by their SHA-256; of those that cannot be read measuring tells."""
    from gapvision.photo.photo import photo_paths

    out = {}
    for arg in (*options.photos, *options.inside):
        with suppress(MeasurementError):
            for path in photo_paths([arg]):
                with suppress(OSError), open_regular(path) as file:
                    out[hashlib.file_digest(file, "sha256").hexdigest()] = str(path)
    return out
