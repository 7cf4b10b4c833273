"""Every photograph of a joint, seen by itself: files -> sights, lenses, and those that are left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.inputs.diameters import stated_radii
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.photo_results import PhotoResult
from gapvision.joint.sides import check_inside_cards, check_sides, side_of
from gapvision.photo.cards import read_cards
from gapvision.photo.lens.prior import choose_lens
from gapvision.photo.photo import load_photo, photo_paths
from gapvision.scene.camera import Lens
from gapvision.scene.priors import Priors
from gapvision.trace.sight import Sight, no_outlines, shows_gap, take_sight


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
    paths, failed = _paths(options)
    named = Counter(path.name for path, _ in paths)
    sights: list[Sight] = []
    lenses: list[Lens] = []
    kinds: dict = {}
    seen_hashes: set[str] = set()
    for k, (path, side) in enumerate(paths):
        try:
            photo = load_photo(path)
            if named[path.name] > 1:
                photo = replace(photo, file=f"{path.absolute().parent.name}/{path.name}")
            if photo.sha256 in seen_hashes:
                continue
            seen_hashes.add(photo.sha256)
            sightings, unread = read_cards(photo.bgr, photo.file)
            side = side_of(sightings, side, options.cards.inside_cards)
            lens, source = choose_lens(photo, options.camera)
            photo = replace(photo, focal_source=source)
            kind = (photo.make, photo.model, photo.focal35_mm, photo.bgr.shape[:2], lens)
            sight = take_sight(
                photo, sightings, side, lens, options.card_on, stated_radii(options, (-750.0, 750.0)), priors,  # noqa: E501
            )  # fmt: skip
            if kind not in kinds:
                kinds[kind] = len(lenses)
                lenses.append(lens)
            view = replace(sight.view, lens=kinds[kind])
            sights.append(replace(sight, view=view, unread_cards=unread))
        except MeasurementError as error:
            failed.append((path, side, error))
        finally:
            if progress:
                progress(k + 1, len(paths))
    if not sights:
        raise failed[0][2] if failed else JointNotFitted("no-photos", "No photograph was given.")
    if not any(shows_gap(s.trace) for s in sights):
        raise no_outlines(sights[0].photo)
    check_sides([s.view for s in sights])
    check_inside_cards([s.view for s in sights], options.cards.inside_cards)
    left_out = [PhotoResult(str(path), "", side, False, why.text) for path, side, why in failed]
    return sights, lenses, left_out


def _paths(options: MeasureOptions):
    """Files with their side, and the folders that hold none, each with the error that says so.

    A file named by --inside is one of the inside, also where a folder of the others holds it.
    """
    paths: list[tuple[Path, str]] = []
    failed: list[tuple[Path, str, MeasurementError]] = []
    for side, given in (("outside", options.photos), ("inside", options.inside)):
        for arg in given:
            try:
                paths += [(p, side) for p in photo_paths([arg])]
            except MeasurementError as error:
                failed.append((Path(arg), side, error))
    within = {p.resolve() for p, side in paths if side == "inside"}
    return [(p, s) for p, s in paths if s == "inside" or p.resolve() not in within], failed
