"""Stored joints measured again by the present program, several at once, and kept where asked to."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from gapvision import __version__
from gapvision.archive.originals import path_of
from gapvision.archive.query import Entry, Record, StoredFile, load_record, read_file
from gapvision.archive.record import Kept, add_record, options_of
from gapvision.archive.store import Archive, open_archive
from gapvision.day.joints import DayJoint
from gapvision.day.parcel import Sent, of_parcel, packed
from gapvision.day.processes import Finished, Work, in_processes, measured
from gapvision.errors import MeasurementError
from gapvision.files import safe_name

if TYPE_CHECKING:
    from gapvision.day.cluster import Cluster


@dataclass(frozen=True, eq=False, slots=True)
class Again:
    """What came of a stored joint.

    Attributes
    ----------
    record : int
        Its number.
    old : Record or None
        What is stored; None where it cannot be read.
    new : dict or None
        The present program's JSON, as the archive keeps it; None where there is none.
    lacked : str
        Why there is none, or why it was not kept.
    kept : Kept or None
        What it was kept as just now.
    before : int or None
        The record as which the present program's answer was kept earlier; it is ``new`` then.
    """

    record: int
    old: Record | None
    new: dict | None
    lacked: str = ""
    kept: Kept | None = None
    before: int | None = None


def measured_again(
    archive: Archive,
    records: Sequence[int],
    keep: bool,
    processes: int,
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] = lambda: False,
    cluster: Cluster | None = None,
    work: Work = measured,
) -> Iterator[Again]:
    """What comes of each stored joint, in any order.

    A camera file that was named then is used as it was then; one that matches by itself is looked for
    among those of today.

    Parameters
    ----------
    archive : Archive
        Its one writer is this process.
    records : sequence of int
    keep : bool
        Whether to keep each answer as a record beside the old one. What the present program has kept
        of them already is not measured again then, so that a run that was stopped can be run again.
    processes, progress, stop, cluster, work
        As of `run_day`.

    Raises
    ------
    MeasurementError
        As `on_cluster`.
    """
    todo = []
    for record in records:
        known = _kept_earlier(archive, record) if keep else None
        if known is None:
            todo.append(record)
        else:
            yield _earlier(archive, record, known)
    if progress:
        progress(0, len(todo))
    job = partial(_job, archive.folder, bool(cluster and cluster.shared), keep, work)
    if cluster:
        from gapvision.day.cluster import on_cluster

        runs = on_cluster(cluster, todo, job, stop)
    else:
        runs = in_processes(todo, job, processes, stop)
    for done, (record, finished) in enumerate(runs, 1):
        yield _finish(archive, record, finished)
        if progress:
            progress(done, len(todo))


def worth_it(entries: Iterable[Entry], keep: bool) -> list[int]:
    """Numbers of the records to measure again; not what the present program kept when it did so."""
    return [
        e.record for e in entries if not keep or e.remeasured is None or e.program != __version__
    ]


def _kept_earlier(archive: Archive, record: int) -> int | None:
    """The latest record of it that has the present program's answer."""
    sql = "SELECT max(record) FROM record WHERE remeasured = ? AND program = ?"
    return archive.db.execute(sql, (record, __version__)).fetchone()[0]


def _earlier(archive: Archive, record: int, known: int) -> Again:
    try:
        old, new = (load_record(archive, number) for number in (record, known))
    except MeasurementError as error:
        return Again(record, None, None, error.text, before=known)
    return Again(record, old, new.result, before=known)


def _job(folder: Path, shared: bool, keep: bool, work: Work, record: int) -> Callable[[], Finished]:
    """What is to be done for a record. Not always asked for in the thread that has the archive open."""
    try:
        with open_archive(folder) as archive:
            found = load_record(archive, record)
            sent = [_sent(archive, n, file, shared) for n, file in enumerate(found.photographs)]
    except MeasurementError as error:
        return partial(Finished, None, lacked=error.text)
    try:
        parcel = packed(options_of(found.options, (), (), None), sent, _camera(found))
    except MeasurementError as error:
        return partial(Finished, None, lacked=error.text)
    joint = DayJoint(Path(), str(record), found.entry.joint, parcel.options)
    return partial(of_parcel, parcel, joint, keep, work)


def _sent(archive: Archive, n: int, file: StoredFile, shared: bool) -> Sent:
    """A stored photograph under its own name, in a folder of its own: two may have one name."""
    content = read_file(archive, file)
    place = path_of(archive, file.sha256).absolute()
    name = safe_name(file.name)
    return Sent(
        file.name, str(n), name, file.given, file.sha256, place, None if shared else content
    )


def _camera(found: Record) -> Sent | None:
    """The camera file that was named then, as it was then."""
    camera = found.options.get("camera")
    if camera is None:
        return None
    name, text = safe_name(camera["name"]), camera["toml"].encode()
    sha256 = hashlib.sha256(text).hexdigest()
    return Sent(camera["name"], "", name, "", sha256, Path(camera["name"]), text)


def _finish(archive: Archive, record: int, finished: Finished) -> Again:
    """What came of a record, kept where it is to be."""
    answer = finished.answer
    try:
        old = load_record(archive, record)  # which may have been removed meanwhile
    except MeasurementError as error:
        return Again(record, None, None, error.text)
    if answer is None:
        lacked = finished.lacked or f"The program failed ({finished.failed})."
        return Again(record, old, None, lacked)
    if answer["status"] == "refused":
        return Again(record, old, None, answer["reason"]["text"])
    if finished.record is None:
        return Again(record, old, answer)
    try:
        kept = add_record(archive, replace(finished.record, remeasured=record))
    except MeasurementError as error:
        return Again(record, old, answer, error.text)
    return Again(record, old, answer, kept=kept)
