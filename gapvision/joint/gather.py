"""Every photograph of a joint, seen by itself: files -> Gathered."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from gapvision.errors import (
    JointNotFitted,
    MeasurementError,
    OutlinesNotFound,
    PhotoUnreadable,
)
from gapvision.files import read_regular
from gapvision.inputs.diameters import stated_radii
from gapvision.inputs.options import Cards, MeasureOptions
from gapvision.joint.copies import without_copies
from gapvision.joint.in_turn import in_turn
from gapvision.joint.photo_results import Corrected, Lack, PhotoResult
from gapvision.joint.several import Suspicion, Untraced, check_one_joint, check_untraced
from gapvision.joint.sides import check_inside_cards, check_sides, side_of
from gapvision.joint.stated import check_stated, seen_part
from gapvision.lengths import Diameter
from gapvision.photo.bent import without_bent
from gapvision.photo.cards import at_true_size, read_cards
from gapvision.photo.decode import damaged_beyond_use
from gapvision.photo.lens.prior import choose_lens
from gapvision.photo.photo import Photo, load_photo, photo_paths
from gapvision.photo.pose import card_pose
from gapvision.photo.wood import wood_beside
from gapvision.scene.camera import Lens
from gapvision.scene.priors import Half, Priors
from gapvision.trace.network import load_ahead
from gapvision.trace.traced_photo import (
    ReadPhoto,
    TracedPhoto,
    no_outlines,
    shows_gap,
    trace_photo,
)

FEW = 3  # photographs that are looked at again where what was stated may be wrong
ANY_STRETCH_MM = (-750.0, 750.0)  # where ends are stated, before a stretch is known


# A file's hash, and what is found in it.
_Tried = tuple[
    str | None, tuple[TracedPhoto, Lens] | Untraced | PhotoResult | MeasurementError | None
]


@dataclass(frozen=True, eq=False, slots=True)
class Gathered:
    """Photographs of use, the priors of their lenses, and what was left out and why.

    The lens that each photograph's rows name is an index of ``lenses``. ``suspicion``: that they may be
    of two joints.
    """

    photos: tuple[TracedPhoto, ...]
    lenses: tuple[Lens, ...]
    left_out: tuple[PhotoResult, ...]
    suspicion: Suspicion | None = None


Asked = tuple[str, Diameter | None, Diameter | None, Cards]


@dataclass(frozen=True, eq=False, slots=True)
class Look:
    """One photograph of the outside traced beforehand, as it arrived; ``asked`` is what it was traced by."""

    traced: TracedPhoto
    lens: Lens
    asked: Asked


def look_at(path: Path, options: MeasureOptions) -> Look:
    """One photograph traced by itself, as `gather_photos` does it.

    Raises
    ------
    MeasurementError
        Where it is of no use.
    """
    stated = stated_radii(options, ANY_STRETCH_MM)
    priors = Priors(wall_mm=options.cards.wall_thickness_mm)
    asked = replace(options, corrections={})
    found = _traced(load_photo(path), path.name, "outside", asked, stated, priors)
    if isinstance(found, Untraced):
        raise found.why
    traced, lens = found
    return Look(traced, lens, _asked_of_each(options))


def _asked_of_each(options: MeasureOptions) -> Asked:
    """All that the tracing of one photograph depends on beside its file and its lens."""
    return options.card_on, options.upper_diameter, options.lower_diameter, options.cards


def gather_photos(
    options: MeasureOptions,
    priors: Priors,
    progress: Callable[[int, int], None] | None,
    looks: Mapping[str, Look] | None = None,
) -> Gathered:
    """Every photograph traced by itself; pictures are let go as soon as they are.

    Parameters
    ----------
    looks : mapping, optional
        What was traced beforehand, by the files' hashes; used where it was traced as it would be now.

    Raises
    ------
    MeasurementError
        Where no photograph is of use: that of the first one; and ``several-joints``.
    """
    paths, failed = paths_of(options)
    named = Counter(path.name for path, _ in paths)
    photos: list[TracedPhoto] = []
    lenses: dict[Hashable, tuple[int, Lens]] = {}
    untraced: list[Untraced] = []
    seen_hashes: set[str] = set()
    dropped: list[PhotoResult] = []
    stated = stated_radii(options, ANY_STRETCH_MM)

    def tried(given: tuple[Path, str]) -> _Tried:
        path, side = given
        label = f"{path.absolute().parent.name}/{path.name}" if named[path.name] > 1 else path.name
        asked = options, stated, priors
        return _tried(path, label, side, *asked, looks or {}, seen_hashes, len(paths) == 1)

    for k, ((path, side), (sha256, found)) in enumerate(in_turn(tried, paths)):
        if sha256 in seen_hashes:
            pass  # a file that was read under another name
        elif isinstance(found, MeasurementError):
            failed.append((path, side, found))
        elif isinstance(found, PhotoResult):
            dropped.append(found)
        elif isinstance(found, Untraced):
            untraced.append(found)
            failed.append((path, side, found.why))
        elif found is not None:
            traced, lens = found
            facts = traced.facts
            kind = (facts.make, facts.model, facts.focal35_mm, facts.size, lens)
            index, _ = lenses.setdefault(kind, (len(lenses), lens))
            photos.append(replace(traced, rows=replace(traced.rows, lens=index)))
        if sha256 is not None:
            seen_hashes.add(sha256)
        if progress:
            progress(k + 1, len(paths))
    _check_corrections(options, seen_hashes, failed)
    part = max((seen_part(p.trace) for p in photos), default=0.0)
    without = {p.file for p in dropped}
    kept = [(path, side) for path, side in paths if str(path) not in without]
    check_stated(_read_again(kept, options), part, options, stated)
    if dropped and not photos and not failed:
        raise JointNotFitted(
            "all-dropped", "All photographs were dropped by hand: take at least one back."
        )
    if not photos:
        raise failed[0][2] if failed else JointNotFitted("no-photos", "No photograph was given.")
    if not any(shows_gap(p.trace) for p in photos):
        raise no_outlines(photos[0].label)
    check_sides(photos)
    check_inside_cards(photos, options.cards.inside_cards)
    left_out = tuple(
        PhotoResult(str(path), "", side, False, Lack(why.code, {"text": why.text}))
        for path, side, why in failed
    )
    once, copies = without_copies(photos)
    once, used = _with_their_lenses(once, [lens for _, lens in lenses.values()])
    suspicion = check_one_joint(once, used, options.card_on)
    suspicion = suspicion or check_untraced(once, untraced, options.card_on)
    return Gathered(once, used, left_out + copies + tuple(dropped), suspicion)


def _check_corrections(
    options: MeasureOptions, seen: set[str], failed: list[tuple[Path, str, MeasurementError]]
) -> None:
    """Refuse corrections that cannot be made: a line that was ill drawn, a photograph not given."""
    for _, _, why in failed:
        if why.code == "bad-correction":
            raise why
    if any(isinstance(why, PhotoUnreadable) for _, _, why in failed):
        return  # it may be one of those that were corrected, and is told to be left out
    if strange := options.corrections.keys() - seen:
        raise JointNotFitted(
            "bad-correction",
            f"{len(strange)} of the photographs that were corrected by hand are not among those given "
            f"(sha256 {min(strange)[:12]}...): give those photographs as they were, or take the "
            "correction out.",
        )


def _tried(
    path: Path, label: str, side: str, options: MeasureOptions,
    stated: Mapping[str, Half | None], priors: Priors,
    looks: Mapping[str, Look], seen_hashes: set[str], alone: bool,
) -> _Tried:  # fmt: skip
    """A file's hash, None of one that is not read, and what is found in it or why nothing is.

    Of one that was read under another name nothing.
    """
    sha256 = None
    try:
        if looked := _looked(path, label, side, options, looks):
            return looked
        load_ahead()
        photo = load_photo(path)
        sha256 = photo.facts.sha256
        if sha256 in seen_hashes:
            return sha256, None
        return sha256, _found(photo, label, side, options, stated, priors, alone)
    except MeasurementError as error:
        return sha256, _without_frames(error)


def _looked(
    path: Path, label: str, side: str, options: MeasureOptions, looks: Mapping[str, Look]
) -> _Tried | None:
    """What was traced beforehand of this very file, by the same card, diameters and lens; else None.

    One that was corrected by hand is traced again.
    """
    if not looks or side != "outside":
        return None
    with suppress(OSError):  # which is told where it is read in earnest
        sha256 = hashlib.sha256(read_regular(path)).hexdigest()
        look = looks.get(sha256)
        if look is None or sha256 in options.corrections:
            return None
        if look.asked != _asked_of_each(options):
            return None
        facts = replace(look.traced.facts, path=path)
        if choose_lens(facts, options.camera) != (look.lens, look.traced.lens_source):
            return None
        return sha256, (replace(look.traced, facts=facts, label=label), look.lens)
    return None


def _found(
    photo: Photo, label: str, side: str, options: MeasureOptions,
    stated: Mapping[str, Half | None], priors: Priors, alone: bool,
) -> tuple[TracedPhoto, Lens] | Untraced | PhotoResult:  # fmt: skip
    """One photograph traced, and its lens's prior.

    Of one that was dropped by hand, that it is left out. The wood beside the cards is for comparing
    photographs: one that is ``alone`` has no use for it.
    """
    sha256 = photo.facts.sha256
    correction = options.corrections.get(sha256)
    if correction is not None and correction.dropped:
        return PhotoResult(
            str(photo.facts.path), sha256, side, False, Lack("dropped"), label=label,
            corrected=Corrected(correction),
        )  # fmt: skip
    return _traced(photo, label, side, options, stated, priors, alone)


def _traced(
    photo: Photo, label: str, side: str, options: MeasureOptions,
    stated: Mapping[str, Half | None], priors: Priors, alone: bool = False,
) -> tuple[TracedPhoto, Lens] | Untraced:  # fmt: skip
    """A photograph traced by itself, and its lens's prior."""
    try:
        read = _read(photo, label, side, options)
        traced = trace_photo(read, options.card_on, stated, priors)
    except MeasurementError as why:
        if why.code == "bad-correction":
            raise
        if photo.damage is not None:
            raise damaged_beyond_use(label) from why
        if not isinstance(why, OutlinesNotFound):
            raise
        return Untraced(label, _wood(read), _without_frames(why))
    return traced if alone else replace(traced, wood=_wood(read)), read.lens


