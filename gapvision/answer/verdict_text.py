"""The verdict told: its first line, why or where it is decided, and what to crayon on the log."""

from __future__ import annotations

from gapvision.advice.caution import Caution
from gapvision.advice.lowering import Lowering
from gapvision.answer.caution_text import caution_text
from gapvision.answer.teller import Teller
from gapvision.inputs.options import COVER_MM
from gapvision.joint.by_hand import ByHand
from gapvision.lengths import SIXTEENTH_MM, format_length, round_up
from gapvision.measurement import Measurement
from gapvision.phrases import along_text, at_nail, distance_text, place_text, quantity_text
from gapvision.quantity import Place

SHOWN_MM = 0.1  # the last digit of a setting
READY = "READY TO SCRIBE"
HALF_WIDTHS = "(± holds 95 times in 100.)"


def first_line(m: Measurement, units: str = "mm") -> str:
    """What is read from across the yard: ``SET 43 mm``, or what to do instead of setting anything."""
    kind = m.verdict.kind
    if kind == "measure-again":
        return "MEASURE AGAIN"
    if kind == "lower-first":
        return f"LOWER FIRST: {notches_text(m.verdict.notches_mm, units)}, then measure again"
    return f"{'SET' if kind == 'set' else 'AT LEAST'} {set_to_text(m, units)}"


def notches_text(notches_mm: tuple[float, float], units: str) -> str:
    """Which notch by how much: ``right notch 11 mm``."""
    left, right = (format_length(mm, units) for mm in notches_mm)
    if notches_mm[0] == notches_mm[1]:
        return f"both notches {left}"
    if all(notches_mm):
        return f"left notch {left}, right {right}"
    return f"left notch {left}" if notches_mm[0] else f"right notch {right}"


def reason_text(m: Measurement, units: str = "mm") -> str:
    """Where the setting is decided and how well it is known; or why there is none."""
    v = m.verdict
    if v.kind == "measure-again":
        return (
            f"{contradiction_text(m, units)}. There is no setting until that is cleared.{_used(m)}"
        )
    if v.kind == "lower-first" and m.lowering is not None:  # by which it is that kind
        return _lower_first(m, m.lowering, units)
    lead = ""
    if v.as_far_as_seen:
        unseen = along_text(unseen_mm(m), units)
        lead = f"{unseen} of the joint not seen: it may need more there. "
    common = " (common practice)" if m.cover_mm == COVER_MM else ""
    return (
        f"{lead}Decided {place_text(v.decides, units)}: needs {quantity_text(m.setting, units)} for "
        f"a cover of {cover_text(m, units)}{common}. {HALF_WIDTHS}{_used(m)}"
    )


def _used(m: Measurement) -> str:
    """How many photographs the answer is from, where some are left out."""
    used = sum(p.used for p in m.photos)
    return f" From {used} of {len(m.photos)} photographs." if used < len(m.photos) else ""


def unseen_mm(m: Measurement) -> float:
    """How much of the joint long stretches that were not seen make up."""
    return sum(
        c.to_mm - c.from_mm
        for c in m.cautions
        if c.code == "not-seen" and c.from_mm is not None and c.to_mm is not None
    )


def crayon_line(m: Measurement, units: str = "mm") -> str:
    """The one line that goes on the log itself; inches carry their mark, millimetres none."""

    def mark(text: str) -> str:
        return text.removesuffix(" mm") if units == "mm" else text.removesuffix(" in") + '"'

    v = m.verdict
    if v.kind == "measure-again":
        return "CRAYON: MEASURE AGAIN | no setting yet"
    if v.kind == "lower-first":
        deeper = ", ".join(
            f"{side} {mark(format_length(mm, units))}"
            for side, mm in zip("LR", v.notches_mm, strict=True)
            if mm
        )
        return f"CRAYON: LOWER FIRST: {deeper} | then measure again"
    place = m.widest_place
    if place.near_card is None or place.offset_mm is None:
        where = mark(along_text(place.station_mm, units))
    elif at_nail(place, units):
        where = f"nail of {place.near_card}"
    else:
        side = "R" if place.offset_mm > 0 else "L"
        where = f"{mark(along_text(abs(place.offset_mm), units))}{side} of {place.near_card}"
    at_least = "" if v.kind == "set" else "AT LEAST "
    cover, widest = format_length(m.cover_mm, units), distance_text(m.widest_gap.value_mm, units)
    return (
        f"CRAYON: set {at_least}{mark(set_to_text(m, units))} | cover {mark(cover)} | "
        f"widest {mark(widest)} @ {where}"
    )


