"""A camera roll sorted by its slips: each joint's photographs follow the photograph of its slip."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Callable, Iterable
from dataclasses import astuple, dataclass, replace
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from PIL import ExifTags, Image

from gapvision.errors import MeasurementError
from gapvision.files import copy_new, read_regular
from gapvision.inputs.joint_form import write_joint_form
from gapvision.inputs.joint_name import as_counted, as_folder
from gapvision.shoot.slip import Slip, parse_slip

SEARCH_PX = (1600, 1000, 2000)  # long sides at which a code is looked for, in this order
# A slip that is meant fills the picture more than one stapled to a log that happens to be in view:
# its code of 39 mm is 1/16 of the picture from 0.47 m with a usual phone (1.33 times the distance).
LEAST_SHARE = 1 / 16
LEAST_SQUARE = 0.6  # shortest side over longest; seen askew by 30 degrees from near it is 0.7
UNREAD = "a slip that could not be read"
BEFORE = "before the first slip"
NO_TIME = "no time of exposure"
_HEIF = frozenset({".heic", ".heif"})


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph of a roll.

    Attributes
    ----------
    path : Path
    taken : datetime or None
        Time of exposure by the camera's clock; None where the file tells none.
    camera : str
        Make and model as written.
    slip : Slip or None
        The slip it shows large.
    in_passing : Slip or None
        A slip it shows small, as one stapled to a log.
    unread : bool
        Whether it shows a code large that could not be read.
    unreadable : str
        Why the file is no photograph; empty where it is one.
    """

    path: Path
    taken: datetime | None = None
    camera: str = ""
    slip: Slip | None = None
    in_passing: Slip | None = None
    unread: bool = False
    unreadable: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """The photographs that follow one slip, and the photographs of the slip itself."""

    slip: Slip
    slip_photos: tuple[Path, ...]
    photos: tuple[Path, ...]


@dataclass(frozen=True, slots=True)
class Roll:
    """A sorted roll: groups in order, (path, why) of what is in none, and what to look at."""

    groups: tuple[Group, ...]
    unsorted: tuple[tuple[Path, str], ...]
    cautions: tuple[str, ...]


