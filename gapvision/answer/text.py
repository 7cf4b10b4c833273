"""What a measurement says: a short text for people, and one dict for programs."""

from __future__ import annotations

from collections.abc import Iterable

from gapvision.answer.by_hand_text import by_hand_lines
from gapvision.answer.caution_text import caution_text
from gapvision.answer.chains import Chain, find_chains
from gapvision.answer.decision_text import follow_rows, notches_mm, ready_text
from gapvision.inputs.options import COVER_MM
from gapvision.joint.photo_results import PhotoResult, station_origin
from gapvision.lengths import SIXTEENTH_MM, format_length, round_up
from gapvision.measurement import Measurement
from gapvision.phrases import distance_text, place_text, quantity_text, wrap

SHOWN_MM = 0.1  # the last digit of a setting
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

_BOLD, _WARN, _PLAIN = "\x1b[1m", "\x1b[1;33m", "\x1b[0m"


def answer_text(measurement: Measurement, units: str = "mm", color: bool = False) -> str:
    """The answer for people, at most `phrases.WIDTH` columns wide.

    Parameters
    ----------
    measurement : Measurement
    units : {"mm", "in"}
        Millimetres, or inches and sixteenths.
    color : bool
        Whether the first line is marked by terminal colours.

    Returns
    -------
    str
        Lines without a newline at the end: what to set the points to, or why that is only a lower
        bound; whether to lower the log first; the numbers and their places; how the photographs
        hang together; cautions, of this joint and of the work; the line to crayon on the log; the
        reminder.
        Half-widths hold the truth 95 times in 100.
    """
    first = _first_line(measurement, units)
    if color:
        first = f"{_BOLD if measurement.status == 'measured' else _WARN}{first}{_PLAIN}"
    lines = [first]
    if measurement.status != "measured":
        set_to, cover = set_to_text(measurement, units), cover_text(measurement, units)
        lines += wrap(f"Set the points to at least {set_to} for a cover of {cover}.")
    lines += wrap(ready_text(measurement, units))
    lines += ["", *_number_lines(measurement, units), *by_hand_lines(measurement, units)]
    lines += [*_chain_lines(measurement), *_lens_lines(measurement.photos)]
    if measurement.cautions:
        lines += ["", _cautions_head(measurement)]
        for caution in measurement.cautions:
            lines += wrap(caution_text(caution, measurement.cards, units), "- ")
    lines += ["", *wrap(SAFETY)]
    lines += ["", *wrap(crayon_line(measurement, units), indent="  ")]
    lines += ["", *wrap(REMINDER)]
    return "\n".join(lines)


def _cautions_head(m: Measurement) -> str:
    """The heading, with where stations count from if a caution names any."""
    origin = station_origin(m.cards)
    if origin is None or all(c.from_mm is None for c in m.cautions):
        return "Cautions:"
    return f"Cautions (stations count right from the nail of card {origin.number}):"


def crayon_line(m: Measurement, units: str = "mm") -> str:
    """The one line that goes on the log itself; inches carry their mark, millimetres none."""

    def mark(text: str) -> str:
        return text.removesuffix(" mm") if units == "mm" else text.removesuffix(" in") + '"'

    place = m.widest_place
    if place.near_card is None or place.offset_mm is None:
        where = mark(distance_text(place.station_mm, units))
    elif (offset := distance_text(abs(place.offset_mm), units)) == distance_text(0.0, units):
        where = f"nail of {place.near_card}"
    else:
        where = f"{mark(offset)}{'R' if place.offset_mm > 0 else 'L'} of {place.near_card}"
    at_least = "" if m.status == "measured" else "AT LEAST "
    cover, widest = format_length(m.cover_mm, units), distance_text(m.widest_gap.value_mm, units)
    deeper = [
        f"{side} {mark(format_length(mm, units))}"
        for side, mm in zip("LR", notches_mm(m), strict=True)
        if mm
    ]
    lower = f" | or lower first: {', '.join(deeper)}" if deeper else ""
    return (
        f"CRAYON: set {at_least}{mark(set_to_text(m, units))} | cover {mark(cover)} | "
        f"widest {mark(widest)} @ {where}{lower}"
    )


def set_to_text(m: Measurement, units: str = "mm") -> str:
    """The setting, never shown smaller than it is: a scriber may have steps of half a millimetre."""
    return format_length(round_up(m.set_to_mm, units, SHOWN_MM if units == "mm" else None), units)


def cover_text(m: Measurement, units: str = "mm") -> str:
    """The cover as asked for; in inches with its mm where it is no whole sixteenth."""
    text = format_length(m.cover_mm, units)
    off = m.cover_mm - round(m.cover_mm / SIXTEENTH_MM) * SIXTEENTH_MM
    return text if units == "mm" or abs(off) < 0.25 else f"{text} ({m.cover_mm:g} mm)"


# --- lines for people -----------------------------------------------------------------------------


def _first_line(m: Measurement, units: str) -> str:
    if m.status == "measured":
        cover = cover_text(m, units)
        common = " (common practice)" if m.cover_mm == COVER_MM else ""
        return (
            f"MEASURED: set the points to {set_to_text(m, units)} for a cover of {cover}{common}."
        )
    return f"DOUBTFUL: {set_to_text(m, units)} is only a lower bound: {why_doubtful(m, units)}."


def why_doubtful(m: Measurement, units: str) -> str:
    """Why a setting is a lower bound only, short; the cautions tell it in full."""
    unseen_mm = sum(
        c.to_mm - c.from_mm
        for c in m.cautions
        if c.code == "not-seen" and c.from_mm is not None and c.to_mm is not None
    )
    misfit = any(c.code in ("misfit", "log-moved") for c in m.cautions)
    if any(c.code == "line-steps" for c in m.cautions):
        return "a traced line leaves its log"
    if any(c.code == "odd-size" for c in m.cautions):
        return "a log comes out as thick as hardly any is"
    if unseen_mm and misfit:
        return f"{distance_text(unseen_mm, units)} not seen, and a misfit"
    if unseen_mm:
        return f"{distance_text(unseen_mm, units)} of the joint not seen"
    if any(c.code == "reading-disagrees" for c in m.cautions):
        return "photographs and caliper disagree"
    if any(c.code == "trial-disagrees" for c in m.cautions):
        return "photographs and trial line disagree"
    return "photographs and fitted logs disagree" if misfit else "see the cautions"


def _number_lines(m: Measurement, units: str) -> list[str]:
    widest, needed, groove = (
        quantity_text(q, units) for q in (m.widest_gap, m.setting, m.narrowest_groove)
    )
    at = set_to_text(m, units)
    rows = (
        ("Widest gap", f"{widest}, {place_text(m.widest_place, units)}"),
        ("Setting needed", f"{needed}, decided {place_text(m.deciding_place, units)}"),
        ("Narrowest groove", f"{groove} when set to {at}, {place_text(m.narrowest_place, units)}"),
        *follow_rows(m, units),
    )
    lines = []
    for name, text in rows:
        lines += wrap(text, f"{name:18}")
    return [*lines, "The half-widths (±) hold the truth 95 times in 100."]


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
