"""The spine of calibration: photographs of the uncut sheet -> the camera's key and Calibration."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from gapvision.errors import MeasurementError, NotCalibrated
from gapvision.photo.cards import find_cards
from gapvision.photo.facts import CameraKey, PhotoFacts
from gapvision.photo.lens.calibration import Calibration, named
from gapvision.photo.lens.files import NO_ZOOM
from gapvision.photo.lens.fit import LEAST_CORNERS, fit_lens, sheet_view
from gapvision.photo.photo import load_photo, photo_paths
from gapvision.scene.photo_rows import CardSighting

# Exif's orientations of a picture that was turned upright from a sensor held otherwise.
UPSIDE_DOWN, TURNED_RIGHT, TURNED_LEFT = 3, 6, 8


def calibrate(
    paths: Sequence[Path],
    check: Callable[[CameraKey], object] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[CameraKey, Calibration]:
    """The lens that took these photographs of one uncut sheet.

    Parameters
    ----------
    paths : sequence of Path
        Photographs, or folders of them.
    check : callable, optional
        Called with the camera's key before the fit, to refuse early.
    progress : callable, optional
        Called as ``progress(done, total)`` after each photograph.

    Raises
    ------
    NotCalibrated
        Where the photographs do not tell the lens.
    PhotoUnreadable
        Where a folder holds no photographs.

    Notes
    -----
    Photographs of another camera, lens or size than most, and those with a digital zoom, are left out
    and named, as are those in which too little of the sheet is found.
    """
    found, poor = _look(photo_paths(paths), progress)
    if not found:
        _none_usable(poor)
    key, focal_px = Counter((k, f) for k, f, *_ in found).most_common(1)[0][0]
    mine = [f for f in found if f[0] == key]
    poor += [(file, "taken by another camera, lens or size") for k, _, file, _ in found if k != key]
    if check is not None:
        check(key)
    sheet = _sheet([s for *_, sightings in mine for s in sightings])
    views = []
    for _, _, file, sightings in mine:
        view = sheet_view(file, sightings, sheet)
        if len(view.corner_px) < LEAST_CORNERS:
            poor.append((file, f"only {len(view.corner_px)} corners of the sheet are found in it"))
        else:
            views.append(view)
    return key, fit_lens(views, (key.width_px, key.height_px), focal_px, poor)


def _look(
    paths: Sequence[Path], progress: Callable[[int, int], None] | None
) -> tuple[list[tuple[CameraKey, float, str, list[CardSighting]]], list[tuple[str, str]]]:
    """Key, focal length, name and sightings of each usable photograph; names and faults of others."""
    found, poor, seen = [], [], set()
    for k, path in enumerate(paths):
        try:
            loaded = load_photo(path)
            photo = loaded.facts
            if photo.sha256 in seen:
                poor.append((photo.file, "the same picture as another"))
            elif loaded.damage is not None:
                poor.append((photo.file, "its file is damaged"))
            elif photo.digital_zoom is not None and photo.digital_zoom > NO_ZOOM:
                poor.append((photo.file, f"taken with a digital zoom of {photo.digital_zoom:g}"))
            else:
                sightings = [_on_sensor(s, photo) for s in find_cards(loaded.bgr, photo.file)]
                found.append((photo.key, photo.focal_px, photo.file, sightings))
            seen.add(photo.sha256)
        except MeasurementError as error:
            poor.append((path.name, error.text.removeprefix(f"{path.name}: ").rstrip(".")))
        if progress:
            progress(k + 1, len(paths))
    return found, poor


def _none_usable(poor: Sequence[tuple[str, str]]) -> None:
    raise NotCalibrated("no-sheet", f"No photograph shows the sheet ({named(*poor[0])}).")


def _sheet(sightings: Sequence[CardSighting]) -> tuple[int, ...]:
    """The card numbers of the one sheet that is photographed, the upper first."""
    numbers = sorted({s.number for s in sightings})
    if len(numbers) > 2 or numbers[-1] - numbers[0] > 1:
        shown = ", ".join(map(str, numbers))
        raise NotCalibrated(
            "many-sheets",
            f"Cards {shown} are seen, and one uncut sheet has two of consecutive numbers; take all "
            "other cards out of sight.",
        )
    return tuple(numbers)


def _on_sensor(sighting: CardSighting, photo: PhotoFacts) -> CardSighting:
    """A sighting with its corners as the sensor has them, whichever way the camera was held.

    The principal point is the sensor's. A picture that stands upright without its Exif saying so was
    turned by another program, the usual way.
    """
    upright = photo.height > photo.width
    turn = photo.orientation
    if upright and turn not in (TURNED_RIGHT, TURNED_LEFT):
        turn = TURNED_RIGHT
    x, y = sighting.corner_px.T
    if upright and turn == TURNED_RIGHT:
        place = np.stack([y, photo.width - 1 - x], 1)
    elif upright:
        place = np.stack([photo.height - 1 - y, x], 1)
    elif turn == UPSIDE_DOWN:
        place = np.stack([photo.width - 1 - x, photo.height - 1 - y], 1)
    else:
        place = sighting.corner_px
    return CardSighting(
        sighting.number, sighting.corner_id, place, sighting.u_px, sighting.card_from_image,
        sighting.module_px,
    )  # fmt: skip