def read_shot(path: Path) -> Shot:
    """When a photograph was taken and which slip it shows.

    Parameters
    ----------
    path : Path
        JPEG, PNG, TIFF or HEIC.

    Returns
    -------
    Shot
        With ``unreadable`` where the file is none of these.

    Notes
    -----
    The picture is decoded at reduced size, which JPEG allows cheaply; the whole is decoded only
    where a code was seen and not read.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of Pillow on odd Exif and on large pictures
        try:
            image = _open(path)
            exif = image.getexif()
            tags = {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
            full = max(image.size)
            width, height = (side * max(SEARCH_PX) // full for side in image.size)
            image.draft("L", (width, height))
            grey = np.asarray(image.convert("L"))
        except Image.DecompressionBombError:
            return Shot(path, unreadable="too large a picture")
        # What Pillow raises on contents that are not what the first bytes promised.
        except (OSError, SyntaxError, ValueError, TypeError, LookupError, ArithmeticError):
            return Shot(path, unreadable="no picture that can be read")
        shot = Shot(path, _taken(tags), _camera(tags))
        return _with_slip(shot, grey, full)


def sort_roll(shots: Iterable[Shot]) -> Roll:
    """Each photograph with the slip that was photographed last before it.

    Parameters
    ----------
    shots : iterable of Shot
        In any order: they are put in order of time, then of name. Where none tells its time, by
        name alone.

    Returns
    -------
    Roll
        A slip met again goes on with its group. After a slip that could not be read, photographs
        are unsorted until the next slip.
    """
    shots = list(shots)
    unsorted = [(s.path, s.unreadable) for s in shots if s.unreadable]
    readable = [s for s in shots if not s.unreadable]
    timed = [s for s in readable if s.taken is not None]
    if timed:
        unsorted += [(s.path, NO_TIME) for s in readable if s.taken is None]
    else:
        timed = readable
    timed.sort(key=lambda s: (s.taken or datetime.min, as_counted(s.path.name)))

    groups: dict[Slip, Group] = {}
    current: Slip | None = None
    why, cautions = BEFORE, []
    for shot in timed:
        if shot.unread:
            current, why = None, f"after {UNREAD} ({shot.path.name})"
            unsorted.append((shot.path, UNREAD))
        elif shot.slip is not None:
            current = shot.slip
            group = groups.setdefault(current, Group(current, (), ()))
            groups[current] = replace(group, slip_photos=(*group.slip_photos, shot.path))
        elif current is None:
            unsorted.append((shot.path, why))
        else:
            group = groups[current]
            groups[current] = replace(group, photos=(*group.photos, shot.path))
        if shot.in_passing not in (None, current):
            cautions.append(
                f"{shot.path.name} shows the slip of {name_of(shot.in_passing)} from afar and was "
                "not taken as that slip: if it was meant, photograph the slip from nearer."
            )
    cameras = sorted({s.camera for s in timed if s.camera})
    if len(cameras) > 1:
        cautions.append(
            f"The photographs are of {len(cameras)} cameras ({', '.join(cameras)}), whose clocks "
            "may differ: sort the folder of each by itself."
        )
    if any(s.unreadable for s in shots):
        cautions.append("A file that cannot be read may have been a slip: check what follows it.")
    cautions += [
        f"{name_of(g.slip)}: no photograph follows its slip."
        for g in groups.values()
        if not g.photos
    ]
    return Roll(tuple(groups.values()), tuple(unsorted), tuple(cautions))


def copy_groups(
    roll: Roll, folder: Path, progress: Callable[[int, int], None] | None = None
) -> tuple[int, int]:
    """Copy each group's photographs into folders of building, wall and log; nothing is overwritten.

    Each folder gets a form with the slip's names, to which one may add what else is known of the joint.

    Parameters
    ----------
    roll : Roll
    folder : Path
        Made where it is not there, but not its parent.
    progress : callable, optional
        Called as ``progress(done, total)`` before each photograph.

    Returns
    -------
    copied, there_already : int
        Photographs copied, and those found there with the same contents.

    Raises
    ------
    MeasurementError
        ``"no-folder"``, ``"is-a-file"`` or ``"not-written"``; as `write_joint_form`, as where two
        slips' names make one folder: nothing is copied then.

    Notes
    -----
    Where another file has the name, the copy is called ``name-2.jpg`` and so on. A copy gets its
    name only when it is whole.
    """
    if not folder.parent.is_dir():
        raise MeasurementError("no-folder", f"There is no folder {folder.parent}: make it first.")
    if folder.exists() and not folder.is_dir():
        raise MeasurementError("is-a-file", f"{folder} is a file: name a folder to copy to.")
    todo = [(path, folder_of(folder, g.slip)) for g in roll.groups for path in g.photos]
    copied = 0
    try:
        for group in roll.groups:
            if group.photos:
                target, path = folder_of(folder, group.slip), group.photos[0]
                target.mkdir(parents=True, exist_ok=True)
                write_joint_form(target, group.slip.joint)
        for k, (path, target) in enumerate(todo):
            if progress:
                progress(k, len(todo))
            copied += _copy(path, target)
    except OSError as error:
        text = f"{path.name} could not be copied to {target}: {error.strerror or error}."
        raise MeasurementError("not-written", text) from error
    return copied, len(todo) - copied


def folder_of(folder: Path, slip: Slip) -> Path:
    """Where a slip's photographs go: building, wall and log as folders that any system can have."""
    return folder.joinpath(*(as_folder(n) for n in astuple(slip.joint)))


def name_of(slip: Slip) -> str:
    """``Log 3, north wall, Barn``."""
    return slip.joint.title


# --- reading --------------------------------------------------------------------------------------


