"""Where a report's joints come from: files that `measure --json` wrote, and the archive."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from gapvision.answer.as_json import read_json
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.photos import clean_picture, collect_photos
from gapvision.answer.report.words import later_sections
from gapvision.errors import MeasurementError
from gapvision.inputs.joint_name import JointName


def report_of_json(
    path: Path,
    joint: JointName,
    photos: Path | None = None,
    picture: Path | None = None,
    units: str | None = None,
) -> JointReport:
    """The report of a measurement's JSON file.

    Its date is ``measured_at``; of older files, which have none, when the file was written.

    Parameters
    ----------
    path : Path
        Written by ``measure --json``.
    joint : JointName
        As far as it was stated.
    photos : Path, optional
        A folder of the photographs, if they are no longer where they were measured.
    picture : Path, optional
        Written by ``measure --picture``.
    units : {"mm", "in"}, optional
        Those of the measurement's own texts if not given: its sentences are not written anew.

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
        joint,
        _measured_at(result, path),
        f"gapvision {program}" if program else "",
        result,
        shown,
        missing,
        clean_picture(picture) if picture else None,
        units=units or result.get("units", "mm"),
    )
    return checked_report(report, path.name)


def checked_report(report: JointReport, name: str) -> JointReport:
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
