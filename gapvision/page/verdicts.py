"""What is told of a photograph as soon as it has come: whether it can be used, and what it shows.

In a worker: the photograph is decoded there, once; what was traced in it goes back as well, so that the
answer need not wait for it again.
"""

from __future__ import annotations

import pickle
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gapvision.errors import CardNotFound, MeasurementError
from gapvision.files import write_new
from gapvision.inputs.options import MeasureOptions

if TYPE_CHECKING:
    from gapvision.shoot.heights import Sight

SLIP = "slip"
LENS_LOST = "It came without its lens's data: take it with the camera app and send the original"
CHOOSE = ", or choose the camera under Names, cover, diameters"
DAMAGED = "The picture came damaged: send it again, or photograph again."
SHOWN_PX = {"view.jpg": 1600, "thumb.jpg": 320}  # long side of what the phone shows, and its lists
QUALITY = 80
USUAL_BAND = 192, 1600  # a network's cells: it claims its memory at the first band of a size


def verdict_of(path: Path, options: MeasureOptions) -> tuple[dict[str, Any], bytes]:
    """``ok``, a sentence and details of one photograph; and its `Look`, pickled, empty where none.

    The pickle only ever goes through the pipes between this program's own processes.
    """
    from gapvision.joint.gather import look_at
    from gapvision.photo.lens.files import camera_paths
    from gapvision.shoot.heights import sight_of
    from gapvision.shoot.heights_text import sight_text

    try:
        look = look_at(path, options)
    except CardNotFound as error:
        return _slip(path) or _unfit(error), b""
    except MeasurementError as error:
        return _unfit(error), b""
    except MemoryError:
        raise
    except Exception as error:  # of one file among many, which anybody may have made
        text = f"{path.name} could not be looked at ({type(error).__name__}): photograph it again."
        return _unfit(MeasurementError("failed", text)), b""
    sight = sight_of(look)
    text = sight_text(sight, options.units)
    if look.traced.lens_source.startswith("assumed"):
        text += f" {LENS_LOST}{CHOOSE if camera_paths() else ''}."
    if look.traced.damage:
        text += f" {DAMAGED}"
    width, height = look.traced.facts.size
    details = _details(sight) | {"width_px": width, "height_px": height}
    return {"ok": True, "text": text, "details": details}, pickle.dumps(look)


def make_views(path: Path) -> bool:
    """In a worker: beside a photograph, itself upright, reduced, and without what its file tells."""
    import cv2
    import numpy as np

    from gapvision.photo.photo import load_photo

    try:
        bgr = load_photo(path).bgr
    except MeasurementError:
        return False
    if bgr.dtype != np.uint8:
        bgr = (bgr >> 8).astype(np.uint8)
    for name, side_px in SHOWN_PX.items():  # the smaller one from the larger
        scale = side_px / max(bgr.shape)
        if scale < 1:
            bgr = cv2.resize(bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        content = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()
        write_new(path.parent / name, content, "the photograph", overwrite=True)
    return True


def warm_up() -> None:
    """In a worker: load what a verdict needs, before the first photograph comes."""
    import numpy as np

    import gapvision.joint.gather  # noqa: F401
    import gapvision.shoot.heights_text  # noqa: F401
    import gapvision.spine  # noqa: F401
    from gapvision.trace.network import CLOSER, TRACER, read_planes

    for look in (TRACER, CLOSER):
        read_planes(np.zeros((6, *USUAL_BAND), np.float32), look)


def _unfit(error: MeasurementError) -> dict[str, Any]:
    return {"ok": False, "text": error.text, "details": {"code": error.code}}


def _slip(path: Path) -> dict[str, Any] | None:
    """A slip is photographed by itself: no fault, and no photograph of the joint."""
    from gapvision.shoot.roll import name_of, read_shot

    slip = read_shot(path).slip
    if slip is None:
        return None
    text = f"This is the slip of {name_of(slip)}: it is not measured."
    return {"ok": True, "text": text, "details": {"code": SLIP, "slip": name_of(slip)}}


def _details(sight: Sight) -> dict[str, Any]:
    details = {
        "cards": list(sight.cards),
        "unread": list(sight.unread),
        "height": sight.height,
        "off_mm": round(sight.off_mm),
        "over_mm": round(sight.over_mm),
        "distance_mm": round(sight.distance_mm),
        "nails_mm": {str(number): round(mm, 1) for number, mm in sight.nails_mm.items()},
    }
    if sight.ends is None:
        return details
    first, last = sight.ends
    return details | {
        "from_mm": round(first.station_mm), "from_card": first.near_card,
        "to_mm": round(last.station_mm), "to_card": last.near_card,
    }  # fmt: skip


def sight_read(details: Mapping[str, Any]) -> Sight | None:
    """The sight that a verdict's details tell of; None of a photograph that is of no use."""
    from gapvision.quantity import Place
    from gapvision.shoot.heights import Sight

    if "height" not in details:
        return None
    nails = {int(number): mm for number, mm in details.get("nails_mm", {}).items()}

    def place(end: str) -> Place:
        mm, card = details[f"{end}_mm"], details[f"{end}_card"]
        return Place(mm, card, mm - nails.get(card, 0.0))

    return Sight(
        tuple(details["cards"]), tuple(details["unread"]), details["height"], details["off_mm"],
        details["over_mm"], details["distance_mm"],
        (place("from"), place("to")) if "from_mm" in details else None, nails,
    )  # fmt: skip
