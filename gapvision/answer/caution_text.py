"""The sentence of a caution: what was found and what to do about it. A function a code.

Each function's parameters after the caution are the facts that `advice` put into it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypedDict, Unpack

from gapvision.advice.caution import Caution
from gapvision.answer import blindspot_text, card_caution_text, given_text, limit_text
from gapvision.answer.lack_text import lack_text
from gapvision.answer.teller import Teller
from gapvision.joint.by_hand import ByHand, LineWidth
from gapvision.joint.photo_results import CardResult, PhotoResult
from gapvision.lengths import format_length
from gapvision.phrases import cure_text, mistake_text


def caution_text(caution: Caution, cards: tuple[CardResult, ...], units: str) -> str:
    """The sentence of a caution.

    Parameters
    ----------
    caution : Caution
    cards : of the measured joint.
    units : {"mm", "in"}
        A caution that was read back from a file keeps the sentence, and so the units, of then.
    """
    if "text" in caution.facts:
        return caution.facts["text"]
    text = _SENTENCES[caution.code](Teller(units, cards), caution, **caution.facts)
    if not caution.more:
        return text
    what = _COUNTED.get(caution.code, "stretch")
    many = "" if caution.more == 1 else "es" if what.endswith("ch") else "s"
    return f"{text} And {caution.more} more {what}{many}."


def _left_out(say: Teller, c: Caution, photo: PhotoResult) -> str:
    return lack_text(photo, say.units)


# --- not seen, and ends ---------------------------------------------------------------------------


def _not_seen(say: Teller, c: Caution, hidden: bool = False, stretches: int = 1) -> str:
    ends = say.stretch(*c.stretch_mm)
    if stretches > 1:
        return (
            f"Not seen either are {stretches} more stretches {ends}: photograph the joint again, "
            "level with the gap and with a plain cloth behind it."
        )
    cure = (
        "the caliper here: something in front hides it, as a crossing log does."
        if hidden
        else "the caliper here, or photograph this stretch level with the gap."
    )
    return f"Not seen {ends}: the joint may need more there. Put {cure}"


def _crossing(say: Teller, c: Caution, end: str = "", marked: bool = False) -> str:
    if marked:
        return (
            f"What was measured ends on the {end}, {say.place(c.stretch_mm[0])}, where it was marked by hand "
            f"as not the gap: state where the notch is by {_option(end)}, and put the caliper up to it."
        )
    if end:
        return (
            f"What was measured ends on the {end}, {say.place(c.stretch_mm[0])}, where something in front, "
            "as a crossing log, hides the joint: put the caliper beyond, and state where the notch is "
            f"by {_option(end)}."
        )
    return (
        f"At the end, {say.stretch(*c.stretch_mm)}, something in front hides the joint, as a "
        "crossing log does: put the caliper here."
    )


def _option(end: str) -> str:
    return "--from" if end == "left" else "--to"


def _notch_not_confirmed(say: Teller, c: Caution, end: str) -> str:
    return (
        f"What was measured ends on the {end}, {say.place(c.stretch_mm[0])}, where the view ends; it is not "
        f"known to be the notch: all between the notches counts. State {_option(end)}, and put the "
        "caliper beyond."
    )


def _bridged(say: Teller, c: Caution) -> str:
    return (
        f"The gap is bridged, not seen, {say.stretch(*c.stretch_mm)}: look whether something "
        "special is there, and put the caliper there if so."
    )


# --- what contradicts -----------------------------------------------------------------------------


def _misfit(say: Teller, c: Caution, photo: str = "", miss_px: float = 0.0) -> str:
    if not photo:
        return (
            "The photographs contradict each other by a centimetre or more, and it cannot be told "
            "which is wrong: a shadow or something behind the gap is taken for a log in one of them, "
            "or a log moved. Look at the picture of each by itself, and photograph again."
        )
    return (
        f"{photo}: its lines miss the fitted logs by {miss_px:.0f} px "
        f"{say.stretch(*c.stretch_mm)}; a card or log moved, or the tracing went wrong: look at "
        "the picture, photograph that stretch again."
    )


def _hand_disagrees(say: Teller, c: Caution, photo: str, log: str, off_mm: float) -> str:
    return (
        f"{photo}: the {log} log's line drawn by hand lies {say.about(abs(off_mm))} off what the other "
        f"photographs show {say.stretch(*c.stretch_mm)}: look at it in each of them, and draw "
        "again where it leaves its log."
    )


def _line_steps(say: Teller, c: Caution, photo: str, log: str, step_mm: float) -> str:
    return (
        f"{photo}: the {log} log's line steps by {say.about(step_mm)}, {say.place(c.stretch_mm[0])}, as "
        "hardly any log does: a shadow, or what is behind the gap, is taken for the log on one side. "
        "Look at the picture, hang a cloth behind the gap, photograph again in other light, or put "
        "the caliper there."
    )


def _log_moved(say: Teller, c: Caution, photo: str, wider_mm: float, or_another: bool) -> str:
    wider = "wider" if wider_mm > 0 else "narrower"
    other = ", or another of them is as wrong" if or_another else ""
    return (
        f"{photo} shows the gap {say.fine(abs(wider_mm))} {wider} than the other photographs allow, "
        f"{say.stretch(*c.stretch_mm)}{other}: the upper log moved between "
        "them, or a line in the picture leaves its log. Look at the picture, make the log fast, "
        "photograph that stretch from all heights again."
    )


def _odd_size(say: Teller, c: Caution, log: str, thick_mm: float) -> str:
    return (
        f"The photographs alone make the {log} log {say.about(thick_mm)} thick, as hardly any log "
        f"is: tape it at both ends and state it by --{log}-diameter."
    )


def _wall_disagrees(say: Teller, c: Caution, stated_mm: float, found_mm: float) -> str:
    return (
        f"Through the wall {say.about(stated_mm)} were stated; photographs and diameters still make "
        f"it {say.about(found_mm)} from the outside to the inside cards: measure it again, and the "
        "logs' diameters."
    )


def _reading_disagrees(say: Teller, c: Caution, entry: ByHand) -> str:
    off = entry.difference_mm
    again = "read again there, and look in the picture whether both lines lie on their logs."
    return (
        f"The caliper reading {say.fine(entry.setting_mm)} {say.place(entry.place.station_mm)} is "
        f"{say.fine(abs(off))} {'wider' if off > 0 else 'narrower'} than the photographs show: "
        f"{_mistaken(say, entry) or again}"
    )


def _trial_disagrees(say: Teller, c: Caution, entry: ByHand, width: LineWidth) -> str:
    again = (
        "try the points, measure it again from line to line, straight across, and look in the "
        "picture whether both lines lie on their logs."
    )
    return (
        f"The trial line set to {say.fine(entry.setting_mm)}, {say.place(entry.place.station_mm)}, "
        f"is {say.about(width.value_mm)} wide where the photographs expect "
        f"{say.about(width.predicted_mm)}: {_mistaken(say, entry) or again}"
    )


def _mistaken(say: Teller, entry: ByHand) -> str:
    """What an entry looks like and what to do; empty where nothing fits."""
    if entry.mistake is None:
        return ""
    looks, cure = mistake_text(entry.mistake.code), cure_text(entry.mistake.meant, say.units)
    return f"it looks like {looks}, and is left out: {cure}."


# --- what was not photographed, stated or reached -------------------------------------------------


class _Heights(TypedDict):
    """What is known where all heights are alike, and what others would bring."""

    height_mm: float
    u95_mm: float
    gain_u95_mm: float | None
    long_log: bool


def _one_height(say: Teller, c: Caution, photos: int, **facts: Unpack[_Heights]) -> str:
    lead = f"{photos} photographs, but all from one height" if photos > 1 else "One height only"
    return _two_more(say, lead, **facts)


def _heights_too_alike(
    say: Teller, c: Caution, photos: int, apart_mm: float, **facts: Unpack[_Heights]
) -> str:
    lead = (
        f"{photos} photographs, but from nearly one height, {say.height(apart_mm)} apart where "
        f"{say.height(2 * facts['height_mm'])} is good"
    )
    return _two_more(say, lead, **facts)


def _two_more(
    say: Teller,
    lead: str,
    height_mm: float,
    u95_mm: float,
    gain_u95_mm: float | None,
    long_log: bool,
) -> str:
    gain = "check it"
    if gain_u95_mm is not None:
        gain = f"bring it to about ± {format_length(gain_u95_mm, say.units)} on usual logs"
    more = "Photographs, where it could be decided," if long_log else "Two more photographs"
    return (
        f"{lead}: the setting is known to ± {say.fine(u95_mm)}, for how far the upper log's underside "
        f"lies in or out over the lower log's top cannot be seen. {more} from {say.height(height_mm)} "
        f"above and below the gap {gain}."
    )


def _no_diameter(say: Teller, c: Caution, logs: list[str]) -> str:
    return (
        f"No diameter stated for the {' and the '.join(logs)} log; tape both ends and state them: "
        "the groove's width is known better then."
    )


def _scriber_too_small(say: Teller, c: Caution, largest_mm: float, over_mm: float) -> str:
    largest, over = (format_length(mm, say.units) for mm in (largest_mm, over_mm))
    return (
        f"The setting is wider than your scriber opens ({largest}): take a larger scriber, or "
        f"deepen the rough notches until the upper log lies at least {over} lower, and measure "
        "again."
    )


_SENTENCES: dict[str, Callable[..., str]] = {
    "left-out": _left_out,
    "not-seen": _not_seen,
    "crossing": _crossing,
    "notch-not-confirmed": _notch_not_confirmed,
    "bridged": _bridged,
    "misfit": _misfit,
    "hand-disagrees": _hand_disagrees,
    "line-steps": _line_steps,
    "log-moved": _log_moved,
    "odd-size": _odd_size,
    "wall-disagrees": _wall_disagrees,
    "reading-disagrees": _reading_disagrees,
    "trial-disagrees": _trial_disagrees,
    "one-height": _one_height,
    "heights-too-alike": _heights_too_alike,
    "no-diameter": _no_diameter,
    "scriber-too-small": _scriber_too_small,
    **card_caution_text.SENTENCES,
    **given_text.SENTENCES,
    **blindspot_text.SENTENCES,
    **limit_text.SENTENCES,
}
_COUNTED = {
    "hand-disagrees": "line",
    "line-steps": "line",
    **card_caution_text.COUNTED,
    **given_text.COUNTED,
}  # else stretches
