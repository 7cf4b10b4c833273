"""A joint made ready for another process or machine, laid out there, and what is told brought back.

A parcel has all that an answer depends on: what was asked, the photographs with their hashes, and this
machine's camera files, of which the other has none, or others. The photographs lie in the parcel, or,
on a disk that all machines share, where it says.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import overload

from gapvision.archive.record import SourceFile
from gapvision.day.joints import DayJoint
from gapvision.day.processes import Finished, Work
from gapvision.errors import MeasurementError
from gapvision.files import read_regular, work_folder, write_new
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.gather import paths_of
from gapvision.photo.lens.files import MOST_BYTES, camera_folder, camera_paths, cameras_in
from gapvision.photo.photo import MAX_BYTES

# Of each file where it was laid out: what it is called at home, and where it lies there.
Home = dict[str, tuple[str, Path]]

_NO_LABEL = ("", ".", "..")  # no name that a folder can be made by


@dataclass(frozen=True, slots=True)
class Sent:
    """A file of a parcel.

    Attributes
    ----------
    path : str
        As the answer names it.
    folder, name : str
        Its folder's name, which tells photographs of one name apart, and its own.
    given : str
        The option that it came by, ``"photos"`` or ``"inside"``; empty of a camera file.
    sha256 : str
    lies_at : Path
        Where it is at home, and on a shared disk everywhere.
    content : bytes or None
        None where it is to be read there.
    """

    path: str
    folder: str
    name: str
    given: str
    sha256: str
    lies_at: Path
    content: bytes | None = None

    def read(self) -> bytes:
        """Its bytes as they were sent.

        Raises
        ------
        MeasurementError
            ``not-shared`` where this machine has not the same file.
        """
        content = self.content
        if content is None:
            try:
                content = read_regular(self.lies_at)
            except OSError as error:
                raise _not_shared(self.lies_at, f"cannot be read ({error.strerror})") from None
        if hashlib.sha256(content).hexdigest() != self.sha256:
            if self.content is None:
                raise _not_shared(self.lies_at, "is another file")
            raise MeasurementError("photo-changed", f"{self.name} was changed on its way.")
        return content


# With slots and without `__weakref__`, so that it travels in its task: data that a scheduler spreads
# by itself is lost with the worker that has it, and its task cannot be repeated elsewhere.
@dataclass(frozen=True, slots=True)
class Parcel:
    """A joint's options, but for its files, and those; ``cameras`` is this machine's folder of them."""

    options: MeasureOptions
    photographs: tuple[Sent, ...]
    camera: Sent | None
    cameras: str
    calibrations: tuple[tuple[str, bytes], ...]


def can_travel(options: MeasureOptions) -> bool:
    """Whether all its photographs are there to be sent; what lacks is told best where it lacks."""
    paths, failed = paths_of(options)
    return (
        not failed and bool(paths) and all(map(_is_sendable, (path for path, _ in paths)))
        and (options.camera is None or options.camera.is_file())
    )  # fmt: skip


def parcel_of(options: MeasureOptions, shared: bool = False) -> Parcel:
    """A joint of this machine, of which `can_travel` is true.

    Parameters
    ----------
    options : MeasureOptions
    shared : bool
        Whether its photographs lie under the same paths on every machine.

    Raises
    ------
    MeasurementError
        ``no-access`` where a file is gone by now.
    """
    paths, _ = paths_of(options)
    given = {"outside": "photos", "inside": "inside"}
    sent = tuple(_sent(path, given[side], shared) for path, side in paths)
    camera = None if options.camera is None else _sent(options.camera, "", False)
    return packed(replace(options, photos=(), inside=(), camera=None), sent, camera)


def packed(options: MeasureOptions, photographs: Iterable[Sent], camera: Sent | None) -> Parcel:
    """A parcel with this machine's camera files beside what is given.

    Raises
    ------
    MeasurementError
        As `camera_paths`.
    """
    calibrations = tuple((path.name, _text(path)) for path in camera_paths())
    return Parcel(options, tuple(photographs), camera, str(camera_folder()), calibrations)


def parcel_job(joint: DayJoint, keep: bool, work: Work, shared: bool) -> Callable[[], Finished]:
    """What is to be done elsewhere for a joint of this machine, of which `can_travel` is true."""
    try:
        return partial(of_parcel, parcel_of(joint.options, shared), joint, keep, work)
    except MeasurementError as error:
        return partial(Finished, None, lacked=error.text)


def of_parcel(parcel: Parcel, joint: DayJoint, keep: bool, work: Work) -> Finished:
    """What comes of a joint whose parcel has arrived, told as at home."""
    try:
        with laid_out(parcel) as (options, home):
            return at_home(work(replace(joint, options=options), keep), home)
    except MeasurementError as error:
        return Finished(None, lacked=error.text)
    except OSError as error:
        from platform import node

        return Finished(None, lacked=f"{node()} could not take it ({error}): make room there.")


@contextmanager
def laid_out(parcel: Parcel) -> Iterator[tuple[MeasureOptions, Home]]:
    """The options of a parcel whose files lie in a folder of its own, and what they are called at home.

    Each photograph lies in a folder with a number before the folder of its own name, so that they are
    taken in the order, and told apart by the names, that they have at home.

    Raises
    ------
    MeasurementError
        As `Sent.read`, and ``not-written``.
    """
    with work_folder(Path(tempfile.gettempdir())) as root:
        home: Home = {str(root / "cameras"): (parcel.cameras, Path(parcel.cameras))}
        given: dict[str, list[Path]] = {"photos": [], "inside": []}
        for n, sent in enumerate(parcel.photographs):
            path = _laid(root / f"{n:05}" / sent.folder / sent.name, sent.read())
            given[sent.given].append(path)
            home[str(path)] = sent.path, sent.lies_at
        camera = None
        if parcel.camera is not None:
            camera = _laid(root / "camera" / parcel.camera.name, parcel.camera.read())
            home[str(camera)] = parcel.camera.path, parcel.camera.lies_at
        for name, text in parcel.calibrations:
            _laid(root / "cameras" / name, text)
        options = replace(
            parcel.options, photos=tuple(given["photos"]), inside=tuple(given["inside"]),
            camera=camera,
        )  # fmt: skip
        with cameras_in(root / "cameras"):
            yield options, home


def at_home(finished: Finished, home: Home) -> Finished:
    """What came of a joint elsewhere, with each file called, and the time told, as at home."""
    answer, record = _called(finished.answer, home), finished.record
    if answer is not None:
        when = datetime.fromisoformat(answer["measured_at"]).astimezone()
        answer["measured_at"] = when.isoformat(timespec="seconds")
    if record is not None:
        record = replace(
            record,
            options=_called(record.options, home),
            result=_called(record.result, home),
            files=tuple(_file_at_home(file, home) for file in record.files),
        )
    return Finished(answer, record, _called(finished.failed, home), finished.lacked)


def _file_at_home(file: SourceFile, home: Home) -> SourceFile:
    found = home.get(str(file.source)) if isinstance(file.source, Path) else None
    return file if found is None else replace(file, source=found[1])


@overload
def _called(value: dict, home: Home) -> dict: ...
@overload
def _called(value: str, home: Home) -> str: ...
@overload
def _called(value: None, home: Home) -> None: ...
def _called(value: object, home: Home) -> object:
    """A value of JSON with the names of home in its texts."""
    if isinstance(value, str):
        for there, (name, _) in home.items():
            value = value.replace(there, name)
    elif isinstance(value, dict):
        value = {key: _called(v, home) for key, v in value.items()}
    elif isinstance(value, list | tuple):
        value = type(value)(_called(v, home) for v in value)
    return value


def _is_sendable(path: Path) -> bool:
    try:
        size = path.stat().st_size if path.is_file() else 0
    except OSError:
        return False
    return 0 < size <= MAX_BYTES and path.absolute().parent.name not in _NO_LABEL


def _sent(path: Path, given: str, shared: bool) -> Sent:
    try:
        content = read_regular(path)
    except OSError as error:
        text = f"{path} could not be read any more ({error.strerror}): bring it back."
        raise MeasurementError("no-access", text) from None
    place, sha256 = path.absolute(), hashlib.sha256(content).hexdigest()
    folder = place.parent.name
    return Sent(str(path), folder, path.name, given, sha256, place, None if shared else content)


def _text(camera: Path) -> bytes:
    """A calibration as it stands; nothing where it cannot be read, which is no calibration there too."""
    try:
        return read_regular(camera, MOST_BYTES)
    except (OSError, ValueError):
        return b""


def _laid(path: Path, content: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    write_new(path, content, "a file of the joint", overwrite=False)
    return path


def _not_shared(path: Path, why: str) -> MeasurementError:
    from platform import node

    text = f"{path} {why} on {node()}: leave --shared out, or mount the same disk there."
    return MeasurementError("not-shared", text)
