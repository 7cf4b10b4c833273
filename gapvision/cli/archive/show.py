"""`gapvision archive show`: one joint whole."""

from __future__ import annotations

from dataclasses import astuple

from gapvision.cli.archive.records import (
    RecordArgument,
    opened_archive,
)
from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import (
    STDOUT,
    JsonOption,
    OverwriteOption,
    UnitsOption,
    exit_status,
    say,
    units_preferred,
    write_json,
)


def show(
    record: RecordArgument,
    json_file: JsonOption = None,
    units: UnitsOption = None,
    archive: ArchiveOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Show one joint whole.

    \b
    Example:
      gapvision archive show 12 --json -
    """
    units = units_preferred(units)
    with exit_status(), opened_archive(archive) as opened:
        from gapvision.archive.outcome import outcomes_of
        from gapvision.archive.query import Query, entries, load_record

        found, told = load_record(opened, record), outcomes_of(opened, record)
        if json_file is not None:
            from gapvision.archive.export import record_json

            write_json(json_file, record_json(found, told), overwrite)
        if json_file != STDOUT:
            from gapvision.archive.text import record_text

            e = found.entry
            same = Query(*astuple(e.joint))
            others = [o for o in entries(opened, same) if o.record != record]
            say(record_text(found, told, others, units or found.units))