def _without_frames(error: MeasurementError) -> MeasurementError:
    """The error without where it was raised, which would keep the picture until all are read."""
    error.__context__ = error.__cause__ = None
    return error.with_traceback(None)


def _read(photo: Photo, label: str, side: str, options: MeasureOptions) -> ReadPhoto:
    """A photograph's cards, at the size that they were printed, and its lens."""
    sightings, unread = read_cards(photo.bgr, label)
    lens, source = choose_lens(photo.facts, options.camera)
    true_size = at_true_size(sightings, options.cards.printed_bar_mm)
    flat, bent = without_bent(true_size, lens, photo.facts.size, label)
    return ReadPhoto(
        photo, label, side_of(sightings, side, options.cards.inside_cards), flat, unread, lens, source,
        bent, options.corrections.get(photo.facts.sha256),
    )  # fmt: skip


def _with_their_lenses(
    photos: tuple[TracedPhoto, ...], lenses: list[Lens]
) -> tuple[tuple[TracedPhoto, ...], tuple[Lens, ...]]:
    """The photographs with the lenses that they name, and no other."""
    named = sorted({p.rows.lens for p in photos})
    renumbered = (replace(p, rows=replace(p.rows, lens=named.index(p.rows.lens))) for p in photos)
    return tuple(renumbered), tuple(lenses[k] for k in named)


