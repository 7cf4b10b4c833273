"""Every photograph of a joint, seen by itself: files -> sights, lenses, and those that are left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.fit import Lens, Priors
from gapvision.intrinsics import choose_lens
from gapvision.options import MeasureOptions
from gapvision.photo import load_photo, photo_paths
from gapvision.result import PhotoResult
from gapvision.sides import check_sides, side_of
from gapvision.sight import Sight, take_sight
from gapvision.stated import stated_radii
from gapvision.target import find_cards


def gather_sights(
    options: MeasureOptions, priors: Priors, progress: Callable[[int, int], None] | None
) -> tuple[list[Sight], list[Lens], list[PhotoResult]]:
    """Every photograph's sight in turn; pictures are let go as soon as they are traced.

    Returns
    -------
    sights, lenses, left_out
        ``sight.view.lens`` counts in ``lenses``; what is left out says what it lacked.

    Raises
    ------
    MeasurementError
        Where no photograph is of use: that of the first one.
    """
    outside, inside = photo_paths(options.photos), photo_paths(options.inside)
    paths = [(p, "outside") for p in outside] + [(p, "inside") for p in inside]
    sights: list[Sight] = []
    lenses: list[Lens] = []
    kinds: dict = {}
    left_out: list[PhotoResult] = []
    errors: list[MeasurementError] = []
    seen_hashes: set[str] = set()
    for k, (path, side) in enumerate(paths):
        try:
            photo = load_photo(path)
            if photo.sha256 in seen_hashes:
                continue
            seen_hashes.add(photo.sha256)
            sightings = find_cards(photo.bgr, photo.file)
            side = side_of(sightings, side, options.inside_cards)
            lens, source = choose_lens(photo, options.camera)
            photo = replace(photo, focal_source=source)
            kind = (photo.make, photo.model, photo.focal35_mm, photo.bgr.shape[:2], lens)
            sight = take_sight(
                photo, sightings, side, lens, options.card_on, stated_radii(options, (-750.0, 750.0)), priors,  # noqa: E501
            )  # fmt: skip
            if kind not in kinds:
                kinds[kind] = len(lenses)
                lenses.append(lens)
            sights.append(replace(sight, view=replace(sight.view, lens=kinds[kind])))
        except MeasurementError as error:
            errors.append(error)
            left_out.append(PhotoResult(str(path), "", side, False, error.text))
        if progress:
            progress(k + 1, len(paths))
    if not sights:
        raise errors[0] if errors else JointNotFitted("no-photos", "No photograph was given.")
    check_sides([s.view for s in sights])
    return sights, lenses, left_out
