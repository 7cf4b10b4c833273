"""Ways to enter a caliper reading or a trial line wrongly, and what was meant then."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from gapvision.lengths import INCH_MM, Reading, Trial

ONE_FACE = "one-face"


@dataclass(frozen=True, slots=True)
class Mistake:
    """What an entry looks like, by a code of `phrases.MISTAKES`, and what was meant.

    ``meant`` is None where nobody can know: one face's width does not tell the other's, and a file that
    was read back tells none.
    """

    code: str
    meant: Reading | Trial | None = None


def mistakes_of(entry: Reading | Trial) -> Iterator[tuple[str, Reading | Trial]]:
    """Each mistake's code, and the entry as it would have to be read."""
    inches, mm = "inches-as-mm", "mm-as-inches"
    if isinstance(entry, Reading):
        yield inches, replace(entry, value_mm=entry.value_mm * INCH_MM)
        yield mm, replace(entry, value_mm=entry.value_mm / INCH_MM)
        return
    s, w = entry.setting_mm, entry.width_mm
    yield ONE_FACE, replace(entry, width_mm=2 * w)
    yield "exchanged", replace(entry, setting_mm=w, width_mm=s)
    for what, f in ((inches, INCH_MM), (mm, 1 / INCH_MM)):
        yield f"width-{what}", replace(entry, width_mm=w * f)
        yield f"setting-{what}", replace(entry, setting_mm=s * f)
        yield what, replace(entry, setting_mm=s * f, width_mm=w * f)