def _read_again(paths: list[tuple[Path, str]], options: MeasureOptions) -> Iterator[ReadPhoto]:
    """The first few photographs that show a card, once more, for those who need their pictures."""
    for path, side in paths[:FEW]:
        with suppress(MeasurementError):
            yield _read(load_photo(path), path.name, side, options)


def _wood(read: ReadPhoto) -> dict[int, np.ndarray]:
    """What lies beside each card, by its number."""
    size = read.photo.facts.size
    return {
        s.number: wood_beside(read.photo.bgr, card_pose(s, read.lens, size)) for s in read.sightings
    }


def paths_of(
    options: MeasureOptions,
) -> tuple[list[tuple[Path, str]], list[tuple[Path, str, MeasurementError]]]:
    """Files with their side, and the folders that hold none, each with the error that says so.

    Outside before inside, each by folder and name whatever order they were given in: the fit's sums
    depend on it in the last digits, and so would the answer. A file named by --inside is one of the
    inside, also where a folder of the others holds it.
    """
    paths: list[tuple[Path, str]] = []
    failed: list[tuple[Path, str, MeasurementError]] = []
    for side, given in (("outside", options.photos), ("inside", options.inside)):
        found: list[Path] = []
        for arg in sorted(map(Path, given)):
            try:
                found += photo_paths([arg])
            except MeasurementError as error:
                failed.append((arg, side, error))
        paths += [(p, side) for p in sorted(found)]
    within = {p.resolve() for p, side in paths if side == "inside"}
    return [(p, s) for p, s in paths if s == "inside" or p.resolve() not in within], failed
