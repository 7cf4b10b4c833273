"""The command line: parse, one call, print."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

import typer

from gapvision import cli_archive
from gapvision.cli_archive import ArchiveOption, check_archive, keep_joint, kept_job
from gapvision.cli_check import check
from gapvision.cli_report import report
from gapvision.cli_shrinkage import shrinkage
from gapvision.cli_slip import slip, sort
from gapvision.errors import MeasurementError
from gapvision.lengths import (
    parse_diameter,
    parse_ends,
    parse_length,
    parse_lengths,
    parse_reading,
    parse_trial,
)
from gapvision.options import COVER_MM, MeasureOptions, check_options
from gapvision.preferences import load_preferences
from gapvision.rules import NONE, RULES, parse_limit, rules_of
from gapvision.terminal import (
    INTERRUPTED,
    STDOUT,
    JsonOption,
    OverwriteOption,
    Units,
    UnitsOption,
    card_numbers,
    check_json_path,
    check_picture_place,
    cover_of,
    exit_status,
    in_color,
    preferences_of_user,
    printed_bar_given,
    progress_bar,
    read_option,
    refusal_written,
    say,
    units_of,
    write_answer,
    write_json,
)

# Modules that load OpenCV or the fit are imported inside the commands: help must not wait for them.

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Measure the gap between two logs from photographs, and say what to set the scriber to.",
)


def main() -> None:
    """Run the command line; the entry point of the package."""
    # The fit's matrices are small: threads of the linear algebra cost a fifth of the time and gain
    # nothing. The variable is read when numpy is loaded, which only the commands do.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except KeyboardInterrupt:  # before a command has begun, which knows itself what to do
        raise SystemExit(INTERRUPTED) from None


@app.command()
def measure(
    photos: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="PHOTO...", help="Photographs, or folders of them, taken from outside."
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
        Literal["upper", "lower", "free"],
        typer.Option(help="The log the cards hang on; free for cards that stand or are fixed."),
    ] = "upper",
    upper_diameter: Annotated[
        str | None,
        typer.Option(
            metavar="D",
            help="300, or 290,310 (left and right end of the measured stretch, seen from "
            "outside), or 290@-750,310@750 (at stations).",
        ),
    ] = None,
    lower_diameter: Annotated[
        str | None, typer.Option(metavar="D", help="The same of the lower log.")
    ] = None,
    from_: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="STATION",
            help="Left end of the stretch between the notches: from the nail of the "
            "lowest-numbered outside card, negative to the left.",
        ),
    ] = None,
    to: Annotated[
        str | None, typer.Option(metavar="STATION", help="Right end of that stretch.")
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
            help="A caliper reading: 41.5@1200, or 41.5@1200~0.5 with its standard uncertainty, "
            "or 41.5@widest; repeat for each.",
        ),
    ] = None,
    trial: Annotated[
        list[str] | None,
        typer.Option(
            metavar="TRIAL",
            help="A trial line: 49:78@310, points set to 49 and the groove 78 wide at station 310, "
            "from line to line, straight across; 49:78@310~2 with the width's standard "
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
            metavar="-500,500", help="Stations to tell the height of the course at afterwards."
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
            "--details", help="Also print other covers, depth along the log, heights and limits."
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
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace files that exist already.")
    ] = False,
) -> None:
    """Measure one joint: what to set the scriber's points to, and the widest gap.

    Lengths are mm where they carry no unit and no fraction: 75, 75mm, 3in, 2 1/2in. A fraction
    means inches: 1 5/8, 2-1/2. With --units in a bare number is refused, never guessed.

    \b
    Examples:
      gapvision measure level.jpg above.jpg below.jpg --cover 75 \\
          --upper-diameter 290,310 --lower-diameter 320 --picture joint.jpg
      gapvision measure photos/ --cover 3in --units in --json joint.json

    Exit status: 0 measured or doubtful, 1 refused, 2 wrong usage.
    """
    if not photos and not inside:
        raise typer.BadParameter("name at least one photograph or folder.", param_hint="PHOTO")
    job = kept_job(keep, building, wall, log, archive)
    preferred = preferences_of_user()
    units = units or preferred.units or "mm"
    options = MeasureOptions(
        photos=tuple(photos or ()),
        inside=tuple(inside or ()),
        inside_cards=read_option("--inside-cards", card_numbers, inside_cards, units) or (),
        cover_mm=cover_of(cover, units, preferred),
        card_on=card_on,
        upper_diameter=read_option("--upper-diameter", parse_diameter, upper_diameter, units),
        lower_diameter=read_option("--lower-diameter", parse_diameter, lower_diameter, units),
        from_mm=read_option("--from", parse_length, from_, units),
        to_mm=read_option("--to", parse_length, to, units),
        printed_bar_mm=printed_bar_given(printed_bar, preferred),
        camera=camera or (Path(preferred.camera) if preferred.camera else None),
        wall_thickness_mm=read_option("--wall-thickness", parse_length, wall_thickness, units),
        readings=tuple(read_option("--reading", parse_reading, r, units) for r in reading or ()),
        trials=tuple(read_option("--trial", parse_trial, t, units) for t in trial or ()),
        units=units,
        scriber_largest_mm=preferred.scriber_largest_mm,
        scriber_step_mm=preferred.scriber_step_mm,
        lower_to_mm=read_option("--lower-to", parse_length, lower_to, units),
        covers_mm=read_option("--covers", parse_lengths, covers, units) or (),
        rules=read_option("--rules", rules_of, rules, units),
        limits=tuple(read_option("--limit", parse_limit, x, units) for x in limit or ()),
        heights_at_mm=read_option("--heights-at", parse_lengths, heights_at, units) or (),
        underscribe_mm=read_option("--underscribe", parse_length, underscribe, units) or 0.0,
    )
    with exit_status():
        check_json_path(json_file, options, overwrite)
        with refusal_written(json_file, overwrite):
            check_options(options)  # `measure` does so too, but only after OpenCV is loaded
            check_picture_place(picture, options, overwrite)
            if job:
                check_archive(archive)
            from gapvision.measure import measure as measure_joint

            with progress_bar() as progress:
                measurement = measure_joint(options, progress)
        from gapvision.answer import answer_json, answer_text

        aside = json_file == STDOUT
        say(answer_text(measurement, units, in_color(aside)), err=aside)
        if details:
            from gapvision.decision_answer import details_text

            say(f"\n{details_text(measurement, units)}", err=aside)
        write_answer(json_file, answer_json(measurement), overwrite)
        if picture:
            from gapvision.annotate import write_picture

            write_picture(picture, measurement, options, overwrite)
            say(f"Picture: {picture}", err=True)
        if job:
            keep_joint(job, options, measurement, archive)


@app.command()
def card(
    pdf: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="The PDF to write.")],
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="The printer's paper.")] = "a4",
    first: Annotated[int, typer.Option(help="Number of the first card, 1 to 40.")] = 1,
    count: Annotated[int, typer.Option(help="Number of cards, two to a sheet.")] = 2,
    setting_sheet: Annotated[
        bool,
        typer.Option("--setting-sheet", help="Add true-size marks to set the scriber's points on."),
    ] = False,
    overwrite: OverwriteOption = False,
) -> None:
    """Write scale cards as a PDF to print at 100 %.

    \b
    Example:
      gapvision card cards.pdf --paper letter --first 1 --count 2 --setting-sheet
    """
    with exit_status():
        from gapvision.sheet import write_cards

        try:
            write_cards(
                pdf,
                paper=paper,
                first=first,
                count=count,
                setting_sheet=setting_sheet,
                overwrite=overwrite,
            )
        except ValueError as error:
            raise typer.BadParameter(f"{error}.") from None
        say(f"Cards: {pdf}\nPrint at 100 %, then measure the check bar: it should be 100.0 mm.")


@app.command()
def plan(
    length: Annotated[str, typer.Option(metavar="LENGTH", help="Of the log between its notches.")],
    upper_diameter: Annotated[
        str | None,
        typer.Option(metavar="D", help="300, or 290,310: at the left and the right notch."),
    ] = None,
    lower_diameter: Annotated[
        str | None, typer.Option(metavar="D", help="The same of the lower log.")
    ] = None,
    cover: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help=f"Wanted width of the groove.  [default: {COVER_MM:.0f} mm (3 in)]",
        ),
    ] = None,
    sides: Annotated[
        Literal["outside", "both"], typer.Option(help="The faces that can be photographed.")
    ] = "outside",
    lowest: Annotated[
        str | None,
        typer.Option(
            metavar="HEIGHT",
            help="Lowest place the lens can be held, over (+) or below (-) the gap: --lowest -250.",
        ),
    ] = None,
    highest: Annotated[
        str | None,
        typer.Option(metavar="HEIGHT", help="Highest place for the lens in the hand, likewise."),
    ] = None,
    pole: Annotated[
        str | None,
        typer.Option(metavar="HEIGHT", help="Highest place for the lens on a pole, likewise."),
    ] = None,
    room: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Standing room: farthest the lens can be from the logs' face.",
        ),
    ] = None,
    gap: Annotated[str, typer.Option(metavar="LENGTH", help="A guess of the usual gap.")] = "30mm",
    units: UnitsOption = None,
    json_file: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Plan a shoot: photographs, cards, minutes, and how well the setting will be known.

    \b
    Examples:
      gapvision plan --length 6000 --upper-diameter 290,320 --lower-diameter 310
      gapvision plan --length 240in --units in --room 32in --sides both
      gapvision plan --length 4500 --lowest -2800 --highest -700 --pole 500

    Exit status: 0 planned, 1 refused, 2 wrong usage.
    """
    preferred = preferences_of_user()
    units = units or preferred.units or "mm"
    asked = dict(
        length_mm=read_option("--length", parse_length, length, units),
        upper_diameter=read_option("--upper-diameter", parse_ends, upper_diameter, units),
        lower_diameter=read_option("--lower-diameter", parse_ends, lower_diameter, units),
        cover_mm=cover_of(cover, units, preferred),
        sides=sides,
        lowest_mm=read_option("--lowest", parse_length, lowest, units),
        highest_mm=read_option("--highest", parse_length, highest, units),
        pole_mm=read_option("--pole", parse_length, pole, units),
        room_mm=read_option("--room", parse_length, room, units),
        gap_mm=read_option("--gap", parse_length, gap, units),
    )
    with exit_status():
        check_json_path(json_file, MeasureOptions(photos=()), overwrite)
        from gapvision.plan import plan_shoot
        from gapvision.plan_answer import plan_json, plan_text, refusal_json
        from gapvision.shoot import Site

        try:
            planned = plan_shoot(Site(**asked))
        except MeasurementError as error:
            write_json(json_file, refusal_json(error), overwrite)
            raise
        aside = json_file == STDOUT
        say(plan_text(planned, units, in_color(aside)), err=aside)
        write_json(json_file, plan_json(planned), overwrite)


