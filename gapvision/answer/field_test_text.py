"""What a field test says: one screen for one joint, a line each for several, and one dict for programs."""

from __future__ import annotations

import numpy as np

from gapvision.answer.by_hand_text import beyond_text
from gapvision.answer.check import Checked
from gapvision.answer.check_text import WHO
from gapvision.answer.field_test import (
    Errors,
    FieldRefusal,
    FieldScore,
    TrialChecked,
    errors_of,
    station_of,
)
from gapvision.answer.verdict_text import set_to_text
from gapvision.inputs.field_test import placed_mm
from gapvision.joint.agreement import K
from gapvision.lengths import Reading, format_length
from gapvision.measurement import Measurement
from gapvision.phrases import (
    distance_text,
    number_json,
    place_json,
    quantity_json,
    quantity_text,
    signed_text,
    wrap,
)
from gapvision.quantity import Quantity

FORMAT, VERSION = "gapvision-field-test-score", 1
MOST_ROWS = 16  # of readings on one screen; of more those that do not agree
HELD = {True: "HELD", False: "NOT HELD"}
LABEL = 19  # columns of what a line is about

Result = FieldScore | FieldRefusal


# --- for people -----------------------------------------------------------------------------------


def field_test_text(score: FieldScore, units: str = "mm") -> str:
    """One joint, the verdict in its first line."""
    lines = [*wrap(_verdict(score, units)), *wrap(_asked(score, units)), ""]
    lines += _reading_lines(score, units)
    lines += _summary_lines(score, units)
    if score.not_compared:
        at = ", ".join(distance_text(s, units) for s in score.not_compared)
        lines += wrap(f"{at}: no photograph shows the gap there", f"{'Not compared':{LABEL}}")
    lines.append("")
    for entry in score.readings:
        if entry.likelier and not score.held:
            place = distance_text(entry.place.station_mm, units)
            why = f"At {place}: likelier wrong is {WHO[entry.likelier]}; {entry.why}."
            lines += wrap(why)
    lines += wrap(
        "Off is photographs less by hand; /± is that over both ± together, and up to 1 agrees. ± "
        "holds 95 times in 100. Places count from the first card's nail."
    )
    return "\n".join(lines)


def field_tests_text(results: list[Result], units: str = "mm") -> str:
    """Several joints: a line each, and the totals."""
    names = [_name(r) for r in results]
    width = min(max(map(len, names)), 24)
    scores = [r for r in results if isinstance(r, FieldScore)]
    held = sum(s.held for s in scores)
    lines = [f"{held} of {len(scores)} joints held.", ""]
    for name, result in zip(names, results, strict=True):
        lead = f"{name:{width}}  "
        if isinstance(result, FieldRefusal):
            lines += wrap(f"not scored: {result.error.text}", lead)
            continue
        lines += wrap(f"{HELD[result.held]:8}  {_short(result, units)}", lead)
    lines.append("")
    for label, entries in _pools(scores).items():
        if errors := errors_of(entries):
            lines += wrap(_errors_text(errors, units), f"{label:{LABEL}}")
    return "\n".join(lines)


def _verdict(score: FieldScore, units: str) -> str:
    e = score.e_numbers
    n, off = len(e), int(np.sum(e > 1))
    text = f"{HELD[score.held]}: {n - off} of {n} by hand agree with the photographs"
    if off:
        worst = max(_entries(score), key=lambda x: abs(x.e_number))
        at = distance_text(station_of(worst), units)
        text += f", the worst at {at}{beyond_text(worst.e_number)}"
        text += ", no more than chance leaves of right ones" if score.held else ""
    return f"{text}."


def _asked(score: FieldScore, units: str) -> str:
    m = score.measurement
    used = sum(p.used for p in m.photos)
    return (
        f"{_name(score)}: {m.status} from {used} photograph{'s' * (used != 1)} of {len(m.photos)}, set to "
        f"{set_to_text(m, units)} for a cover of {format_length(m.cover_mm, units)}."
    )


