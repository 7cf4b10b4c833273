"""File to Photo: pixels upright in one channel order, and the focal length the camera wrote."""

from __future__ import annotations

import hashlib
import io
import math
import struct
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import ExifTags, Image, ImageFile, JpegImagePlugin, PngImagePlugin, TiffImagePlugin

from gapvision.errors import PhotoUnreadable, PhotoUnusable
from gapvision.photo.facts import CameraKey
from gapvision.photo.light import _linear_light, linear

if TYPE_CHECKING:
    from pillow_heif import HeifFile


SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif"})

# Below 0.3 MP (640 x 480) a card's marks are a few pixels wide; above 60 MP (the largest
# phone pictures have 50) one photograph would take more than a gigabyte in the later stages.
MIN_PIXELS = 300_000
MAX_PIXELS = 60_000_000
# 60 MP of uncompressed 16-bit RGB, with room for metadata; checked before the file is read.
MAX_BYTES = 400_000_000

# The brightest 0.5 % decide, not the mean: a lamp-lit joint in a dark workshop is a good picture.
DARK_LEVEL = 12 / 255
DARK_PERCENTILE = 99.5
BURNT_LEVEL = 250 / 255
BURNT_SHARE = 0.85
# Samples along each side of the picture, for those two checks.
SAMPLES_PER_SIDE = 200

# Exif's 35 mm film frame is 36 mm wide. Where the tag is absent, 27 mm is the usual main camera
# of a phone, and 12 % covers those of 22-33 mm.
FILM_WIDTH_MM = 36.0
ASSUMED_FOCAL35_MM = 27.0
ASSUMED_RELATIVE_U = 0.12
# No camera one would point at a log is outside this; some writers scale the tag with the picture.
PLAUSIBLE_FOCAL35_MM = (8.0, 300.0)

# Relative standard uncertainties of the tag. Its definition: by the frame's diagonal (43.27 mm)
# gives 4 % more pixels than by its width, of which half. Focusing from infinity to 1 m: 0.4-0.7 %.
U_ROUNDING_MM = 0.5 / math.sqrt(3)
U_DEFINITION = 0.02
U_FOCUSING = 0.005

_END_OF_JPEG = b"\xff\xd9"
_READABLE = "a JPEG, PNG, TIFF or HEIC photograph is needed"
_DAMAGED = "copy it from the phone again or retake it"
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
_OPENERS = {
    "JPEG": JpegImagePlugin.JpegImageFile,
    "PNG": PngImagePlugin.PngImageFile,
    "TIFF": TiffImagePlugin.TiffImageFile,
}
_DEEPER_THAN_16_BITS = frozenset({"I", "F"})  # Pillow's modes of 32-bit integers and floats
# What Pillow and pillow-heif raise on contents that are not what the first bytes promised.
_BAD_CONTENTS = (
    ArithmeticError,
    EOFError,
    LookupError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    struct.error,
)


@dataclass(frozen=True, eq=False, slots=True)
class Photo:
    """One photograph, upright, with what the camera wrote about itself.

    Image points are ``(x, y)`` in px, integer at the pixel centre, origin top left, y down.

    Attributes
    ----------
    path : Path
        The file.
    file : str
        Its name, without folder.
    sha256 : str
        Digest of the file's bytes, 64 hexadecimal digits.
    bgr : array, shape (h, w, 3), uint8 or uint16, read-only
        Upright pixels, blue first, display-encoded (sRGB curve); see `linear`.
    focal_px : float
        Prior of the focal length, px.
    u_focal_px : float
        Standard uncertainty of that prior, px.
    focal_source : str
        ``"exif"``, or ``"assumed"`` where the file tells none.
    make, model, lens : str
        As written by the camera, empty where it wrote none.
    focal35_mm : float or None
        The 35 mm equivalent focal length as written, mm; None where absent.
    digital_zoom : float or None
        Digital zoom ratio as written; None where absent.
    taken : str or None
        Time of exposure, ISO 8601, with offset from UTC only if the camera wrote it.
    orientation : int
        Exif's number of how the sensor was held, as written; 1 where absent.
    """

    path: Path
    file: str
    sha256: str
    bgr: np.ndarray
    focal_px: float
    u_focal_px: float
    focal_source: str
    make: str
    model: str
    lens: str
    focal35_mm: float | None
    digital_zoom: float | None
    taken: str | None
    orientation: int = 1

    @property
    def key(self) -> CameraKey:
        """The key of the camera; held across, whichever way it was held."""
        return CameraKey(
            self.make, self.model, self.lens, max(self.width, self.height),
            min(self.width, self.height), self.focal35_mm,
        )  # fmt: skip

    @property
    def width(self) -> int:
        """Width of the upright picture, px."""
        return self.bgr.shape[1]

    @property
    def height(self) -> int:
        """Height of the upright picture, px."""
        return self.bgr.shape[0]


