"""The sentences of what is odd about what was given. A function a code, as `caution_text`."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from gapvision.advice.caution import Caution
from gapvision.answer.teller import Teller
from gapvision.joint.stated import EXCHANGED, GIRTH, RADIUS, Contradicted
from gapvision.phrases import cards_text, hours_text
from gapvision.trace.traced_photo import ANYWHERE, APART, REACHES


def _perhaps_several(say: Teller, c: Caution, groups: Sequence[str], cards: Sequence[int]) -> str:
    named = "; ".join(
        f"{letter}: {files}" for letter, files in zip("ABCDEFGH", groups, strict=False)
    )
    return (
        f"These may be two joints, {named}: the wood beside {cards_text(cards)} seems not the same. "
        "Look at the photographs; if they are two, measure each by itself (gapvision sort parts them)."
    )


def _diameter_contradicted(say: Teller, c: Caution, found: Contradicted) -> str:
    if found.meant == EXCHANGED:
        return (
            "The two logs' diameters seem exchanged: by the photographs the one stated for the upper log "
            "is the lower's. Exchange --upper-diameter and --lower-diameter."
        )
    likely = {
        GIRTH: f" Is that its girth? Then it is {say.about(found.stated_mm / math.pi)} thick.",
        RADIUS: f" Is that half of it? Then it is {say.about(2 * found.stated_mm)} thick.",
    }.get(found.meant, "")
    return (
        f"The {found.log} log was stated {say.about(found.stated_mm)} thick, and the photographs show "
        f"about {say.about(found.shown_mm)}.{likely} Correct --{found.log}-diameter."
    )


def _lens_contradicted(say: Teller, c: Caution, photo: str, longer: float, told_by: str) -> str:
    source = told_by.partition(":")[0]
    told = (
        f"its {source} tells" if source.startswith(("calibration", "file")) else "it tells itself"
    )
    percent = f"{abs(longer - 1):.0%}".replace("%", " %")
    cure = "make a new calibration of this lens" if "calibration" in told else "calibrate the phone"
    return (
        f"{photo} fits a focal length {percent} {'longer' if longer > 1 else 'shorter'} than {told}: it "
        "was cropped, zoomed or altered, or another lens took it. Use the phone's own files, by its main "
        f"lens without zoom, or {cure} (gapvision camera)."
    )


def _hours_apart(say: Teller, c: Caution, hours: float) -> str:
    return (
        f"{hours_text(hours).capitalize()} lie between the photographs: if a log or card moved "
        "meanwhile, or they are of two joints, the answer is wrong. Photograph all of a joint at once."
    )


def _reduced_copy(say: Teller, c: Caution, photo: str) -> str:
    return (
        f"{photo} is small and tells no camera, as a messenger's copy: the phone's own file is needed. "
        "Send it as a file, not as a picture."
    )


def _damaged(say: Teller, c: Caution, photo: str, where: str) -> str:
    what = {
        APART: f"The file {photo} is damaged away from the joint and its cards, which are whole.",
        REACHES: f"The file {photo} is damaged where the joint or a card lies.",
        ANYWHERE: f"The file {photo} is damaged, and where in the picture cannot be told.",
    }[where]
    return f"{what} Copy it from the phone again or retake it."


SENTENCES: dict[str, Callable[..., str]] = {
    "perhaps-several": _perhaps_several,
    "diameter-contradicted": _diameter_contradicted,
    "lens-contradicted": _lens_contradicted,
    "hours-apart": _hours_apart,
    "reduced-copy": _reduced_copy,
    "damaged": _damaged,
}
COUNTED = {"reduced-copy": "photograph", "damaged": "photograph", "lens-contradicted": "photograph"}
