"""In a worker: a draft measured, with its progress in the draft's folder, and what is kept of it."""

from __future__ import annotations

import json
import pickle
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from gapvision.errors import MeasurementError
from gapvision.files import read_regular, write_new
from gapvision.inputs.joint_name import JointName
from gapvision.inputs.options import MeasureOptions
from gapvision.page.drafts import PICTURE, PROGRESS

if TYPE_CHECKING:
    from gapvision.archive.record import NewRecord


def measure_draft(options: MeasureOptions, looks: Mapping[str, bytes], folder: Path) -> dict:
    """The JSON of the answer or the refusal, as `measure --json` writes it; its picture is drawn too.

    Parameters
    ----------
    options : MeasureOptions
    looks : mapping
        Pickled, by the photographs' hashes, of those that were traced as they came.
    folder : Path
        The draft's, where it is told how many photographs are done, and the picture is written.

    Raises
    ------
    MeasurementError
        ``not-written``.
    """
    from gapvision.answer.as_json import answer_json, refusal_json, stamped
    from gapvision.answer.picture.picture import write_picture
    from gapvision.page.labels import to_do_in_page_words
    from gapvision.shoot.one_slip import check_one_slip
    from gapvision.spine import measure

    def tell(done: int, total: int) -> None:
        with suppress(MeasurementError):  # of a full disk it is told where the answer is written
            text = json.dumps({"done": done, "total": total})
            write_new(folder / PROGRESS, text.encode(), "the progress", overwrite=True)

    now = datetime.now().astimezone().isoformat(timespec="seconds")
    known = {sha256: pickle.loads(pickled) for sha256, pickled in looks.items()}
    quick = len(known) == len(options.photos)
    try:
        measurement = measure(options, None if quick else tell, known)
        given = [Path(p.file) for p in measurement.photos]
        check_one_slip([Path(p.file) for p in measurement.photos if not (p.used or p.cards)], given)
    except MeasurementError as error:
        return stamped(refusal_json(error), now)
    shown = to_do_in_page_words(measurement)
    write_picture(folder / PICTURE, shown, options.units, overwrite=True)
    return stamped(answer_json(measurement), now)


def record_of(joint: JointName, options: MeasureOptions, answer: dict, folder: Path) -> NewRecord:
    """What the archive keeps of an answer: it as it stands, and the picture that was drawn of it.

    Raises
    ------
    MeasurementError
        Where a photograph, or the picture, is no longer there.
    """
    from gapvision.answer.as_json import measurement_of
    from gapvision.archive.record import NewRecord, options_json, plain_result, source_files

    measurement = measurement_of(answer)
    plain = {k: v for k, v in answer.items() if k not in ("program_version", "measured_at")}
    try:
        drawn = read_regular(folder / PICTURE)
    except OSError:
        raise MeasurementError(
            "changed", "The picture of the answer is lost: measure again."
        ) from None
    return NewRecord(
        joint,
        options_json(options, measurement.photos),
        plain_result(plain),
        source_files(options, measurement.photos, drawn),
    )


def report_of(answer_file: Path, joint: JointName, units: str, suffix: str, paper: str) -> bytes:
    """The report that `report` writes of an answer."""
    from gapvision.answer.report.sources import report_of_json
    from gapvision.answer.report.write import write_kind
    from gapvision.page.labels import answer_in_page_words

    report = report_of_json(answer_file, joint, units=units)
    report = replace(report, result=answer_in_page_words(report.result))
    return write_kind([report], False, suffix, paper)


def report_of_kept(archive: Path, record: int, suffix: str, paper: str) -> bytes:
    """The report of a record, with what was told of it later.

    Raises
    ------
    MeasurementError
        As `load_record`.
    """
    from gapvision.answer.report.write import write_kind
    from gapvision.archive.outcome import outcomes_of
    from gapvision.archive.query import load_record
    from gapvision.archive.report import report_of_record
    from gapvision.archive.store import open_archive

    with open_archive(archive) as opened:
        told = outcomes_of(opened, record)
        report = report_of_record(opened, load_record(opened, record), told)
    return write_kind([report], False, suffix, paper)


def report_of_wall(archive: Path, building: str, wall: str, suffix: str, paper: str) -> bytes:
    """The report of the latest record of each log of a wall.

    Raises
    ------
    MeasurementError
        ``no-record`` where there is none.
    """
    from gapvision.answer.report.write import write_kind
    from gapvision.archive.outcome import outcomes_of
    from gapvision.archive.query import load_record
    from gapvision.archive.report import latest_records, report_of_record
    from gapvision.archive.store import open_archive

    with open_archive(archive) as opened:
        numbers = latest_records(opened, building, wall, None)
        reports = [
            report_of_record(opened, load_record(opened, n), outcomes_of(opened, n))
            for n in numbers
        ]
    return write_kind(reports, True, suffix, paper)
