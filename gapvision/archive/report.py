"""A record of the archive as a report, with what came of the joint; the latest records of a wall."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from gapvision.answer.as_json import check_answer
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.photos import scaled_photo
from gapvision.answer.report.sources import checked_report
from gapvision.errors import MeasurementError

if TYPE_CHECKING:
    from gapvision.archive.outcome import Caliper, Outcome, TrialLine
    from gapvision.archive.query import Record
    from gapvision.archive.store import Archive


def report_of_record(
    archive: Archive, record: Record, told: Iterable[Outcome], units: str | None = None
) -> JointReport:
    """The report of a record in the archive.

    Parameters
    ----------
    archive : Archive
    record : Record
    told : iterable of Outcome
        What was told of it later, in that order; what a later one stands instead of is left out.
    units : {"mm", "in"}, optional
        Those that the joint was measured in if not given.

    Raises
    ------
    MeasurementError
        ``"not-a-measurement"`` or ``"newer-version"``. Photographs that are lost are named in the
        report.
    """
    from gapvision.archive.originals import path_of
    from gapvision.archive.outcome import counting
    from gapvision.archive.query import read_file
    from gapvision.photo.scrub import NotScrubbable, scrubbed

    photos, missing, picture = [], [], None
    for file in record.files:
        try:
            content = read_file(archive, file)  # refused where it is not what was stored
            if file.role == "picture":
                picture = scrubbed(content)  # in a foreign archive it may be anybody's
            else:
                photos.append((file.name, scaled_photo(path_of(archive, file.sha256))))
        except (
            MeasurementError,
            NotScrubbable,
            OSError,
        ):  # whose text names folders of this computer
            missing.append(f"{file.name}: missing or damaged in the archive.")
    e = record.entry
    report = JointReport(
        e.joint,
        e.kept_at,
        f"gapvision {e.program}",
        check_answer(record.result, f"Record {e.record}"),
        tuple(photos),
        tuple(missing),
        picture,
        tuple(map(_outcome_words, counting(told))),
        units or record.units,
    )
    return checked_report(report, f"Record {e.record}")


def latest_records(archive: Archive, building: str, wall: str, log: str | None) -> list[int]:
    """The latest record of each log of a wall, or of one log.

    Raises
    ------
    MeasurementError
        ``no-record`` where there is none.
    """
    from gapvision.archive.query import Query, entries

    latest: dict[str, int] = {}
    for entry in entries(archive, Query(building=building, wall=wall, log=log)):
        latest.setdefault(entry.joint.log, entry.record)
    if not latest:
        which = f"wall {wall} of {building}" + (f", log {log}" if log else "")
        raise MeasurementError(
            "no-record",
            f"The archive has no record of {which}: gapvision archive list tells what it has.",
        )
    return list(latest.values())


def _outcome_words(outcome: Outcome) -> dict[str, Any]:
    """What was told at one time: only what is there."""
    from gapvision.archive.outcome import Caliper, OpenPlace, TrialLine

    values = {
        "date": outcome.date,
        "setting_used_mm": outcome.setting_used_mm,
        "narrowest_cover_mm": outcome.narrowest_cover_mm,
        "caliper": [_by_hand(v) for v in outcome.of_kind(Caliper)],
        "trial_line": [
            {"setting_mm": v.setting_mm} | _by_hand(v) for v in outcome.of_kind(TrialLine)
        ],
        "open_places": [
            {"from_mm": v.station_mm, "to_mm": v.to_mm} for v in outcome.of_kind(OpenPlace)
        ],
        "remarks": outcome.remarks,
    }
    return {key: value for key, value in values.items() if value}


def _by_hand(v: Caliper | TrialLine) -> dict[str, float]:
    return {"station_mm": v.station_mm, "value_mm": v.value_mm}
