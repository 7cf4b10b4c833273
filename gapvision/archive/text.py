"""What the archive says to people: lists, one record, checks, comparisons. 80 columns at most."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from gapvision.archive.originals import ASIDE, Removal
from gapvision.archive.outcome import Caliper, OpenPlace, Outcome, TrialLine, together
from gapvision.archive.query import Entry, Record
from gapvision.lengths import format_length, round_up

if TYPE_CHECKING:
    from gapvision.archive.verify import Repaired, Verified

_WIDTHS = {"No": 6, "building": 14, "wall": 9, "log": 8, "rev": 3, "status": 8, "kept": 10}
SHOWN_NAMES = 20
LOWER_BOUND = "DOUBTFUL: not seen whole, or to be measured again. archive show tells which."


def list_text(entries: Iterable[Entry], units: str, more: bool) -> str:
    """Records as a table, a line each."""
    w = _WIDTHS
    lines = [
        f"{'No':>{w['No']}} {'building':{w['building']}} {'wall':{w['wall']}} {'log':{w['log']}} "
        f"rev {'status':{w['status']}}  set {units}  gap {units} kept"
    ]
    doubtful = False
    for e in entries:
        names = " ".join(_fit(name, w[key]) for key, name in asdict(e.joint).items())
        status = "DOUBTFUL" if e.status == "doubtful" else e.status
        doubtful |= e.status == "doubtful"
        set_to, gap = (
            bare(set_to_text(e.set_to_mm, units)),
            bare(format_length(e.widest_gap_mm, units)),
        )
        lines.append(
            f"{e.record:>{w['No']}} {names} {e.revision:>3} {status:8} {set_to:>7} {gap:>7} "
            f"{e.kept_at[:10]}"
        )
    if len(lines) == 1:
        return "No record is as asked for."
    if doubtful:
        lines += ["", LOWER_BOUND]
    if more:
        lines += ["", f"The latest {len(lines) - 1 - 2 * doubtful}; there are more: --limit."]
    return "\n".join(lines)


def record_text(
    record: Record, outcomes: tuple[Outcome, ...], others: list[Entry], units: str
) -> str:
    """A record whole: the joint, the answer as it was given, the photographs, what was told later."""
    from gapvision.answer.as_json import measurement_of
    from gapvision.answer.evidence_text import evidence_text
    from gapvision.answer.text import answer_text
    from gapvision.phrases import wrap

    e = record.entry
    lines = wrap(f"Record {e.record}: {e.joint}, revision {e.revision}.")
    again = "" if e.remeasured is None else f", re-measured from record {e.remeasured}"
    lines += wrap(f"Kept {when(e.kept_at)} by gapvision {e.program}{again}.")
    if others:
        told = ", ".join(f"{o.record} ({set_to_text(o.set_to_mm, units)})" for o in others)
        lines += wrap(f"Other records of this joint: {told}.")
    m = measurement_of(record.result)
    lines += ["", answer_text(m, units, more=""), "", evidence_text(m, units), "", "Photographs:"]
    facts = {p["sha256"]: p for p in record.result["photos"]}
    for file in record.photographs:
        fact = facts.get(file.sha256, {})
        camera = fact.get("camera") or {}
        parts = [f"{file.bytes / 1e6:.1f} MB", *(["left out"] if not file.used else [])]
        parts += [" ".join(filter(None, (camera.get("make"), camera.get("model"))))]
        parts += [f"taken {fact['taken'].replace('T', ' ')}"] if fact.get("taken") else []
        lines += wrap(f"{file.name}: {', '.join(filter(None, parts))}", "  ", "    ")
        lines.append(f"    {file.sha256}")
    if (outcome := together(outcomes)) is not None:
        lines += ["", "What was told later:", *outcome_lines(outcome, units)]
    return "\n".join(lines)


def outcome_lines(o: Outcome, units: str) -> list[str]:
    """What was told of a joint, a line a fact."""
    from gapvision.phrases import wrap

    return [line for name, text in outcome_rows(o, units) for line in wrap(text, f"  {name:18}")]


def outcome_rows(o: Outcome, units: str) -> list[tuple[str, str]]:
    """What was told of a joint, each fact with its name."""
    from gapvision.phrases import distance_text

    rows = [("Date", o.date)]
    for name, mm in (
        ("Setting used", o.setting_used_mm),
        ("Narrowest cover", o.narrowest_cover_mm),
    ):
        rows += [] if mm is None else [(name, format_length(mm, units))]

    def read(v: Caliper | TrialLine) -> str:
        return f"{format_length(v.value_mm, units)} at {distance_text(v.station_mm, units)}"

    rows += [("Caliper", read(c)) for c in o.of_kind(Caliper)]
    for line in o.of_kind(TrialLine):
        set_to = format_length(line.setting_mm, units)
        rows.append(("Trial line", f"{read(line)}, set to {set_to}"))
    for place in o.of_kind(OpenPlace):
        ends = (distance_text(mm, units) for mm in (place.station_mm, place.to_mm))
        rows.append(("Open", f"from {' to '.join(ends)}"))
    return rows + ([("Remarks", o.remarks)] if o.remarks else [])


def changes_text(old: Record, new: dict, program: str, units: str) -> str:
    """A stored answer beside the present program's."""
    from gapvision.answer.as_json import measurement_of
    from gapvision.phrases import quantity_text, wrap

    then, now = measurement_of(old.result), measurement_of(new)
    rows = [
        ("Program", old.entry.program, program),
        ("Status", then.status, now.status),
        ("Set to", *(set_to_text(m.set_to_mm, units) for m in (then, now))),
        ("Setting needed", *(quantity_text(m.setting, units) for m in (then, now))),
        ("Widest gap", *(quantity_text(m.widest_gap, units) for m in (then, now))),
    ]
    lines = wrap(f"Record {old.entry.record}: {old.entry.joint}, kept {old.entry.kept_at[:10]}")
    lines.append(f"  {'':18}{'then':24}now")
    for name, a, b in rows:
        lines.append(f"  {name:18}{a:24}{b if a != b else 'the same'}")
    codes = {c.code for c in then.cautions}, {c.code for c in now.cautions}
    for name, found in (
        ("No more cautioned", codes[0] - codes[1]),
        ("Now cautioned", codes[1] - codes[0]),
    ):
        lines += wrap(", ".join(sorted(found)), f"  {name:18}") if found else []
    return "\n".join(lines)


