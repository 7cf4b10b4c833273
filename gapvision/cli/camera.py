"""`gapvision camera`: calibrate a phone's lens, and list, show or remove calibrations."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from gapvision.cli.terminal import check_picture_place, exit_status, progress_bar, say
from gapvision.inputs.options import MeasureOptions


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
    photos = photos or []
    asked = [bool(photos), list_, show is not None, remove is not None]
    if sum(asked) != 1:
        raise typer.BadParameter("name photographs, or one of --list, --show and --remove.")
    if picture is not None and not photos:
        raise typer.BadParameter("needs photographs.", param_hint="--picture")
    with exit_status():
        from gapvision.photo.lens import files as cameras

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
    from gapvision.inputs.user_folder import write_text
    from gapvision.photo.lens.files import new_camera_path

    check_picture_place(picture, MeasureOptions(photos=photos), overwrite)
    from gapvision.photo.lens.calibrate import calibrate
    from gapvision.photo.lens.text import calibration_text, camera_toml

    with progress_bar() as progress:
        key, calibration = calibrate(photos, lambda key: new_camera_path(key, overwrite), progress)
    path = new_camera_path(key, overwrite)
    toml = camera_toml(key, calibration, date.today())
    write_text(path, toml, "the calibration", overwrite)
    say(calibration_text(key, calibration))
    say(f"\nWritten: {path}\nThe program takes it for this lens from now on.")
    if picture:
        from gapvision.photo.lens.picture import write_calibration_picture

        write_calibration_picture(picture, calibration, overwrite)
        say(f"Picture: {picture}", err=True)
