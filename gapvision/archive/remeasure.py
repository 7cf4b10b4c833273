"""The present program over a stored joint's own photographs and options."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from gapvision import __version__
from gapvision.archive.query import Record, read_file
from gapvision.archive.record import Kept, add_record, new_record, options_of, plain_result
from gapvision.archive.store import Archive
from gapvision.files import safe_name, work_folder, write_new
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
    with work_folder(Path(tempfile.gettempdir())) as folder:
        given: dict[str, list[Path]] = {"photos": [], "inside": []}
        for n, file in enumerate(record.photographs):
            copy = folder / str(n) / safe_name(file.name)  # two may have one name
            copy.parent.mkdir()
            write_new(copy, read_file(archive, file), "the photograph", overwrite=False)
            given[file.given].append(copy)
        camera = record.options.get("camera")
        if camera is not None:
            path = folder / "camera" / safe_name(camera["name"])
            path.parent.mkdir()
            write_new(path, camera["toml"].encode(), "the camera file", overwrite=False)
            camera = path
        yield options_of(record.options, given["photos"], given["inside"], camera)