def verified_text(found: Verified, done: Repaired | None, folder: Path) -> str:
    """What a check of the whole archive found, after what a repair did."""
    lines = []
    if done and done.removed:
        lines.append(f"Removed what interrupted runs left: {done.removed} files.")
    if done and done.aside:
        lines += [
            f"Set aside in {folder / ASIDE}:",
            *_some(done.aside),
            "No record has them: they are of a run that was interrupted, or of a record that",
            "was lost. Measure and keep them again, or delete them.",
        ]
    lines += [f"Left behind: {text}" for text in done.left] if done else []
    lines += [f"Fault: {text}" for text in found.faults]
    if found.halves:
        lines.append(f"Left by interrupted runs: {len(found.halves)} files; --repair removes them.")
    if found.unclaimed:
        lines += ["No record has these files; --repair sets them aside:", *_some(found.unclaimed)]
    if found.aside and not (done and done.aside):
        lines.append(f"Set aside earlier: {len(found.aside)} files in {folder / ASIDE}.")
    state = "NOT WHOLE" if found.faults else "Whole"
    lines.append(
        f"Records: {found.records}, files: {found.files}, faults: {len(found.faults)}. {state}: {folder}"
    )
    return "\n".join(lines)


def removed_text(record: int, done: Removal) -> str:
    """What a removal did, and what it left."""
    lines = [f"Removed: record {record} and {done.files} files."]
    lines += [f"Left behind: {text}" for text in done.left]
    return "\n".join(lines)


def _some(names: tuple[str, ...]) -> list[str]:
    """Names, a line each, and of very many how many more."""
    more = len(names) - SHOWN_NAMES
    return [f"  {name}" for name in names[:SHOWN_NAMES]] + (
        [f"  and {more} more"] if more > 0 else []
    )


def set_to_text(set_to_mm: float, units: str) -> str:
    """A setting, never shown smaller than it is."""
    return format_length(round_up(set_to_mm, units, 0.1 if units == "mm" else None), units)


def bare(length: str) -> str:
    """A length without its unit, for columns that have it in their heads."""
    return length.removesuffix(" mm").removesuffix(" in")


def when(stamp: str) -> str:
    """An RFC 3339 time for people, with its offset."""
    return f"{stamp[:10]} {stamp[11:16]} {stamp[19:]}"


def _fit(text: str, width: int) -> str:
    return f"{text if len(text) <= width else text[: width - 1] + '~':{width}}"
