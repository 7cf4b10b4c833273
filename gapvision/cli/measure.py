"""The command `measure`: what was typed, one call of the spine, and the answer told and written."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from gapvision.cli.cluster import ClusterOption, JobsOption, SharedOption
from gapvision.cli.day import DayAsked, check_day_usage, check_one_joint_usage, measure_day
from gapvision.cli.joint_folder import folders_below, joint_of_folder
from gapvision.cli.keep import ArchiveOption, check_archive, keep_joint, kept_joint
from gapvision.cli.measure_options import (
    lengths_of,
    said_in,
    typed_by_hand,
    typed_cards,
    typed_stretch,
    typed_to_decide,
)
from gapvision.cli.outlines import corrected, outlines_given, photos_given
from gapvision.cli.terminal import (
    STDOUT,
    UnitsOption,
    check_json_path,
    check_picture_place,
    cover_of,
    exit_status,
    in_color,
    preferences_of_user,
    progress_bar,
    read_option,
    refusal_written,
    say,
    units_typed,
    write_answer,
)
from gapvision.inputs.options import COVER_MM, MeasureOptions, Scriber, check_options
from gapvision.inputs.rules import NONE, RULES
from gapvision.lengths import parse_diameter

if TYPE_CHECKING:
    from gapvision.measurement import Measurement


def measure(
    context: typer.Context,
    photos: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="PHOTO...",
            help="Photographs, or a folder of them, taken from outside; or one folder "
            "of such folders, a joint each.",
        ),
    ] = None,
    cover: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Wanted width of the groove everywhere.  "
            f"[default: as preferred, or {COVER_MM:.0f} mm (3 in): common practice, no source]",
        ),
    ] = None,
    inside: Annotated[
        list[Path] | None,
        typer.Option(metavar="PHOTO", help="A photograph from the inner side; repeat for each."),
    ] = None,
    inside_cards: Annotated[
        str | None,
        typer.Option(metavar="5,6", help="Instead: the numbers of the cards that hang inside."),
    ] = None,
    card_on: Annotated[
        Literal["upper", "lower", "free"] | None,
        typer.Option(
            help="The log the cards hang on; free for cards that stand or are fixed.  "
            "[default: upper]"
        ),
    ] = None,
    upper_diameter: Annotated[
        str | None,
        typer.Option(
            metavar="D",
            help="300, or 290,310 (left and right end of the measured stretch, seen from "
            "outside), or 290@-750,310@750 (at places).",
        ),
    ] = None,
    lower_diameter: Annotated[
        str | None, typer.Option(metavar="D", help="The same of the lower log.")
    ] = None,
    from_: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="PLACE",
            help="Left end of the stretch between the notches: from the nail of the "
            "lowest-numbered outside card, negative to the left.",
        ),
    ] = None,
    to: Annotated[
        str | None, typer.Option(metavar="PLACE", help="Right end of that stretch.")
    ] = None,
    printed_bar: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="What the check bar of your print measures, mm, or the name of a remembered "
            "print.  [default: as preferred, or 100 mm]",
        ),
    ] = None,
    camera: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A calibration of the phone's lens (TOML), instead of the one that matches.",
        ),
    ] = None,
    wall_thickness: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH", help="Through the wall, from the outside to the inside cards."
        ),
    ] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            metavar="READING",
            help="A caliper reading: 41.5@1200, or 41.5@1200~0.5 with its uncertainty, "
            "or 41.5@widest; repeat for each.",
        ),
    ] = None,
    trial: Annotated[
        list[str] | None,
        typer.Option(
            metavar="TRIAL",
            help="A trial line: 49:78@310, points set to 49 and the groove 78 wide at 310, "
            "from line to line, straight across; 49:78@310~2 with the width's "
            "uncertainty, or @widest; repeat for each place.",
        ),
    ] = None,
    lower_to: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Widest gap that you want before you scribe.  [default: 2 in, as handbooks have it]",
        ),
    ] = None,
    covers: Annotated[
        str | None,
        typer.Option(metavar="60,75,90", help="Other covers to see the setting for."),
    ] = None,
    rules: Annotated[
        str,
        typer.Option(metavar="NAME", help=f"Published limits to judge by: {', '.join(RULES)}."),
    ] = NONE,
    limit: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT=NUMBER",
            help="A limit of your own, before those: cover=60, run=300, width=3/8, depth=1/4 (of the "
            "diameter, or lengths), log=200; repeat for each.",
        ),
    ] = None,
    heights_at: Annotated[
        str | None,
        typer.Option(
            metavar="-500,500", help="Places to tell the height of the course at afterwards."
        ),
    ] = None,
    underscribe: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="By how much the notches are set less than the groove: your own number, as no "
            "published table exists.  [default: none]",
        ),
    ] = None,
    details: Annotated[
        bool,
        typer.Option(
            "--details",
            help="Also print what stands behind it: numbers, photographs, cautions, other covers, "
            "depth along the log, heights and limits.",
        ),
    ] = False,
    units: UnitsOption = None,
    json_file: Annotated[
        str | None,
        typer.Option(
            "--json",
            metavar="FILE",
            help="Write everything, for programs; - is standard output.",
        ),
    ] = None,
    outlines: Annotated[
        str | None,
        typer.Option(
            metavar="FILE",
            help="Write what was traced in each photograph, in pixels; - is standard output. A file "
            "that is there is read: what was changed in it by hand counts.",
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the traced photograph and the profile."),
    ] = None,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep", help="Keep photographs and answer in the archive; say of which joint."
        ),
    ] = False,
    building: Annotated[
        str | None, typer.Option(metavar="NAME", help="The joint's building, with --keep.")
    ] = None,
    wall: Annotated[str | None, typer.Option(metavar="NAME", help="Its wall.")] = None,
    log: Annotated[str | None, typer.Option(metavar="NAME", help="Its upper log.")] = None,
    archive: ArchiveOption = None,
    report: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Of a folder of joints: the wall's report, .html or .pdf."
        ),
    ] = None,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    shared: SharedOption = False,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace files that exist already.")
    ] = False,
) -> None:
    """Measure one joint, or a folder of joints: what to set the scriber's points to.

    Lengths: 75, 75mm, 7.5cm, 3in, 2 1/2in, "6ft 3in". No unit means mm, a fraction inches. Whoever
    types inches is answered in inches. A bare number beside other units is refused, never guessed.

    Of a folder of joints only what is new is measured; each answer stands beside its photographs as
    gapvision.json, and joint.toml there states what is the joint's own.

    \b
    Examples:
      gapvision measure level.jpg above.jpg below.jpg --cover 75 \\
          --upper-diameter 290,310 --lower-diameter 320 --picture joint.jpg
      gapvision measure photos/ --cover 3in --json joint.json
      gapvision measure day/ --keep --report wall.pdf

    Exit status: 0 measured or doubtful, 1 refused (of a folder of joints: any), 2 wrong usage.
    """
    if not photos and not inside:
        raise typer.BadParameter("name at least one photograph or folder.", param_hint="PHOTO")
    if outlines is not None and _same_file(outlines, json_file):
        raise typer.BadParameter("it would replace what --json writes.", param_hint="--outlines")
    preferred = preferences_of_user()
    said = said_in(context)
    told = units or preferred.units or units_typed(lengths_of(said))
    units = told or "mm"
    options = MeasureOptions(
        photos=tuple(photos or ()),
        inside=tuple(inside or ()),
        cover_mm=cover_of(cover, units, preferred),
        card_on=card_on or "upper",
        upper_diameter=read_option("--upper-diameter", parse_diameter, upper_diameter, units),
        lower_diameter=read_option("--lower-diameter", parse_diameter, lower_diameter, units),
        camera=camera or (Path(preferred.camera) if preferred.camera else None),
        units=units,
        cards=typed_cards(inside_cards, printed_bar, wall_thickness, units, preferred),
        stretch=typed_stretch(from_, to, units),
        by_hand=typed_by_hand(reading, trial, units),
        scriber=Scriber(preferred.scriber_largest_mm, preferred.scriber_step_mm),
        to_decide=typed_to_decide(lower_to, covers, rules, limit, heights_at, underscribe, units),
    )
    below = folders_below(photos or ())
    if photos and below and photos[0] not in below:
        asked = DayAsked(
            options, told, keep, building, wall, archive, report, overwrite, jobs, cluster, shared
        )
        check_day_usage(asked, said)
        with exit_status():
            measure_day(photos[0], below, asked)
        return
    check_one_joint_usage(said)
    with exit_status():
        to_write, changed = outlines_given(outlines, overwrite)
    with exit_status(), refusal_written(json_file, overwrite, to_write):
        options, own = joint_of_folder(below, options, told, said)
    joint = kept_joint(keep, building, wall, log, archive, own)
    with exit_status():
        check_json_path(json_file, options, overwrite)
        check_json_path(to_write, options, overwrite, "--outlines")
        with refusal_written(json_file, overwrite, to_write, partial(photos_given, options)):
            options = corrected(options, changed, outlines)
            check_options(options)  # `measure` does so too, but only after OpenCV is loaded
            check_picture_place(picture, options, overwrite)
            if joint:
                check_archive(archive)
            measurement = _measured(options)
        _tell(measurement, options.units, details, aside=STDOUT in (json_file, to_write))
        _write(measurement, options, json_file, to_write, picture, overwrite)
        if joint:
            keep_joint(joint, options, measurement, archive)


def _same_file(first: str, second: str | None) -> bool:
    return second is not None and Path(first).resolve() == Path(second).resolve()


# --- the answer -----------------------------------------------------------------------------------


def _measured(options: MeasureOptions) -> Measurement:
    from gapvision.spine import measure as measure_joint

    with progress_bar() as progress:
        measurement = measure_joint(options, progress)
    if slips := [Path(p.file) for p in measurement.photos if not (p.used or p.cards)]:
        from gapvision.shoot.one_slip import check_one_slip

        check_one_slip(slips, [Path(p.file) for p in measurement.photos])
    return measurement


def _tell(measurement: Measurement, units: str, details: bool, aside: bool) -> None:
    from gapvision.answer.text import answer_text

    if not details:
        say(answer_text(measurement, units, in_color(aside)), err=aside)
        return
    from gapvision.answer.decision_text import details_text
    from gapvision.answer.evidence_text import evidence_text

    say(answer_text(measurement, units, in_color(aside), more=""), err=aside)
    say(f"\n{evidence_text(measurement, units)}", err=aside)
    say(f"\n{details_text(measurement, units)}", err=aside)


def _write(
    measurement: Measurement,
    options: MeasureOptions,
    json_file: str | None,
    outlines: str | None,
    picture: Path | None,
    overwrite: bool,
) -> None:
    if json_file is not None:
        from gapvision.answer.as_json import answer_json

        write_answer(json_file, answer_json(measurement), overwrite)
    if outlines is not None:
        from gapvision.answer.outlines_json import outlines_answer

        write_answer(outlines, outlines_answer(measurement), overwrite)
    if picture:
        from gapvision.answer.picture.picture import write_picture

        write_picture(picture, measurement, options.units, overwrite)
        say(f"Picture: {picture}", err=True)
