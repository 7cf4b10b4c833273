"""An answer as most have it: measured, or doubtful for a stretch not seen."""

from dataclasses import replace

from helpers import joints
from helpers.joints import photo

from gapvision.advice.caution import told
from gapvision.joint.photo_results import Lack, PhotoResult
from gapvision.quantity import Place, Quantity

NOT_SEEN = told("not-seen", "Not seen from -105 to 95 mm.", -105.0, 95.0)
LONG = "One height only: the crowns' sideways offset cannot be seen, so that " + 12 * "more and "


def joint(status="measured", **changes):
    """A measured joint, 58 mm for 75; a doubtful one lacks -100 to 100 mm of 1000."""
    doubtful = status == "doubtful"
    dark = PhotoResult(
        "a/dark.jpg", "1" * 64, "outside", False, Lack("no-card", {"text": "Too dark."})
    )
    answer = joints.joint(
        (-100.0, 100.0) if doubtful else None,
        -500.0,
        500.0,
        status=status,
        widest_gap=Quantity(47.2, 0.55, 1.1),
        widest_place=Place(1210.0, 2, 310.0),
        setting=Quantity(56.4, 0.7, 1.4),
        set_to_mm=58.0,
        narrowest_groove=Quantity(80.3, 1.2, 2.4),
        photos=(dark if doubtful else photo("a/level.jpg"),),
        cautions=(NOT_SEEN,) * doubtful
        + (told("one-height", LONG), told("bridged", "Bridged.", -20.0, 20.0)),
    )
    return replace(answer, **changes)
