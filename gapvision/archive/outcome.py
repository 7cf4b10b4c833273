"""What happened to a joint after it was measured: added later, never changed, put together on reading."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from itertools import groupby
from math import inf
from typing import ClassVar, TypeVar

from gapvision.archive.query import bad_record, load_entry
from gapvision.archive.record import now_here
from gapvision.archive.store import Archive, writing
from gapvision.errors import MeasurementError
from gapvision.inputs.mistakes import likely_unit
from gapvision.inputs.options import (
    LARGEST_GAP_MM,
    LEAST_COVER_MM,
    LOG_MM,
    MOST_COVER,
    MeasureOptions,
)
from gapvision.lengths import Reading, Trial, format_length

LEAST_SETTING_MM = 5.0  # a groove of 10 mm on a gap of 3 mm, the least that can be measured


@dataclass(frozen=True, slots=True)
class Caliper:
    """The gap at a station, mm, and its standard uncertainty."""

    kind: ClassVar[str] = "caliper"
    station_mm: float
    value_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class TrialLine:
    """The width of a trial line at a station, scribed at a setting, mm, and the uncertainties of both."""

    kind: ClassVar[str] = "trial"
    station_mm: float
    value_mm: float
    u_mm: float
    setting_mm: float
    u_setting_mm: float


@dataclass(frozen=True, slots=True)
class OpenPlace:
    """A place that did not close, from ``station_mm`` to ``to_mm``."""

    kind: ClassVar[str] = "open"
    station_mm: float
    to_mm: float


OutcomeValue = Caliper | TrialLine | OpenPlace
Value = TypeVar("Value", Caliper, TrialLine, OpenPlace)
_KINDS: dict[str, type[OutcomeValue]] = {c.kind: c for c in (Caliper, TrialLine, OpenPlace)}
_COLUMNS = ("station_mm", "to_mm", "value_mm", "u_mm", "setting_mm", "u_setting_mm")


def columns_of(value: OutcomeValue) -> tuple[float | None, ...]:
    """A value as the table ``outcome_value`` has it, after its kind: None for what it has not."""
    return tuple(getattr(value, name, None) for name in _COLUMNS)


def _value(kind: str, *columns: float) -> OutcomeValue:
    """What `columns_of` was of."""
    told = dict(zip(_COLUMNS, columns, strict=True))
    return _KINDS[kind](*(told[f.name] for f in fields(_KINDS[kind])))


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was told of a joint at one time, or all of it together; None where it was not told.

    ``instead``: what was told of the joint before was wrong and counts no longer.
    """

    date: str
    setting_used_mm: float | None = None
    narrowest_cover_mm: float | None = None
    remarks: str = ""
    values: tuple[OutcomeValue, ...] = ()
    instead: bool = False
    added_at: str = ""

    def of_kind(self, kind: type[Value]) -> list[Value]:
        """The values of one kind by station."""
        return sorted((v for v in self.values if isinstance(v, kind)), key=lambda v: v.station_mm)


def check_outcome(outcome: Outcome, options: MeasureOptions) -> None:
    """Refuse what cannot have come of a joint measured with ``options``: likely of another unit.

    Raises
    ------
    MeasurementError
        ``bad-outcome``, with what was told and what is possible.
    """
    stated = [mm for _, diameter in options.diameters for _, mm in diameter.points]
    cover = LEAST_COVER_MM, MOST_COVER * min(stated, default=LOG_MM[1] / 3)
    setting = LEAST_SETTING_MM, LARGEST_GAP_MM
    told = [
        ("A setting", outcome.setting_used_mm, setting),
        ("A cover", outcome.narrowest_cover_mm, cover),
    ]
    told += [
        ("A caliper reading", v.value_mm, (-inf, setting[1])) for v in outcome.of_kind(Caliper)
    ]
    for trial in outcome.of_kind(TrialLine):
        told += [("A trial line's setting", trial.setting_mm, setting)]
        told += [("A trial line's width", trial.value_mm, cover)]
    for of, mm, (low, high) in told:
        if mm is not None and not low <= mm <= high:
            likely = likely_unit(mm, (max(low, LEAST_SETTING_MM), high))
            possible = f"at most {high:.0f}" if low == -inf else f"{low:.0f} to {high:.0f}"
            raise MeasurementError(
                "bad-outcome",
                f"{of} of {mm:.3g} mm was told{likely}; {possible} mm are possible: correct it.",
            )


def outcome_values(
    readings: Iterable[Reading],
    trials: Iterable[Trial],
    opens: Iterable[tuple[float, float]],
    widest_mm: float,
) -> tuple[OutcomeValue, ...]:
    """What was read after fitting; what names no place was read at the widest one."""

    def at(entry: Reading | Trial) -> float:
        return widest_mm if entry.station_mm is None else entry.station_mm

    return (
        *(Caliper(at(r), r.value_mm, r.u_mm) for r in readings),
        *(TrialLine(at(t), t.width_mm, t.u_width_mm, t.setting_mm, t.u_setting_mm) for t in trials),
        *(OpenPlace(*ends) for ends in opens),
    )


