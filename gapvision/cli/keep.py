"""`gapvision measure --keep`: which joint it is, whether the archive can take it, and keeping it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gapvision.cli.terminal import say

if TYPE_CHECKING:
    from gapvision.inputs.joint_name import JointName
    from gapvision.inputs.options import MeasureOptions
    from gapvision.measurement import Measurement

ArchiveOption = Annotated[
    Path | None,
    typer.Option("--archive", metavar="DIR", help="The archive's folder, instead of your own."),
]


# --- keeping --------------------------------------------------------------------------------------


def kept_joint(
    keep: bool,
    building: str | None,
    wall: str | None,
    log: str | None,
    told: Path | None,
    own: JointName,
) -> JointName | None:
    """The joint that measure --keep names, or that its form names, part by part; None without it."""
    names = {"--building": building, "--wall": wall, "--log": log}
    if not keep:
        for option, given in (*names.items(), ("--archive", told)):
            if given is not None:
                raise typer.BadParameter("goes with --keep.", param_hint=option)
        return None
    building, wall, log = building or own.building, wall or own.wall, log or own.log
    names = {"--building": building, "--wall": wall, "--log": log}
    lacking = [option for option, name in names.items() if not name]
    if lacking:
        raise typer.BadParameter(
            f"say which joint it is by {', '.join(lacking)}.", param_hint="--keep"
        )
    from gapvision.inputs.joint_name import parse_joint_name

    try:
        return parse_joint_name(building, wall, log)
    except ValueError as error:
        raise typer.BadParameter(str(error)) from None


def check_archive(told: Path | None) -> None:
    """Refuse an archive that cannot be opened before any work is done; make it where there is none."""
    from gapvision.archive.store import open_archive

    with open_archive(told, create=True):
        pass


def keep_joint(
    joint: JointName, options: MeasureOptions, measurement: Measurement, told: Path | None
) -> None:
    """Keep a measured joint, and say where."""
    from gapvision.archive.record import add_record, new_record
    from gapvision.archive.store import open_archive

    new = new_record(joint, options, measurement)
    with open_archive(told, create=True) as opened:
        kept = add_record(opened, new)
        say(f"Kept: record {kept.record}, {joint}, revision {kept.revision}", err=True)
