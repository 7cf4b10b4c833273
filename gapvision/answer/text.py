"""What a measurement says to people: the first screen. All else is in `evidence_text`."""

from __future__ import annotations

from gapvision.answer.corrected_text import TITLE, corrected_text
from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import READY, crayon_line, first_line, reason_text
from gapvision.measurement import Measurement
from gapvision.phrases import wrap

SAFE = (
    "Chock both ends. No hand in the gap. Make a trial line before you cut. Local codes and "
    "licensed practice come first."
)
MORE = "All else: --details."

_BOLD, _WARN, _PLAIN = "\x1b[1m", "\x1b[1;33m", "\x1b[0m"


def answer_text(
    measurement: Measurement, units: str = "mm", color: bool = False, more: str = MORE
) -> str:
    """The answer for people, at most `phrases.WIDTH` columns wide.

    Parameters
    ----------
    measurement : Measurement
    units : {"mm", "in"}
        Millimetres, or inches and sixteenths.
    color : bool
        Whether the first line is marked by terminal colours.
    more : str
        Where all else is to be found; empty where it follows.

    Returns
    -------
    str
        Lines without a newline at the end: the verdict alone; where it is decided, or why there is no
        setting; the line to crayon on the log; what was corrected by hand; whether it is ready to
        scribe; at most three things to do; the reminder of safety.
    """
    m, verdict = measurement, measurement.verdict
    first = first_line(m, units)
    if color:
        first = f"{_BOLD if verdict.kind == 'set' else _WARN}{first}{_PLAIN}"
    lines = [first, *wrap(reason_text(m, units)), *wrap(crayon_line(m, units), indent="  ")]
    if corrected := corrected_text(m, units):
        lines += wrap(f"{TITLE}: {corrected}.")
    if verdict.ready:
        lines.append(f"{READY}.{' Better first:' if verdict.to_do else ''}")
    lines.append("")
    for number, step in enumerate(verdict.to_do, 1):
        lines += wrap(to_do_text(step, m.cards, units), f"{number}. ")
    if verdict.to_do:
        lines.append("")
    return "\n".join([*lines, *wrap(f"{SAFE} {more}".rstrip())])
