"""All that stands behind an answer: numbers, readings by hand, photographs, lenses, cautions."""

from __future__ import annotations

from collections.abc import Iterable

from gapvision.answer.by_hand_text import by_hand_lines
from gapvision.answer.caution_text import caution_text
from gapvision.answer.chains import Chain, find_chains
from gapvision.answer.corrected_text import corrected_lines
from gapvision.answer.decision_text import follow_rows, lowering_text
from gapvision.answer.verdict_text import set_to_text
from gapvision.joint.photo_results import PhotoResult
from gapvision.measurement import Measurement
from gapvision.phrases import place_text, quantity_text, wrap

CHAIN_LINES = 2  # a longer chain is told by its ends

REMINDER = (
    "Set the points on the setting sheet, level the bubble at this setting against a plumb line, "
    "and try the points again after the last line."
)
SAFETY = (
    "Dog or chock both ends before anyone leans, reaches, nails or photographs. No hand in the "
    "gap. Make a trial line before cutting. This is advice to a builder: local codes and licensed "
    "practice come first."
)
NO_SETTING = {
    "measure-again": "These numbers contradict themselves: do not cut to them.",
    "lower-first": "These are of the log as it lies: do not cut to them, it comes down first.",
    "at-least": "As far as seen: elsewhere the joint may need more.",
    "set": "",
}


def evidence_text(m: Measurement, units: str = "mm") -> str:
    """What stands behind the answer, at most `phrases.WIDTH` columns wide.

    Parameters
    ----------
    m : Measurement
    units : {"mm", "in"}

    Returns
    -------
    str
        Lines without a newline at the end: the numbers and their places, what was measured by hand,
        how the photographs hang together, the lenses, all cautions, what to mind while scribing.
    """
    lines = wrap(NO_SETTING[m.verdict.kind])
    lines += [*_number_lines(m, units), *by_hand_lines(m, units), *corrected_lines(m, units)]
    lines += [*_chain_lines(m), *_lens_lines(m.photos)]
    if m.cautions:
        lines += ["", "Cautions (left and right as seen from outside):"]
        for caution in m.cautions:
            lines += wrap(caution_text(caution, m.cards, units), "- ")
    return "\n".join([*lines, "", *wrap(SAFETY), *wrap(REMINDER)])


def _number_lines(m: Measurement, units: str) -> list[str]:
    widest, needed, groove = (
        quantity_text(q, units) for q in (m.widest_gap, m.setting, m.narrowest_groove)
    )
    at = set_to_text(m, units)
    lowering = lowering_text(m, units)
    rows = (
        ("Widest gap", f"{widest}, {place_text(m.widest_place, units)}"),
        ("Setting needed", f"{needed}, decided {place_text(m.deciding_place, units)}"),
        ("Narrowest groove", f"{groove} when set to {at}, {place_text(m.narrowest_place, units)}"),
        *((("Lowering", lowering),) if lowering else ()),
        *follow_rows(m, units),
    )
    lines = []
    for name, text in rows:
        lines += wrap(text, f"{name:18}")
    return lines


def _chain_lines(m: Measurement) -> list[str]:
    """How several photographs hang together, a chain a side; the cautions say which were left out."""
    chains = find_chains(m.photos)
    if sum(len(chain.photos) for chain in chains) < 2:
        return []
    lines = []
    for chain in chains:
        name = "Chain" if len(chains) == 1 else f"Chain, {chain.side}"
        lines += _chain_text(f"{name:18}", chain)
    return lines


def _chain_text(lead: str, chain: Chain) -> list[str]:
    """A chain from end to end in `CHAIN_LINES`, without its middle where that is too long."""
    names = [photo.name for photo in chain.photos]
    for left_out in range(max(len(names) - 2, 1)):
        kept = names[:]
        if left_out:
            kept[-1 - left_out : -1] = [f"{left_out} more"]
        lines = wrap(" - ".join(kept) + _shared(chain.cards), lead)
        if len(lines) <= CHAIN_LINES:
            break
    return lines


def _shared(cards: tuple[int, ...]) -> str:
    """The cards that tie a chain; runs of them by their ends."""
    runs: list[list[int]] = []
    for number in cards:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [f"{r[0]} to {r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs]
    return f", sharing card{'s' * (len(cards) > 1)} {', '.join(words)}" if cards else ""


def _lens_lines(photos: Iterable[PhotoResult]) -> list[str]:
    """Which calibration was taken, and which was not and why; nothing where there is none."""
    lines = []
    for source in sorted({p.exposure.lens for p in photos if p.used}):
        prior, _, why_not = source.partition(": ")
        if why_not:
            lines += wrap(f"focal length as {prior} has it; {why_not}", f"{'Lens':18}")
        elif prior.startswith(("calibration ", "file ")):
            lines += wrap(prior, f"{'Lens':18}")
    return lines
