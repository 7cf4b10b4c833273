"""`gapvision measure --outlines FILE`: a file that is not there is written, one that is there is read."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from gapvision.cli.terminal import STDOUT, say
from gapvision.errors import MeasurementError
from gapvision.files import open_regular
from gapvision.inputs.options import MeasureOptions


def outlines_given(file: str | None, overwrite: bool) -> tuple[str | None, dict | None]:
    """Where outlines are to be written, and what is read of a file of them that is there already.

    Only one of the two. A file of another kind is to be written to, which its writer refuses.

    Raises
    ------
    MeasurementError
        As `outlines_file.read_outlines`; ``"file-exists"`` where what was done by hand would be lost.
    """
    if file in (None, STDOUT) or not os.path.isfile(file):
        return file, None
    from gapvision.answer.outlines_file import holds_changes, read_outlines

    if not overwrite:
        told = read_outlines(Path(file))
        return (file, None) if told is None else (None, told)
    if holds_changes(Path(file)):
        raise MeasurementError(
            "file-exists",
            f"{file} holds corrections by hand, which --overwrite would lose: leave --overwrite out to "
            "measure with them, or name another file to write.",
        )
    return file, None


def corrected(options: MeasureOptions, told: dict | None, file: str | None) -> MeasureOptions:
    """The options with what was changed by hand in a file of outlines; as they were without one.

    Raises
    ------
    MeasurementError
        As `outlines_file.corrections_in` and `check_given`.
    """
    if told is None:
        return options
    from gapvision.answer.outlines_file import check_given, corrections_in

    name = Path(file).name
    corrections = corrections_in(told, name)
    check_given(told, name, _hashes((*options.photos, *options.inside)))
    say(f"Outlines: {file} was there already, and was read", err=True)
    return replace(options, corrections=corrections)


def _hashes(given: Sequence[Path]) -> set[str]:
    """SHA-256 of the photographs given; those that cannot be read, measuring tells of."""
    from gapvision.photo.photo import photo_paths

    out = set()
    for arg in given:
        with suppress(MeasurementError):
            for path in photo_paths([arg]):
                with suppress(OSError), open_regular(path) as file:
                    out.add(hashlib.file_digest(file, "sha256").hexdigest())
    return out