def check_stations(
    values: Iterable[OutcomeValue], station_mm: Sequence[float], units: str = "mm"
) -> None:
    """Refuse what was read where nothing was measured: it would stay for good, compared with nothing.

    Raises
    ------
    MeasurementError
        ``not-measured-there``.
    """
    for value in values:
        measured = station_mm[0] <= value.station_mm <= station_mm[-1]
        if not measured and not isinstance(value, OpenPlace):
            first, last, given = (
                format_length(mm, units) for mm in (station_mm[0], station_mm[-1], value.station_mm)
            )
            raise MeasurementError(
                "not-measured-there",
                f"The gap @{given} was not measured, only {first} to {last}: correct the place, or "
                "tell it by --remarks.",
            )


def add_outcome(archive: Archive, record: int, outcome: Outcome) -> None:
    """Add what happened to a record's joint.

    Raises
    ------
    MeasurementError
        ``no-record``, and as `store.writing`.
    """
    with writing(archive) as db:
        load_entry(archive, record)
        number = db.execute(
            "INSERT INTO outcome VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)",
            (
                record, now_here(), outcome.date, outcome.instead, outcome.setting_used_mm,
                outcome.narrowest_cover_mm, outcome.remarks,
            ),
        ).lastrowid  # fmt: skip
        db.executemany(
            "INSERT INTO outcome_value VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [(number, i, v.kind, *columns_of(v)) for i, v in enumerate(outcome.values, 1)],
        )
        if outcome.remarks:
            db.execute(
                "UPDATE words SET text = text || char(10) || ? WHERE rowid = ?",
                (outcome.remarks, record),
            )


def outcomes_of(archive: Archive, record: int) -> tuple[Outcome, ...]:
    """All that was told of a record's joint, in the order in which it was told.

    Raises
    ------
    MeasurementError
        ``bad-record`` where a column holds what it cannot.
    """
    rows = archive.db.execute(
        "SELECT outcome, date, setting_used_mm, narrowest_cover_mm, remarks, instead, added_at,"
        " kind, station_mm, to_mm, value_mm, u_mm, setting_mm, u_setting_mm"
        " FROM outcome LEFT JOIN outcome_value USING (outcome) WHERE record = ? ORDER BY outcome, position",
        (record,),
    )
    out = []
    for _, group in groupby(rows, key=lambda row: row[0]):
        told = list(group)
        if not all(map(_is_sound, told)):
            raise bad_record(record, "a column of its outcomes holds what it cannot")
        date, used, narrowest, remarks, instead, added_at = told[0][1:7]
        values = tuple(_value(*row[7:]) for row in told if row[7] is not None)
        out.append(Outcome(date, used, narrowest, remarks, values, bool(instead), added_at))
    return tuple(out)


def _is_sound(row: tuple) -> bool:
    """Whether texts are texts and lengths finite numbers, or not told where that may be."""
    _, date, used, narrowest, remarks, _, added_at, kind, station, *values = row
    needs = {None: (), "caliper": (0, 2, 3), "trial": (0, 2, 3, 4, 5), "open": (0, 1)}.get(kind)
    lengths = station, *values
    return (
        needs is not None
        and all(isinstance(text, str) for text in (date, remarks, added_at))
        and all(
            v is None or (isinstance(v, int | float) and math.isfinite(v))
            for v in (used, narrowest, *lengths)
        )
        and None not in [lengths[n] for n in needs]
    )


def counting(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Those that count: none that a later one is told instead of."""
    told: list[Outcome] = []
    for outcome in outcomes:
        told = [outcome] if outcome.instead else [*told, outcome]
    return told


def together(outcomes: Iterable[Outcome]) -> Outcome | None:
    """What holds of a joint by all that was told of it: of two values at one station the later one."""
    told = counting(outcomes)
    if not told:
        return None
    values: dict[tuple, OutcomeValue] = {}
    for v in (v for outcome in told for v in outcome.values):
        station, to, _, _, setting, _ = columns_of(v)
        values[v.kind, station, to, setting] = v
    return Outcome(
        told[-1].date,
        _latest(o.setting_used_mm for o in told),
        _latest(o.narrowest_cover_mm for o in told),
        " / ".join(o.remarks for o in told if o.remarks),
        tuple(values.values()),
        added_at=told[-1].added_at,
    )


def _latest(values: Iterable[float | None]) -> float | None:
    return next((v for v in reversed(list(values)) if v is not None), None)