@app.command()
def demo(
    whole_log: Annotated[
        bool,
        typer.Option(
            "--whole-log",
            help="A log of 4.2 m from seven photographs: a level sweep, then above and below.",
        ),
    ] = False,
    units: UnitsOption = None,
) -> None:
    """Measure the photographs that come with gapvision, beside the known truth.

    \b
    Examples:
      gapvision demo --units in
      gapvision demo --whole-log
    """
    with exit_status():
        from gapvision.demo import run_demo

        with progress_bar() as progress:
            text = run_demo(Path.cwd(), units_of(units), whole_log, progress)
        say(text)


@app.command()
def camera(
    photos: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="PHOTO...", help="A dozen photographs of the uncut sheet, or their folder."
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write where corners were seen, and how they miss."),
    ] = None,
    list_: Annotated[bool, typer.Option("--list", help="Name the calibrations there are.")] = False,
    show: Annotated[
        str | None, typer.Option(metavar="NAME", help="Print a calibration's file.")
    ] = None,
    remove: Annotated[
        str | None, typer.Option(metavar="NAME", help="Remove a calibration.")
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace a calibration or picture there is.")
    ] = False,
) -> None:
    """Calibrate a phone's lens from photographs of the uncut card sheet.

    Lay the sheet flat and photograph it from about 0.4 m: from the left, right, above and below,
    tilted by 20 to 40 degrees, also with the sheet in the corners of the picture.

    \b
    Examples:
      gapvision camera sheet/ --picture lens.png
      gapvision camera --list

    Exit status: 0 done, 1 refused, 2 wrong usage.
    """
    asked = [bool(photos), list_, show is not None, remove is not None]
    if sum(asked) != 1:
        raise typer.BadParameter("name photographs, or one of --list, --show and --remove.")
    if picture is not None and not photos:
        raise typer.BadParameter("needs photographs.", param_hint="--picture")
    with exit_status():
        from gapvision import cameras

        if list_:
            names = [p.stem for p in cameras.camera_paths()] or ["none"]
            say("\n".join([f"Calibrations in {cameras.camera_folder()}:", *names]))
        elif show is not None:
            say(cameras.camera_text(show).rstrip())
        elif remove is not None:
            say(f"Removed: {cameras.remove_camera(remove)}")
        else:
            _calibrate(tuple(photos), picture, overwrite)


