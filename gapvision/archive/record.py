"""Keeping one joint: what a measurement was asked, what it answered, and the files it was made from."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, astuple, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from gapvision import __version__
from gapvision.archive.originals import put, sweep
from gapvision.archive.store import Archive, writing
from gapvision.errors import MeasurementError
from gapvision.files import read_regular
from gapvision.inputs.joint_name import JointName
from gapvision.inputs.options import GROUPS, MeasureOptions
from gapvision.photo.lens.files import camera_text

if TYPE_CHECKING:
    from gapvision.joint.photo_results import PhotoResult
    from gapvision.measurement import Measurement

# Stored options stand side by side, whatever group they are of here, under the keys they always had.
_STORED = {"largest_mm": "scriber_largest_mm", "step_mm": "scriber_step_mm"}
_OF_STORED = {stored: key for key, stored in _STORED.items()}


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file that goes into the archive with a record.

    ``given`` is the option that a photograph came by, ``"photos"`` or ``"inside"``; ``sha256`` what it
    must be, None where nobody knows yet.
    """

    source: Path | bytes
    name: str
    role: str
    given: str = ""
    used: bool = True
    sha256: str | None = None


@dataclass(frozen=True, slots=True)
class NewRecord:
    """A measured joint to keep; ``options`` and ``result`` as docs/archive.md has them."""

    joint: JointName
    options: dict
    result: dict
    files: tuple[SourceFile, ...]
    program: str = __version__
    remeasured: int | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """Where a joint went: its number in the archive, and its revision among those of the same joint."""

    record: int
    revision: int


def add_record(archive: Archive, new: NewRecord) -> Kept:
    """Keep a joint as a record of its own, beside those of the same joint.

    Raises
    ------
    MeasurementError
        As `store.writing` and `originals.put`; nothing is kept then.
    """
    now = now_here()
    with writing(archive) as db:
        sweep(archive)
        stored = [(f, *put(archive, f.source, f.sha256)) for f in new.files]
        joint = astuple(new.joint)
        revision = db.execute(
            "SELECT 1 + max(coalesce((SELECT max(revision) FROM record WHERE building = ?1 AND"
            " wall = ?2 AND log = ?3), 0), coalesce((SELECT max(revision) FROM tombstone WHERE"
            " building = ?1 AND wall = ?2 AND log = ?3), 0))",
            joint,
        ).fetchone()[0]
        setting, widest = new.result["setting"], new.result["widest_gap"]
        db.execute(
            "INSERT INTO record VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *joint, revision, now, in_utc(now), new.program, new.result["status"],
                setting["cover_mm"], setting["set_to_mm"], setting["value_mm"], setting["U95_mm"],
                widest["value_mm"], widest["U95_mm"], new.remeasured,
            ),
        )  # fmt: skip
        record = db.execute("SELECT last_insert_rowid()").fetchone()[0]
        options, result = (
            json.dumps(d, allow_nan=False, ensure_ascii=False) for d in (new.options, new.result)
        )
        db.execute("INSERT INTO document VALUES (?, ?, ?)", (record, options, result))
        for position, (file, sha256, size) in enumerate(stored, 1):
            suffix = Path(file.name).suffix.lower()
            db.execute("INSERT OR IGNORE INTO content VALUES (?, ?, ?)", (sha256, size, suffix))
            db.execute("DELETE FROM leftover WHERE sha256 = ?", (sha256,))
            db.execute(
                "INSERT INTO record_file VALUES (?, ?, ?, ?, ?, ?, ?)",
                (record, position, file.role, file.name, file.given, file.used, sha256),
            )
        text = words_of(new.joint, new.result, (f.name for f in new.files))
        db.execute("INSERT INTO words (rowid, text) VALUES (?, ?)", (record, text))
    return Kept(record, revision)


def words_of(joint: JointName, result: dict, names: Iterable[str]) -> str:
    """What a free search finds a record by; remarks of outcomes are added to it later."""
    cautions = [part for c in result["cautions"] for part in (c["code"], c["text"])]
    return "\n".join([*astuple(joint), *names, *cautions])


