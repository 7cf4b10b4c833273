"""The report of a day's joints, a file a wall."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.write import write_kind
from gapvision.day.joints import DayJoint
from gapvision.day.state import KEY
from gapvision.files import check_new, write_new
from gapvision.inputs.joint_name import as_folder


def report_paths(
    joints: Sequence[DayJoint], report: Path, overwrite: bool
) -> dict[Path, list[int]]:
    """The report of each wall, and the numbers of its joints.

    Of several walls each has its names added to the file's: ``day-Barn-north.pdf``.

    Raises
    ------
    MeasurementError
        As `check_new`.
    """
    walls: dict[tuple[str, str], list[int]] = {}
    for k, joint in enumerate(joints):
        walls.setdefault((joint.name.building, joint.name.wall), []).append(k)
    paths = {}
    for wall, numbers in walls.items():
        path = report
        if len(walls) > 1:
            words = "-".join(as_folder(name) for name in wall if name) or "others"
            path = report.with_name(f"{report.stem}-{words}{report.suffix}")
        check_new(path, "the report", overwrite)
        paths[path] = numbers
    return paths


def write_wall_report(
    path: Path, answered: Sequence[tuple[DayJoint, dict]], units: str, overwrite: bool
) -> None:
    """Write the report of joints and their answers, refusals too; on Letter where units are inches.

    Raises
    ------
    MeasurementError
        As `write_new`.
    """
    reports = [
        JointReport(
            joint.name,
            answer["measured_at"],
            f"gapvision {answer['program_version']}",
            {key: value for key, value in answer.items() if key != KEY},
            units=units,
        )
        for joint, answer in answered
    ]
    paper = "letter" if units == "in" else "a4"
    content = write_kind(reports, True, path.suffix.lower(), paper)
    write_new(path, content, "the report", overwrite)