def _calibrate(photos: tuple[Path, ...], picture: Path | None, overwrite: bool) -> None:
    """The calibration itself: its text on the screen, its file in the camera folder."""
    from gapvision.cameras import new_camera_path, write_text

    check_picture_place(picture, MeasureOptions(photos=photos), overwrite)
    from gapvision.calibrate import calibrate
    from gapvision.calibration_answer import calibration_text, camera_toml

    with progress_bar() as progress:
        key, calibration = calibrate(photos, lambda key: new_camera_path(key, overwrite), progress)
    path = new_camera_path(key, overwrite)
    toml = camera_toml(key, calibration, date.today())
    write_text(path, toml, "the calibration", overwrite)
    say(calibration_text(key, calibration))
    say(f"\nWritten: {path}\nThe program takes it for this lens from now on.")
    if picture:
        from gapvision.calibration_picture import write_calibration_picture

        write_calibration_picture(picture, calibration, overwrite)
        say(f"Picture: {picture}", err=True)


@app.command()
def preferences(
    units: Annotated[Units | None, typer.Option(help="Units of all answers.")] = None,
    cover: Annotated[str | None, typer.Option(metavar="LENGTH", help="Your usual cover.")] = None,
    scriber_largest: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="The widest your scriber opens.")
    ] = None,
    scriber_step: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="The finest step it can be set to; settings are rounded up to it.",
        ),
    ] = None,
    printed_bar: Annotated[
        list[str] | None,
        typer.Option(
            metavar="[NAME=]LENGTH",
            help="What the check bar of your print measures, mm; blue=99.4 remembers it under the "
            "name of a printed batch; repeat for each.",
        ),
    ] = None,
    camera: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A camera file to use for every photograph."),
    ] = None,
    forget: Annotated[
        list[str] | None,
        typer.Option(
            metavar="OPTION",
            help="State it no longer: scriber-step, or the name of a print; repeat for each.",
        ),
    ] = None,
) -> None:
    """Show what is stated once for all joints, or change it; options of other commands override it.

    \b
    Examples:
      gapvision preferences
      gapvision preferences --units in --cover 3in --scriber-step 1/16in

    Exit status: 0 done, 1 refused, 2 wrong usage.
    """
    from gapvision import preferences as kept

    with exit_status():
        old = load_preferences()
        said = units or old.units or "mm"
        bars = dict(
            read_option("--printed-bar", lambda text, _: kept.parse_bar(text), text, said)
            for text in printed_bar or ()
        )
        asked = {
            "units": units,
            "cover_mm": read_option("--cover", parse_length, cover, said),
            "scriber_largest_mm": read_option(
                "--scriber-largest", parse_length, scriber_largest, said
            ),
            "scriber_step_mm": read_option("--scriber-step", parse_length, scriber_step, said),
            "printed_bar_mm": bars.pop(None, None),
            "camera": None if camera is None else str(camera.resolve()),
        }
        changes = {key: value for key, value in asked.items() if value is not None}
        for key, value in changes.items():
            try:
                kept.check_preference(key, value)
            except ValueError as error:
                option = kept.option_of(key)
                raise typer.BadParameter(str(error), param_hint=option) from None
        if camera is not None:
            from gapvision.cameras import read_camera

            read_camera(camera)  # a file that is of no use is not remembered
        forgotten = [
            read_option("--forget", lambda t, _: kept.key_of(t, old), t, said) for t in forget or ()
        ]
        if changes or bars or forgotten:
            kept.change_preferences(changes, bars, forgotten)
        say(kept.preferences_text(load_preferences(), kept.preferences_path()))


app.add_typer(cli_archive.app, name="archive")
app.command()(shrinkage)
app.command()(check)
app.command()(report)
app.command()(slip)
app.command()(sort)