def new_record(
    joint: JointName,
    options: MeasureOptions,
    measurement: Measurement,
    remeasured: int | None = None,
) -> NewRecord:
    """What is kept of a measurement that was just made: all of it, and the picture drawn of it.

    Raises
    ------
    MeasurementError
        Where a photograph or camera file is no longer there.
    """
    from gapvision.answer.as_json import answer_json
    from gapvision.answer.picture.picture import picture_bytes

    drawn = picture_bytes(measurement, options.units)
    return NewRecord(
        joint,
        options_json(options, measurement.photos),
        plain_result(answer_json(measurement)),
        source_files(options, measurement.photos, drawn),
        remeasured=remeasured,
    )


def source_files(
    options: MeasureOptions, photos: Sequence[PhotoResult], picture: bytes | None
) -> tuple[SourceFile, ...]:
    """The files a measurement was made from, a folder's one by one, and the picture drawn of it.

    A photograph that was left out is kept too where it can be read: a later program may use it.
    """
    from gapvision.photo.photo import photo_paths

    inside = {str(path) for path in photo_paths(options.inside)}
    files = [
        SourceFile(
            Path(photo.file), Path(photo.file).name, "photograph",
            "inside" if photo.file in inside else "photos", photo.used, photo.sha256 or None,
        )
        for photo in photos
        if photo.used or _has_content(Path(photo.file))
    ]  # fmt: skip
    if picture is not None:
        files.append(SourceFile(picture, "picture.jpg", "picture"))
    return tuple(files)


def plain_result(answer: dict) -> dict:
    """An answer without the folders of its photographs, which are no one else's business."""
    names = {p["file"]: Path(p["file"]).name for p in answer["photos"]}

    def plain(item: dict, key: str) -> dict:
        text = item[key]
        for path, name in names.items():
            text = text.replace(path, name)
        return item | {key: text}

    return answer | {
        "photos": [plain(p, "lacked") | {"file": names[p["file"]]} for p in answer["photos"]],
        "cautions": [plain(c, "text") for c in answer["cautions"]],
    }


def options_json(options: MeasureOptions, photos: Sequence[PhotoResult]) -> dict:
    """What was asked, but for the photographs; camera files with their text, since files go astray.

    Raises
    ------
    MeasurementError
        ``no-access`` where the camera file is gone by now.
    """
    out: dict[str, Any] = {}
    for name, value in asdict(options).items():
        out |= value if name in GROUPS else {name: value}
    out = {_STORED.get(key, key): v for key, v in out.items() if key not in ("photos", "inside")}
    if options.camera is not None:
        out["camera"] = {"name": options.camera.name, "toml": _camera_text(options.camera)}
    matched = {
        p.exposure.lens.removeprefix("calibration ")
        for p in photos
        if p.exposure.lens.startswith("calib")
    }
    out["calibrations"] = {name: camera_text(name) for name in sorted(matched)}
    return out


def options_of(
    values: dict, photos: Sequence[Path], inside: Sequence[Path], camera: Path | None
) -> MeasureOptions:
    """The options of a stored record, with its files where they lie now.

    An option that this program does not know any more is left out, and one that the program of then
    did not know is as if it had not been typed.

    Raises
    ------
    ValueError
        Where one has a value of another kind than options have.
    """
    flat = {_OF_STORED.get(key, key): value for key, value in values.items()}
    whole = flat | dict.fromkeys(GROUPS, flat) | {"photos": (), "inside": (), "camera": None}
    return replace(
        msgspec.convert(whole, MeasureOptions),
        photos=tuple(photos),
        inside=tuple(inside),
        camera=camera,
    )


def now_here() -> str:
    """The time with this place's offset from UTC, RFC 3339."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def in_utc(stamp: str) -> str:
    """An RFC 3339 time in UTC, so that times sort as text."""
    utc = datetime.fromisoformat(stamp).astimezone(UTC).isoformat(timespec="seconds")
    return utc.replace("+00:00", "Z")  # strftime leaves the zeros of early years out


def _has_content(path: Path) -> bool:
    try:
        return path.is_file() and path.stat().st_size > 0
    except OSError:
        return False


def _camera_text(camera: Path) -> str:
    try:
        return read_regular(camera).decode("utf-8")
    except (OSError, ValueError) as error:
        raise MeasurementError(
            "no-access",
            f"The camera file {camera} could not be read any more ({error}), so that the joint was "
            "not kept: bring it back and measure again.",
        ) from error
