"""What a check of caliper readings says: a short text for people, and one dict for programs."""

from __future__ import annotations

from gapvision.answer.by_hand_text import beyond_text
from gapvision.answer.check import EITHER, PHOTOGRAPHS, READING, Check, Checked
from gapvision.errors import MeasurementError
from gapvision.joint.agreement import Bias, K
from gapvision.lengths import format_length
from gapvision.phrases import (
    number_json,
    place_json,
    place_text,
    quantity_text,
    where_text,
    wrap,
)
from gapvision.quantity import Quantity

FORMAT, VERSION = "gapvision-check", 1
SHARP = 0.5  # of the photographs' U; a rougher reading cannot prove that U
WHO = {READING: "the reading", PHOTOGRAPHS: "the photographs", EITHER: "either"}

_BOLD, _WARN, _PLAIN = "\x1b[1m", "\x1b[1;33m", "\x1b[0m"


def check_text(check: Check, units: str = "mm", color: bool = False) -> str:
    """The answer for people, at most `phrases.WIDTH` columns wide: the verdict in its first line."""
    first = wrap(_verdict(check, units))
    if color:
        mark = _BOLD if check.agrees else _WARN
        first = [f"{mark}{line}{_PLAIN}" for line in first]
    lines = [*first, ""]
    told = set()
    for c in check.readings:
        state = "agrees" if c.agrees else "DISAGREES"
        beyond = beyond_text(c.e_number)
        lines += wrap(f"{place_text(c.place, units)}: {state}{beyond}", "- ")
        lines += wrap(_comparison(c, units), "  ")
        if c.likelier:
            why = "as above" if c.why in told else c.why
            lines += wrap(f"Likelier wrong: {WHO[c.likelier]}; {why}.", "  ")
            told.add(c.why)
    lines.append("")
    if check.bias is not None:
        lines += [*wrap(_bias(check.bias, units)), ""]
    for note in _notes(check):
        lines += wrap(note)
    return "\n".join(lines)


def check_json(check: Check) -> dict:
    """The answer for programs, of version `VERSION`: lengths in mm."""
    b = check.bias
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "agrees" if check.agrees else "disagrees",
        "measurement": {"file": check.file, "status": check.status},
        "independent": check.entered == 0,
        "readings": [
            {"value_mm": number_json(c.read.value_mm), "u_mm": number_json(c.read.u_mm)}
            | place_json(c.place)
            | {
                "photographs_mm": number_json(c.photographs.value_mm),
                "photographs_u_mm": number_json(c.photographs.u_mm),
                "difference_mm": number_json(c.difference_mm),
                "E_n": number_json(c.e_number),
                "agrees": c.agrees,
                "likelier_wrong": c.likelier or None,
                "why": c.why or None,
            }
            for c in check.readings
        ],
        "bias": b
        and {
            "value_mm": number_json(b.value_mm),
            "u_mm": number_json(b.u_mm),
            "significant": b.significant,
            "chi_square": number_json(b.chi_square),
            "chance": number_json(b.chance),
            "consistent": b.consistent,
        },
    }


def refusal_json(error: MeasurementError) -> dict:
    """What programs get where nothing could be compared."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "refused",
        "reason": {"code": error.code, "text": error.text},
    }


def _verdict(check: Check, units: str) -> str:
    off = [where_text(c.place, units) for c in check.readings if not c.agrees]
    n = len(check.readings)
    if not off:
        what = "reading" if n == 1 else f"all {n} readings"
        return f"AGREES: {what} and photographs differ by no more than both leave open."
    again = "; ".join(off)
    at = f"all {n}" if len(off) == n else f"{len(off)} of {n}"
    many = "" if n == 1 else f" at {at} places"
    return f"DISAGREES{many}: measure again {again}."


def _comparison(c: Checked, units: str) -> str:
    side = "wider" if c.difference_mm > 0 else "narrower"
    return (
        f"read {quantity_text(c.read, units)}, photographs {quantity_text(c.photographs, units)}: "
        f"{format_length(round(abs(c.difference_mm), 1), units)} {side}"
    )


def _bias(b: Bias, units: str) -> str:
    size = quantity_text(Quantity(abs(b.value_mm), b.u_mm, K * b.u_mm), units)
    side = "wider" if b.value_mm > 0 else "narrower"
    text = f"On the whole the readings are {size} {side} than the photographs: "
    if not b.consistent:
        return text + (
            "but they scatter more than they should, so that something is wrong at one place. See "
            "which reading stands apart."
        )
    if not b.significant:
        return text + "no more than both leave open."
    return text + (
        "more than both leave open. What is alike everywhere has one cause: try the caliper on a known "
        "length, and measure the check bar of the print."
    )


def _notes(check: Check) -> list[str]:
    notes = []
    if check.entered:
        what = "reading or trial line is" if check.entered == 1 else "readings and trial lines are"
        notes.append(
            f"Not an independent check: {check.entered} caliper {what} in this measurement already. "
            "Measure without --reading and --trial, and check that."
        )
    elif check.agrees:
        notes.append("To let the readings narrow the answer, give them to gapvision measure.")
    if check.status != "measured":
        notes.append("The measurement itself is doubtful: see its cautions.")
    if check.agrees and max(c.read.u_mm / c.photographs.u_mm for c in check.readings) > SHARP:
        notes.append("So rough a reading finds gross errors; it does not prove the photographs' ±.")
    notes.append(
        "± holds 95 times in 100; what both ± together leave open agrees. Of 20 right readings one "
        "does not."
    )
    return notes