def _reading_lines(score: FieldScore, units: str) -> list[str]:
    few = len(score.readings) <= MOST_ROWS
    shown = [c for c in score.readings if few or not c.agrees]
    if not shown:
        return []
    lines = [f"{'at':>9}  {'by hand':>18}  {'photographs':>18}  {'off':>6}  {'/±':>5}"]
    for c in shown:
        lines.append(
            f"{distance_text(c.place.station_mm, units):>9}  {quantity_text(c.read, units):>18}  "
            f"{quantity_text(c.photographs, units):>18}  {_signed(-c.difference_mm, units):>6}  "
            f"{abs(c.e_number):>5.2f}" + ("" if c.agrees else "  <")
        )
    return [*lines, ""]


def _summary_lines(score: FieldScore, units: str) -> list[str]:
    lines = []
    if score.errors:
        text = _errors_text(score.errors, units)
        if b := score.bias:
            both = "more" if b.significant else "no more"
            text += (
                f"; off on the whole is {both} than both leave open, ± {_round(K * b.u_mm, units)}"
            )
        lines += wrap(text, f"{'Gap along the log':{LABEL}}")
    found, w = score.form.widest, score.widest
    if found and w:
        text = (
            f"by hand {quantity_text(w.read, units)} at "
            f"{distance_text(placed_mm(found), units)}, photographs "
            f"{quantity_text(w.photographs, units)} at "
            f"{distance_text(w.place.station_mm, units)}: off by "
            f"{_signed(-w.difference_mm, units)} {units}, /± {abs(w.e_number):.2f}"
        )
        lines += wrap(text, f"{'Widest gap':{LABEL}}")
    for t in score.trials:
        text = (
            f"{format_length(round(t.width_mm, 1), units)} wide at "
            f"{distance_text(t.station_mm, units)} when set to {quantity_text(t.set_to, units)}, "
            f"photographs ask for {quantity_text(t.photographs, units)}: off by "
            f"{_signed(t.error_mm, units)} {units}, /± {abs(t.e_number):.2f}"
        )
        lines += wrap(text, f"{'Setting':{LABEL}}")
    return lines


def _short(score: FieldScore, units: str) -> str:
    """One joint in one line."""
    e = score.e_numbers
    parts = [f"{score.measurement.status}, {int(np.sum(e <= 1))} of {len(e)} agree"]
    if score.errors:
        parts.append(f"gap off by some {_round(score.errors.rms_mm, units)}")
    if score.widest:
        parts.append(f"widest {_signed(-score.widest.difference_mm, units)}")
    if score.trials:
        worst = max(score.trials, key=lambda t: abs(t.error_mm))
        parts.append(f"setting {_signed(worst.error_mm, units)}")
    return ", ".join(parts) + f" {units}"


def _errors_text(e: Errors, units: str) -> str:
    return (
        f"{e.agree} of {e.n} agree; off on the whole {_signed(e.bias_mm, units)}, each some "
        f"{_round(e.rms_mm, units)} (both ± let expect {_round(e.expected_mm, units)}), largest "
        f"{_signed(e.largest_mm, units)} {units} at {distance_text(e.at_mm, units)}"
    )


def _signed(mm: float, units: str) -> str:
    text = signed_text(mm, units)
    return text if float(text) else text.replace("-", "+")  # never -0.0


def _round(mm: float, units: str) -> str:
    return _signed(mm, units).lstrip("+")


def _name(result: Result) -> str:
    if isinstance(result, FieldRefusal):
        return result.name
    return result.form.folder.resolve().name


def _entries(score: FieldScore) -> tuple[Checked | TrialChecked, ...]:
    return (*score.readings, *([score.widest] if score.widest else ()), *score.trials)


def _pools(scores: list[FieldScore]) -> dict[str, tuple[Checked | TrialChecked, ...]]:
    """Everything compared in all joints, by kind."""
    return {
        "Gap along the logs": tuple(c for s in scores for c in s.readings),
        "Widest gaps": tuple(s.widest for s in scores if s.widest),
        "Settings": tuple(t for s in scores for t in s.trials),
    }


