"""A file by its first bytes to what frees files of its kind."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

from gapvision.photo.scrub.heif import free_heif
from gapvision.photo.scrub.jpeg import free_jpeg
from gapvision.photo.scrub.notes import NotScrubbable
from gapvision.photo.scrub.png import PNG_HEAD, free_png
from gapvision.photo.scrub.tiff import free_tiff

# What reading a file by its format may raise where it is not what its first bytes promised.
_BAD_CONTENTS = (
    ArithmeticError, AttributeError, EOFError, LookupError, OSError, RuntimeError, SyntaxError, TypeError,
    ValueError, struct.error, zlib.error,
)  # fmt: skip


def scrubbed(content: bytes) -> bytes:
    """The same photograph without location, serial numbers, owner and the maker's own notes.

    Parameters
    ----------
    content : bytes
        A JPEG, PNG, HEIC or TIFF file.

    Returns
    -------
    bytes
        The compressed picture untouched, of TIFF its pixels; of the colour profile what colours depend
        on; of Exif the camera, the lens, the exposure, the orientation and the time. XMP, IPTC,
        comments, previews and what lies behind the picture or in gaps are gone.

    Raises
    ------
    NotScrubbable
        Where that cannot be done without touching the picture.
    """
    free = _by_kind(content)
    try:
        return free(content)
    except NotScrubbable:
        raise
    except _BAD_CONTENTS as error:
        raise NotScrubbable("damaged") from error


def _by_kind(content: bytes) -> Callable[[bytes], bytes]:
    if content.startswith(b"\xff\xd8\xff"):
        return free_jpeg
    if content.startswith(PNG_HEAD):
        return free_png
    if content[4:8] == b"ftyp":
        return free_heif
    if content.startswith((b"II*\0", b"MM\0*")):
        return free_tiff
    raise NotScrubbable("of a kind whose notes are not known")