def set_to_text(m: Measurement, units: str = "mm") -> str:
    """The setting, never shown smaller than it is: a scriber may have steps of half a millimetre."""
    return format_length(round_up(m.set_to_mm, units, SHOWN_MM if units == "mm" else None), units)


def cover_text(m: Measurement, units: str = "mm") -> str:
    """The cover as asked for; in inches with its mm where it is no whole sixteenth."""
    text = format_length(m.cover_mm, units)
    off = m.cover_mm - round(m.cover_mm / SIXTEENTH_MM) * SIXTEENTH_MM
    return text if units == "mm" or abs(off) < 0.25 else f"{text} ({m.cover_mm:g} mm)"


def _lower_first(m: Measurement, x: Lowering, units: str) -> str:
    """Why the log is to come down before it is scribed."""
    seen = " As far as seen." if m.verdict.as_far_as_seen else ""
    notches = "" if x.notches.stated else " The notches are taken at the ends of what was measured."
    if x.why == "scriber":
        least = x.wanted.scriber_least_mm
        over = "" if least is None else f"{format_length(round_up(least, units), units)} "
        return f"Your scriber opens {over}too little as the log lies.{notches}{seen}"
    wanted = distance_text(x.wanted.widest_mm, units)
    by = f"wanted {wanted}" if x.wanted.stated else f"handbooks fit down to {wanted}"
    return (
        f"Too wide to scribe as it lies: {quantity_text(m.widest_gap, units)}, "
        f"{place_text(m.widest_place, units)}; {by}. {HALF_WIDTHS}{notches}{seen}{_used(m)}"
    )


# --- what contradicts, in a few words -------------------------------------------------------------


def contradiction_text(m: Measurement, units: str) -> str:
    """Why a number would not even be a bound; the caution's own sentence where its code is new."""
    code = m.verdict.because
    say = Teller(units, m.cards)
    caution = next((c for c in m.cautions if c.code == code), None)
    if code in ("reading-disagrees", "trial-disagrees"):
        hand = "caliper" if code == "reading-disagrees" else "trial line"
        place = _disagreeing(m, trial=code == "trial-disagrees")
        where = "" if place is None else f" {place_text(place, units)}"
        return f"Photographs and {hand} disagree{where}: measure again there"
    if code in _SHORT:
        return f"{_SHORT[code]}{_where(say, caution)}"
    return "The answer is doubtful" if caution is None else _own_words(caution, m, units)


_SHORT = {
    "misfit": "Photographs and fitted logs disagree",
    "hand-disagrees": "A line drawn by hand and the other photographs disagree",
    "line-steps": "A traced line leaves its log",
    "log-moved": "The photographs show different gaps",
    "lens-contradicted": "The photographs are not of the lens that they tell",
    "odd-size": "A log comes out as thick as hardly any is",
    "card-bent": "A card is bent so much that the answer cannot be trusted",
}


def _where(say: Teller, c: Caution | None) -> str:
    if c is None or c.from_mm is None or c.to_mm is None:
        return ""
    return f" {say.stretch(c.from_mm, c.to_mm)}"


def _own_words(c: Caution, m: Measurement, units: str) -> str:
    return caution_text(c, m.cards, units).rstrip(".")


def _disagreeing(m: Measurement, trial: bool) -> Place | None:
    """Where what was measured by hand is farthest off."""

    def off(b: ByHand) -> float:
        return abs(b.e_number)

    found = [b for b in m.by_hand if (b.width is not None) == trial]
    return max(found, key=off).place if found else None