def load_photo(path: str | Path) -> Photo:
    """Return the photograph in a JPEG, PNG, TIFF or HEIC file, upright.

    Parameters
    ----------
    path : str or Path
        The file. Its contents decide how it is read, not its suffix.

    Returns
    -------
    Photo
        Alpha is dropped, grey becomes three equal channels, 16-bit pictures stay uint16.

    Raises
    ------
    PhotoUnreadable
        ``no-file``, ``folder``, ``no-access``, ``empty-file``, ``not-an-image``, ``truncated``.
    PhotoUnusable
        ``too-small``, ``too-large`` (both before decoding), ``too-dark``, ``burnt-out``.

    Notes
    -----
    The picture is turned once: by OpenCV from the Exif orientation in JPEG, PNG and TIFF, by
    libheif from the file's own rotation and mirror properties in HEIC. The Exif orientation of
    a HEIC file is not applied, as phones write it besides those properties.
    """
    path = Path(path)
    data = _read(path)
    kind = _kind(data)
    if kind is None:
        raise PhotoUnreadable(
            "not-an-image", f"{path.name} is not a picture that can be read: {_READABLE}."
        )
    bgr, tags = _decode_heif(data, path.name) if kind == "HEIF" else _decode(data, kind, path.name)
    _check_exposure(bgr, path.name)
    bgr.flags.writeable = False
    make = _text(tags.get(ExifTags.Base.Make))
    focal35_mm = _positive(tags.get(ExifTags.Base.FocalLengthIn35mmFilm))
    digital_zoom = _positive(tags.get(ExifTags.Base.DigitalZoomRatio))
    focal_px, u_focal_px, source = focal_prior(
        max(bgr.shape[:2]), focal35_mm, _unsure_zoom(digital_zoom, make)
    )
    return Photo(
        path=path,
        file=path.name,
        sha256=hashlib.sha256(data).hexdigest(),
        bgr=bgr,
        focal_px=focal_px,
        u_focal_px=u_focal_px,
        focal_source=source,
        make=make,
        model=_text(tags.get(ExifTags.Base.Model)),
        lens=_text(tags.get(ExifTags.Base.LensModel)),
        focal35_mm=focal35_mm,
        digital_zoom=digital_zoom,
        taken=_taken(tags),
        orientation=int(_positive(tags.get(ExifTags.Base.Orientation)) or 1),
    )


def photo_paths(args: Sequence[str | Path]) -> list[Path]:
    """Return the files meant, each folder replaced by its photographs in order of name.

    Parameters
    ----------
    args : sequence of str or Path
        Files, kept as they are (`load_photo` says if one is missing), and folders.

    Returns
    -------
    list of Path
        In the order given. Folders inside a folder are not searched, hidden files are skipped.

    Raises
    ------
    PhotoUnreadable
        ``no-photos`` if a folder holds none; ``no-access`` if it may not be listed.
    """
    paths = []
    for arg in map(Path, args):
        paths.extend(_photos_in(arg) if arg.is_dir() else [arg])
    return paths


def focal_prior(
    long_side_px: int, focal35_mm: float | None, unsure_zoom: float = 1.0
) -> tuple[float, float, str]:
    """Return the prior of the focal length, its standard uncertainty, and where it comes from.

    Parameters
    ----------
    long_side_px : int
        Longer side of the picture, px.
    focal35_mm : float or None
        35 mm equivalent focal length from the file, mm; None or implausible: assumed.
    unsure_zoom : float
        Digital zoom ratio of which it is unknown whether ``focal35_mm`` already holds it.

    Returns
    -------
    focal_px, u_focal_px : float
        Focal length and its standard uncertainty, px.
    source : str
        ``"exif"`` or ``"assumed"``.

    Notes
    -----
    ``focal_px = focal35_mm / 36 mm * long_side_px``. The relative uncertainty joins rounding to
    whole mm (a rectangle of +-0.5 mm), the tag's two definitions, focusing, and half the range
    that an unsure zoom leaves open. A picture cropped after it was taken breaks the formula.

    Source: Exif 2.32, tag FocalLengthIn35mmFilm; GUM (JCGM 100), 4.3.7 for the rectangle.

    Examples
    --------
    >>> focal_prior(4032, 26.0)[0]
    2912.0
    """
    low, high = PLAUSIBLE_FOCAL35_MM
    if focal35_mm is None or not low <= focal35_mm <= high:
        focal_px = ASSUMED_FOCAL35_MM / FILM_WIDTH_MM * long_side_px
        return focal_px, ASSUMED_RELATIVE_U * focal_px, "assumed"
    focal_px = focal35_mm / FILM_WIDTH_MM * long_side_px
    relative_u = math.hypot(
        U_ROUNDING_MM / focal35_mm, U_DEFINITION, U_FOCUSING, (unsure_zoom - 1) / 2
    )
    return focal_px, relative_u * focal_px, "exif"