def _open(path: Path) -> Image.Image:
    if path.suffix.lower() in _HEIF:
        import pillow_heif

        pillow_heif.register_heif_opener()
    return Image.open(io.BytesIO(read_regular(path)))  # a pipe would never end


def _with_slip(shot: Shot, grey: np.ndarray, full_px: int) -> Shot:
    """The shot with what its codes say; ``grey`` is reduced, ``full_px`` the whole's long side."""
    unread = False
    for side in SEARCH_PX:
        for text, share in _codes(_reduced(grey, side)):
            if (slip := parse_slip(text)) is not None:
                return _shown(shot, slip, share)
            unread |= not text and share >= LEAST_SHARE
    if unread and full_px > max(grey.shape):
        for text, share in _codes(np.asarray(_open(shot.path).convert("L"))):
            if (slip := parse_slip(text)) is not None:
                return _shown(shot, slip, share)
    return replace(shot, unread=unread)


def _shown(shot: Shot, slip: Slip, share: float) -> Shot:
    """The shot with a slip whose code has a share of the picture's long side."""
    large = share >= LEAST_SHARE
    return replace(shot, slip=slip) if large else replace(shot, in_passing=slip)


def _codes(grey: np.ndarray) -> list[tuple[str, float]]:
    """Text of each QR code, empty where it cannot be read, and its side over the picture's.

    Blotches may look like three finder patterns: what cannot be read counts only if it is about
    square. OpenCV's other detector, `QRCodeDetector`, is slower and reads fewer blurred codes.
    """
    found, texts, corners, _ = cv2.QRCodeDetectorAruco().detectAndDecodeMulti(grey)
    if not found:
        return []
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    codes = [
        (text, float(s.mean()) / max(grey.shape))
        for text, s in zip(texts, sides, strict=True)
        if text or s.min() > LEAST_SQUARE * s.max()
    ]
    return sorted(codes, key=lambda code: -code[1])  # the slip that is meant before one behind it


def _reduced(grey: np.ndarray, side: int) -> np.ndarray:
    scale = side / max(grey.shape)
    if scale >= 1:
        return grey
    return cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


def _taken(tags: dict) -> datetime | None:
    """The camera's clock, to parts of a second where they were written."""
    for stamp, part in (
        (ExifTags.Base.DateTimeOriginal, ExifTags.Base.SubsecTimeOriginal),
        (ExifTags.Base.DateTime, ExifTags.Base.SubsecTime),
    ):
        try:
            taken = datetime.strptime(str(tags.get(stamp)).strip("\0 "), "%Y:%m:%d %H:%M:%S")
        except ValueError:
            continue
        digits = re.match(r"\d{1,6}", str(tags.get(part, "")))
        return taken.replace(microsecond=int(digits[0].ljust(6, "0")) if digits else 0)
    return None


def _camera(tags: dict) -> str:
    words = (tags.get(ExifTags.Base.Make), tags.get(ExifTags.Base.Model))
    return " ".join(" ".join(str(w).replace("\0", " ").split()) for w in words if w)


# --- copying --------------------------------------------------------------------------------------


def _copy(path: Path, folder: Path) -> bool:
    """Copy a file under the first name that is free; False where it lies there already."""
    for target in _names(path, folder):
        if target.exists():
            if _same(path, target):
                return False
            continue
        try:
            copy_new(path, target)
        except FileExistsError:  # made by another program meanwhile
            continue
        return True
    raise AssertionError("names never end")


def _names(path: Path, folder: Path) -> Iterable[Path]:
    yield folder / path.name
    n = 2
    while True:
        yield folder / f"{path.stem}-{n}{path.suffix}"
        n += 1


def _same(a: Path, b: Path) -> bool:
    if a.stat().st_size != b.stat().st_size:
        return False
    digests = []
    for path in (a, b):
        with path.open("rb") as file:
            digests.append(hashlib.file_digest(file, "sha256").digest())
    return digests[0] == digests[1]
