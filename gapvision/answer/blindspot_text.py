"""The sentences of what photographs cannot tell at a stretch, as the photograph or reading to add.

A function a code, as `caution_text`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gapvision.advice.caution import Caution
from gapvision.answer.teller import Teller
from gapvision.phrases import listed


def _could_decide(
    say: Teller, c: Caution, height_mm: float, stand_mm: float | None = None, in_steps: bool = False
) -> str:
    ends = say.stretch(*c.stretch_mm)
    heights = f"from {say.height(height_mm)} above and below the gap"
    if stand_mm is None:
        return (
            f"The setting could be decided nearly anywhere {ends}: photograph all of it {heights}."
        )
    steps = " and in steps to both sides" if in_steps else ""
    return (
        f"The setting could be decided {ends}: photograph this stretch {heights}, standing "
        f"{say.place(stand_mm)}{steps}."
    )


def _near_crown(
    say: Teller,
    c: Caution,
    logs: Sequence[str],
    within_mm: float,
    half_cover_mm: float,
    height_mm: float,
    untaped: bool,
) -> str:
    tape = ", and tape the logs' diameters" if untaped else ""
    return (
        f"The photographs see the {' and the '.join(logs)} log only within {say.about(within_mm)} of "
        f"the crown {say.stretch(*c.stretch_mm)}, and half the cover is "
        f"{say.about(half_cover_mm)}: the groove's edges are guessed. Photograph that stretch from "
        f"{say.height(height_mm)} above and below the gap{tape}."
    )


def _wide(say: Teller, c: Caution, u95_mm: float, height_mm: float) -> str:
    return (
        f"The setting is known only to ± {say.fine(u95_mm)}, and is decided "
        f"{say.stretch(*c.stretch_mm)}: photograph that stretch once more, level "
        f"and from {say.height(height_mm)} above and below the gap, or put the caliper there and "
        "state it by --reading."
    )


def _one_photo(say: Teller, c: Caution, photo: str) -> str:
    return (
        f"Only {photo} shows the joint {say.stretch(*c.stretch_mm)}, so that it is not known "
        "how far the upper log lies in or out there: photograph that stretch from the other heights "
        "too."
    )


def _gap_shut(say: Teller, c: Caution, photos: Sequence[str]) -> str:
    return (
        f"The gap is shut or too narrow {say.stretch(*c.stretch_mm)} in "
        f"{listed(list(photos) or ['the steep photographs'])}, and only the level view reads it: "
        "put the caliper there and state it by --reading."
    )


def _hollow(say: Teller, c: Caution, log: str) -> str:
    return (
        f"The {log} log is flatter than its diameter {say.stretch(*c.stretch_mm)}: a hollow may "
        "lie under the flat, where no photograph sees into it. Lay a straightedge across the crown "
        "there, and put the caliper into the hollow."
    )


SENTENCES: dict[str, Callable[..., str]] = {
    "could-decide": _could_decide,
    "near-crown": _near_crown,
    "wide": _wide,
    "one-photo": _one_photo,
    "gap-shut": _gap_shut,
    "hollow": _hollow,
}
