"""Where a report's joints come from: files that `measure --json` wrote, and the archive."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gapvision.errors import MeasurementError
from gapvision.report_joint import JointReport
from gapvision.report_photos import clean_picture, collect_photos, scaled_photo
from gapvision.report_read import check_answer
from gapvision.report_words import later_sections

if TYPE_CHECKING:
    from gapvision.archive import Record
    from gapvision.archive_outcome import Outcome, OutcomeValue
    from gapvision.archive_store import Archive


def read_json(path: Path) -> dict:
    """The measurement in a JSON file.

    Raises
    ------
    MeasurementError
        ``"no-file"``, ``"not-a-measurement"`` or ``"newer-version"``.
    """
    try:
        answer = json.loads(path.read_bytes(), parse_constant=_no_number)
    except OSError as error:
        text = f"{path} cannot be read ({error.strerror}): name a file that measure --json wrote."
        raise MeasurementError("no-file", text) from error
    except ValueError as error:
        text = f"{path.name} is no JSON: give a file that gapvision measure --json wrote."
        raise MeasurementError("not-a-measurement", text) from error
    return check_answer(answer, path.name)


def report_of_json(
    path: Path,
    job: tuple[str, str, str],
    photos: Path | None = None,
    picture: Path | None = None,
    units: str = "mm",
) -> JointReport:
    """The report of a measurement's JSON file.

    Its date is ``measured_at``; of older files, which have none, when the file was written.

    Parameters
    ----------
    path : Path
        Written by ``measure --json``.
    job : (building, wall, log)
        In the builder's words, empty where not stated.
    photos : Path, optional
        A folder of the photographs, if they are no longer where they were measured.
    picture : Path, optional
        Written by ``measure --picture``.
    units : {"mm", "in"}

    Raises
    ------
    MeasurementError
        As `read_json` and `clean_picture`. Photographs that are missing are named in the report.
    """
    result = read_json(path)
    folders = [path.parent, *([photos] if photos else [])]
    shown, missing = collect_photos(result, folders)
    program = result.get("program_version")
    report = JointReport(
        *job,
        _measured_at(result, path),
        f"gapvision {program}" if program else "",
        result,
        shown,
        missing,
        clean_picture(picture) if picture else None,
        units=units,
    )
    return _readable(report, path.name)


def report_of_record(
    archive: Archive, record: Record, told: Iterable[Outcome], units: str = "mm"
) -> JointReport:
    """The report of a record in the archive.

    Parameters
    ----------
    archive : Archive
    record : Record
    told : iterable of Outcome
        What was told of it later, in that order; what a later one stands instead of is left out.
    units : {"mm", "in"}

    Raises
    ------
    MeasurementError
        ``"not-a-measurement"`` or ``"newer-version"``. Photographs that are lost are named in the
        report.
    """
    from gapvision.archive import read_file
    from gapvision.archive_outcome import counting

    photos, missing, picture = [], [], None
    for file in record.files:
        try:
            content = read_file(archive, file)  # refused where it is not what was stored
            if file.role == "picture":
                picture = content
            else:
                photos.append((file.name, scaled_photo(archive.path_of(file.sha256))))
        except MeasurementError:  # whose text names folders of this computer
            missing.append(f"{file.name}: missing or damaged in the archive.")
    e = record.entry
    report = JointReport(
        e.building,
        e.wall,
        e.log,
        e.kept_at,
        f"gapvision {e.program}",
        check_answer(record.result, f"Record {e.record}"),
        tuple(photos),
        tuple(missing),
        picture,
        tuple(map(_outcome_words, counting(told))),
        units,
    )
    return _readable(report, f"Record {e.record}")


def latest_records(archive: Archive, building: str, wall: str, log: str | None) -> list[int]:
    """The latest record of each log of a wall, or of one log.

    Raises
    ------
    MeasurementError
        ``no-record`` where there is none.
    """
    from gapvision.archive import Query, entries

    latest: dict[str, int] = {}
    for entry in entries(archive, Query(building=building, wall=wall, log=log)):
        latest.setdefault(entry.log, entry.record)
    if not latest:
        which = f"wall {wall} of {building}" + (f", log {log}" if log else "")
        raise MeasurementError(
            "no-record",
            f"The archive has no record of {which}: gapvision archive list tells what it has.",
        )
    return list(latest.values())


def write_kind(reports: Sequence[JointReport], whole_wall: bool, suffix: str, paper: str) -> bytes:
    """One joint or a wall, as HTML or PDF by the suffix ``.html`` or ``.pdf``."""
    if suffix == ".pdf":
        from gapvision.report_pdf import joint_pdf, wall_pdf

        return wall_pdf(reports, paper) if whole_wall else joint_pdf(reports[0], paper)
    from gapvision.report import joint_html, wall_html

    return (wall_html(reports) if whole_wall else joint_html(reports[0])).encode()


def _readable(report: JointReport, name: str) -> JointReport:
    """The report, if the parts can be told that `check_answer` knows nothing of."""
    try:
        later_sections(report)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        text = (
            f"{name} is damaged: {type(error).__name__} at {error}; measure the joint again, or "
            "take the file from a copy."
        )
        raise MeasurementError("not-a-measurement", text) from error
    return report


def _measured_at(result: dict, path: Path) -> str:
    """When it was measured, RFC 3339; when the file was written, where it does not tell."""
    told = result.get("measured_at")
    if told is None:
        written = datetime.fromtimestamp(path.stat().st_mtime).astimezone()
        return written.isoformat(timespec="seconds")
    try:
        if datetime.fromisoformat(told).tzinfo is not None:
            return told
    except (TypeError, ValueError):
        pass
    text = (
        f"{path.name} is damaged: measured_at is {told!r}, no time with its zone; measure the joint "
        "again, or take the file from a copy."
    )
    raise MeasurementError("not-a-measurement", text)


def _outcome_words(outcome: Outcome) -> dict[str, Any]:
    """What was told at one time: only what is there."""
    values = {
        "date": outcome.date,
        "setting_used_mm": outcome.setting_used_mm,
        "narrowest_cover_mm": outcome.narrowest_cover_mm,
        "caliper": [_by_hand(v) for v in outcome.of_kind("caliper")],
        "trial_line": [_by_hand(v) for v in outcome.of_kind("trial")],
        "open_places": [
            {"from_mm": v.station_mm, "to_mm": v.to_mm} for v in outcome.of_kind("open")
        ],
        "remarks": outcome.remarks,
    }
    return {key: value for key, value in values.items() if value}


def _by_hand(v: OutcomeValue) -> dict[str, float]:
    told = {"setting_mm": v.setting_mm, "station_mm": v.station_mm, "value_mm": v.value_mm}
    return {key: mm for key, mm in told.items() if mm is not None}


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of strict JSON")