def _photos_in(folder: Path) -> list[Path]:
    try:
        entries = sorted(folder.iterdir(), key=lambda entry: entry.name)
    except OSError as error:
        raise PhotoUnreadable(
            "no-access",
            f"The folder {folder} cannot be opened ({error.strerror}): "
            "photographs are needed, so allow reading it or copy them elsewhere.",
        ) from error
    # Hidden files with a photograph's suffix are what other systems keep about it, not pictures.
    photos = [
        entry
        for entry in entries
        if entry.suffix.lower() in SUFFIXES and not entry.name.startswith(".") and entry.is_file()
    ]
    if not photos:
        raise PhotoUnreadable(
            "no-photos",
            f"The folder {folder} holds no photographs: put the JPEG, PNG, TIFF or HEIC files of "
            "the joint straight into it.",
        )
    return photos


def _read(path: Path) -> bytes:
    name = path.name
    if path.is_dir():
        raise PhotoUnreadable(
            "folder",
            f"{path} is a folder, and one photograph is needed here: name a file in it.",
        )
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise PhotoUnusable(
                "too-large",
                f"{name} has {size / 1e6:.0f} MB and at most {MAX_BYTES / 1e6:.0f} can be "
                "measured: save it as JPEG.",
            )
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise PhotoUnreadable(
            "no-file",
            f"There is no file {path}, and a photograph is needed: check the name and the folder.",
        ) from error
    except OSError as error:
        raise PhotoUnreadable(
            "no-access",
            f"{name} cannot be opened ({error.strerror}): a readable photograph is needed, "
            "so allow reading it or copy it elsewhere.",
        ) from error
    if not data:
        raise PhotoUnreadable(
            "empty-file", f"{name} is empty (0 bytes), and a photograph is needed: {_DAMAGED}."
        )
    return data


