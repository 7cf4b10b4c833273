"""`gapvision archive outcomes`: what came of all joints, summed up."""

from __future__ import annotations

from gapvision.cli.archive.records import (
    BuildingOption,
    LogOption,
    SinceOption,
    StatusOption,
    UntilOption,
    WallOption,
    opened_archive,
    query_of,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    exit_status,
    say,
    units_of,
    write_json,
)


def outcomes(
    building: BuildingOption = None,
    wall: WallOption = None,
    log: LogOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    status: StatusOption = None,
    json_file: JsonOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Sum up what came of all joints.

    \b
    Example:
      gapvision archive outcomes --building "Lake house"
    """
    units = units_of(units)
    query = query_of(building, wall, log, since, until, status, None, None, units)
    with exit_status(), opened_archive(archive) as opened:
        from gapvision.archive.learned_text import learned_json, learned_text
        from gapvision.archive.learning import learn

        by_kind, joints = learn(opened, query)
        write_json(json_file, learned_json(by_kind, joints), overwrite)
        if json_file != STDOUT:
            say(learned_text(by_kind, joints, units))
