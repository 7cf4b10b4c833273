"""Ways to enter a caliper reading or a trial line wrongly, and what was meant then."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from gapvision.lengths import INCH_MM, Diameter, Reading, Trial

ONE_FACE = "one-face"
WHOLE = 0.01  # a number as people type it: whole to this


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


def likely_unit(mm: float, usual: tuple[float, float]) -> str:
    """Of which unit a number of mm likely is that cannot be: `` (that many inches? write 3in)``.

    ``usual`` are the lengths, mm, that it can be; empty where no unit makes it one of them.

    Examples
    --------
    >>> likely_unit(3.0, (10.0, 300.0))
    ' (that many inches or centimetres? write 3in or 30mm)'
    """
    likely = [
        (name, text)
        for name, times, text in (
            ("metres", 1000.0, f"{1000 * mm:.3g}mm"),
            ("inches", INCH_MM, f"{mm:.3g}in"),
            ("centimetres", 10.0, f"{10 * mm:.3g}mm"),
        )
        if usual[0] <= mm * times <= usual[1]
    ]
    inches = mm / INCH_MM
    if usual[0] <= inches <= usual[1] and abs(inches - round(inches)) < WHOLE:
        likely.append(
            ("mm", f"{inches:.0f}mm")
        )  # typed with an inch mark, or where inches are meant
    if not likely:
        return ""
    names, texts = zip(*likely, strict=True)
    return f" (that many {' or '.join(names)}? write {' or '.join(texts)})"


def decimal_comma(diameter: Diameter, least_mm: float) -> str:
    """How ``290,5`` is written that was meant as 290.5; empty where it was not.

    A comma parts the left end from the right one; the second number is then no log's.
    """
    (left_at, left), (_, right), *_ = *diameter.points, (None, least_mm)
    if len(diameter.points) != 2 or left_at is not None or left < least_mm or right >= least_mm:
        return ""
    return f"{left:g}.{right:g}" if right == int(right) else ""