def _kind(data: bytes) -> str | None:
    """Kind of file by its first bytes, None if it is none that can be read."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        return "TIFF"
    if data[4:8] == b"ftyp":
        box = data[8 : min(int.from_bytes(data[:4], "big"), 256)]
        if not _HEIF_BRANDS.isdisjoint(box[i : i + 4] for i in range(0, len(box), 4)):
            return "HEIF"
    return None


def _decode(data: bytes, kind: str, name: str) -> tuple[np.ndarray, dict[int, object]]:
    """Upright pixels and Exif of a JPEG, PNG or TIFF file."""
    with warnings.catch_warnings():
        # The plugin is called directly because Image.open warns about sizes that are refused
        # here in a sentence; what the plugin itself warns about is decided below.
        warnings.simplefilter("ignore")
        try:
            header = _OPENERS[kind](io.BytesIO(data))
        except _BAD_CONTENTS as error:
            raise _undecodable(name, kind) from error
    _check_size(*header.size, name)
    if kind == "TIFF" and header.mode in _DEEPER_THAN_16_BITS:
        raise _undecodable(name, kind)
    if kind == "JPEG" and not _jpeg_is_whole(data):
        raise _truncated(name)
    try:
        bgr = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH)
    except cv2.error as error:
        raise _truncated(name) from error
    if bgr is None:
        raise _truncated(name)
    return bgr, _exif_tags(header)


def _decode_heif(data: bytes, name: str) -> tuple[np.ndarray, dict[int, object]]:
    """Upright pixels and Exif of a HEIC file; its gain map and depth map are left alone."""
    # Imported here because it costs every start and most photographs are JPEG.
    import pillow_heif

    try:
        image = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False, bgr_mode=True)
        _check_size(*image.size, name)
        pixels = np.asarray(image)
    except _BAD_CONTENTS as error:
        raise _truncated(name) from error
    grey = pixels.ndim == 2
    # Either way a copy, which outlives the decoder's buffer.
    bgr = cv2.cvtColor(pixels, cv2.COLOR_GRAY2BGR) if grey else pixels[..., :3].copy()
    return bgr, _exif_tags(image)


def _exif_tags(image: ImageFile.ImageFile | HeifFile) -> dict[int, object]:
    """Exif tags by number, empty if absent or corrupt, which costs only their facts."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            if isinstance(image, TiffImagePlugin.TiffImageFile):
                exif = image.getexif()
            else:  # getexif would decode a whole PNG in search of them
                exif = Image.Exif()
                exif.load(image.info.get("exif") or b"")
            return {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
        except _BAD_CONTENTS:
            return {}


def _jpeg_is_whole(data: bytes) -> bool:
    """Whether the main picture's end marker follows its first scan.

    A decoder fills the rest of a picture that breaks off, or that a broken transfer padded with
    zeros, without a word. The end marker of the thumbnail inside the Exif block must not count,
    and after the main picture phones append others of which nothing is asked.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:
            return data.find(_END_OF_JPEG, at) >= 0
        fill_byte = marker == 0xFF
        at += 1 if fill_byte else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def _undecodable(name: str, kind: str) -> PhotoUnreadable:
    return PhotoUnreadable(
        "not-an-image",
        f"{name} starts like a {kind} file but holds no picture that can be read: {_READABLE}, "
        "with 8 or 16 bits a channel.",
    )


def _truncated(name: str) -> PhotoUnreadable:
    return PhotoUnreadable(
        "truncated",
        f"{name} breaks off or is damaged, and the whole picture is needed: {_DAMAGED}.",
    )


def _check_size(width: int, height: int, name: str) -> None:
    seen = f"{name} has {width} x {height} pixels"
    if width * height < MIN_PIXELS:
        raise PhotoUnusable(
            "too-small",
            f"{seen} and at least {MIN_PIXELS / 1e6:.1f} million are needed: send the original "
            "from the phone, not a preview.",
        )
    if width * height > MAX_PIXELS:
        raise PhotoUnusable(
            "too-large",
            f"{seen} and at most {MAX_PIXELS / 1e6:.0f} million can be measured: set the camera "
            "to a smaller picture.",
        )


def _check_exposure(bgr: np.ndarray, name: str) -> None:
    """Refuse a picture in which nothing can be seen, judged on a grid of pixels."""
    step_y, step_x = (max(1, side // SAMPLES_PER_SIDE) for side in bgr.shape[:2])
    sample = bgr[::step_y, ::step_x]
    white = np.iinfo(bgr.dtype).max
    luma = linear(sample) @ np.array([0.0722, 0.7152, 0.2126], np.float32)
    if np.percentile(luma, DARK_PERCENTILE) < _linear_light(DARK_LEVEL):
        raise PhotoUnusable(
            "too-dark",
            f"{name} is almost black even at its brightest, and the edges of both logs must be "
            "seen: light the joint and retake it.",
        )
    burnt = float(np.mean(sample.min(axis=2) >= BURNT_LEVEL * white))
    if burnt > BURNT_SHARE:
        raise PhotoUnusable(
            "burnt-out",
            f"{name} is pure white over {100 * burnt:.0f} % of its area, and the edges of both "
            "logs must be seen: retake it with less exposure, the sun behind you.",
        )


def _unsure_zoom(digital_zoom: float | None, make: str) -> float:
    """Digital zoom that the 35 mm equivalent may or may not hold; on iPhones it does."""
    return 1.0 if digital_zoom is None or make == "Apple" else max(1.0, digital_zoom)


def _positive(value: object) -> float | None:
    """Exif number, None if absent, corrupt, or 0, which Exif uses for unknown."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _text(value: object) -> str:
    """Exif text on one line, empty if absent."""
    return " ".join(value.replace("\0", " ").split()) if isinstance(value, str) else ""


def _taken(tags: Mapping[int, object]) -> str | None:
    original = _text(tags.get(ExifTags.Base.DateTimeOriginal))
    for text, offset in (
        (original, _text(tags.get(ExifTags.Base.OffsetTimeOriginal))),
        (_text(tags.get(ExifTags.Base.DateTime)), _text(tags.get(ExifTags.Base.OffsetTime))),
    ):
        for stamp, form in ((text + offset, "%Y:%m:%d %H:%M:%S%z"), (text, "%Y:%m:%d %H:%M:%S")):
            try:
                return datetime.strptime(stamp, form).isoformat()
            except ValueError:
                continue
    return None
