"""The present program over a stored joint's own photographs and options."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from gapvision import __version__
from gapvision.archive.query import Record, missing_file
from gapvision.archive.record import Kept, add_record, new_record, options_of, plain_result
from gapvision.archive.store import Archive, digest
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions


@dataclass(frozen=True, slots=True)
class Remeasured:
    """A stored answer beside the present program's; ``new`` is its JSON, ``kept`` the record it became."""

    old: Record
    new: dict
    program: str
    kept: Kept | None


def remeasure(
    archive: Archive,
    record: Record,
    keep: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Remeasured:
    """Measure a stored joint again, and keep it as a new record where asked to.

    A camera file that was named then is used as it was then; one that matches by itself is looked
    for among those of today.

    Raises
    ------
    MeasurementError
        ``photo-missing`` or ``photo-damaged``, whatever `measure` raises, and as `add_record`.
    """
    from gapvision.answer.as_json import answer_json
    from gapvision.spine import measure

    with laid_out(archive, record) as options:
        measurement = measure(options, progress)
        kept = None
        if keep:
            new = new_record(record.entry.joint, options, measurement, record.entry.record)
            kept = add_record(archive, new)
    return Remeasured(record, plain_result(answer_json(measurement)), __version__, kept)


@contextmanager
def laid_out(archive: Archive, record: Record) -> Iterator[MeasureOptions]:
    """The options of a stored joint, its photographs copied to a folder under their own names."""
    with tempfile.TemporaryDirectory(prefix="gapvision-") as name:
        folder = Path(name)
        given: dict[str, list[Path]] = {"photos": [], "inside": []}
        for n, file in enumerate(record.photographs):
            stored = archive.path_of(file.sha256)
            copy = folder / str(n) / Path(file.name).name  # two may have one name
            copy.parent.mkdir()
            try:
                shutil.copyfile(stored, copy)
            except OSError:
                raise missing_file(file, stored) from None
            if digest(copy)[0] != file.sha256:
                raise MeasurementError(
                    "photo-damaged",
                    f"{file.name} in the archive ({stored}) is no longer what was stored: restore "
                    "it from a copy of the archive.",
                )
            given[file.given].append(copy)
        camera = record.options["camera"]
        if camera is not None:
            (folder / "camera").mkdir()
            path = folder / "camera" / Path(camera["name"]).name
            path.write_text(camera["toml"], encoding="utf-8")
            camera = path
        yield options_of(record.options, given["photos"], given["inside"], camera)