# --- for programs ---------------------------------------------------------------------------------


def field_test_json(results: list[Result]) -> dict:
    """All folders for programs, of version `VERSION`: lengths in mm, errors photographs less by hand."""
    scores = [r for r in results if isinstance(r, FieldScore)]
    pools = zip(("gap", "widest_gap", "setting"), _pools(scores).values(), strict=True)
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "refused" if not scores else "held" if _all_held(results) else "not-held",
        "joints": [_joint_json(r) for r in results],
        "totals": {
            "joints": len(results),
            "scored": len(scores),
            "held": sum(s.held for s in scores),
            "measured": sum(s.measurement.status == "measured" for s in scores),
        }
        | {name: _errors_json(errors_of(entries)) for name, entries in pools},
    }


def _all_held(results: list[Result]) -> bool:
    return all(r.held for r in results if isinstance(r, FieldScore))


def _joint_json(result: Result) -> dict:
    if isinstance(result, FieldRefusal):
        reason = {"code": result.error.code, "text": result.error.text}
        return {"folder": result.name, "status": "refused", "reason": reason}
    s = result
    return {
        "folder": _name(s),
        "status": "held" if s.held else "not-held",
        "told": s.form.told,
        "measurement": _measured_json(s.measurement),
        "readings": [_checked_json(c) for c in s.readings],
        "widest_gap": _widest_json(s.form.widest, s.widest),
        "trials": [_trial_json(t) for t in s.trials],
        "not_compared_mm": [number_json(x) for x in s.not_compared],
        "gap": _errors_json(s.errors),
        "common_bias": s.bias
        and {
            "value_mm": number_json(-s.bias.value_mm),
            "u_mm": number_json(s.bias.u_mm),
            "significant": s.bias.significant,
            "consistent": s.bias.consistent,
        },
    }


def _measured_json(m: Measurement) -> dict:
    return {
        "status": m.status,
        "photos": [{"file": p.name, "sha256": p.sha256, "used": p.used} for p in m.photos],
        "widest_gap": quantity_json(m.widest_gap) | place_json(m.widest_place),
        "setting": {"cover_mm": number_json(m.cover_mm)}
        | quantity_json(m.setting)
        | {"set_to_mm": number_json(m.set_to_mm)}
        | place_json(m.deciding_place),
        "cautions": [c.code for c in m.cautions],
    }


def _checked_json(c: Checked) -> dict:
    return (
        _beside_json(c.read, c.photographs, -c.difference_mm, c.e_number)
        | place_json(c.place)
        | {"likelier_wrong": c.likelier or None, "why": c.why or None}
    )


def _widest_json(found: Reading | None, beside: Checked | None) -> dict | None:
    if found is None or beside is None:
        return None
    return {"read_at_mm": number_json(found.station_mm)} | _checked_json(beside)


def _trial_json(t: TrialChecked) -> dict:
    return {
        "station_mm": number_json(t.station_mm),
        "width_mm": number_json(t.width_mm),
    } | _beside_json(t.set_to, t.photographs, t.error_mm, t.e_number)


def _beside_json(by_hand: Quantity, photos: Quantity, error_mm: float, e: float) -> dict:
    return {
        "value_mm": number_json(by_hand.value_mm),
        "u_mm": number_json(by_hand.u_mm),
        "photographs_mm": number_json(photos.value_mm),
        "photographs_u_mm": number_json(photos.u_mm),
        "error_mm": number_json(error_mm),
        "E_n": number_json(abs(e)),
        "agrees": bool(abs(e) <= 1),
    }


def _errors_json(e: Errors | None) -> dict | None:
    if e is None:
        return None
    return {
        "n": e.n,
        "agree": e.agree,
        "bias_mm": number_json(e.bias_mm),
        "rms_mm": number_json(e.rms_mm),
        "expected_rms_mm": number_json(e.expected_mm),
        "rms_over_u": number_json(e.rms_over_u),
        "largest_mm": number_json(e.largest_mm),
        "largest_at_mm": number_json(e.at_mm),
    }
