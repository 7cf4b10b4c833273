"""A kept measurement and caliper readings -> whether they agree, and which is likelier wrong."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from gapvision.advice.caution import Caution
from gapvision.answer.as_json import check_answer, measurement_of
from gapvision.errors import MeasurementError
from gapvision.files import read_regular
from gapvision.inputs.options import HandMeasured, MeasureOptions, check_options
from gapvision.joint.agreement import Bias, K, common_bias, e_number
from gapvision.joint.photo_results import place_at
from gapvision.lengths import INCH_MM, Reading, format_length
from gapvision.measurement import Measurement
from gapvision.quantity import STATION_SLACK_MM, Place, Quantity

LARGEST_BYTES = 50_000_000  # a log of 12 m in 15 photographs is some 800 kB
NARROW_MM = 4.0  # under twice of what shows at all at 1.5 m

READING, PHOTOGRAPHS, EITHER = "reading", "photographs", "either"

# Why photographs may be wrong at a stretch that a caution names, and anywhere.
WEAK_THERE = {
    "bridged": "the gap is bridged there, not seen",
    "hollow": "a hollow may lie there, which no line of sight touches",
    "gap-shut": "only the level photograph reads the gap there",
    "one-photo": "only one photograph shows the joint there",
    "near-crown": "their lines of sight touch the log only near its crown there",
}
CONTRADICTORY = {
    "misfit": "their outlines miss the fitted logs",
    "log-moved": "they contradict each other",
    "line-steps": "a traced line leaves its log",
    "odd-size": "they make a log as thick as hardly any is",
    "card-moved": "a card moved between them",
    "card-swung": "a card swung between them",
    "card-size": "their cards seem to be of two sizes",
}
WEAK = {
    "one-height": "they are from one height only",
    "heights-too-alike": "they are from nearly one height",
}
TOO_WIDE = (
    "a caliper finds the gap only where it is slid to the narrowest place, in and out and along; held "
    "askew or off the crown it reads too wide"
)
TOO_NARROW = (
    "a caliper hardly reads less than there is, unless it springs or a chip lies in the gap; look in "
    "the picture whether a line leaves its log"
)


@dataclass(frozen=True, slots=True)
class Checked:
    """One reading beside the photographs, mm; both U95 fields hold the expanded U with k = 2.

    ``likelier`` is which of the two is likelier wrong, empty where they agree, and ``why``.
    """

    place: Place
    read: Quantity
    photographs: Quantity
    likelier: str = ""
    why: str = ""

    @property
    def difference_mm(self) -> float:
        """Read less photographed."""
        return self.read.value_mm - self.photographs.value_mm

    @property
    def e_number(self) -> float:
        return e_number(self.difference_mm, self.read.u_mm, self.photographs.u_mm)

    @property
    def agrees(self) -> bool:
        return abs(self.e_number) <= 1


@dataclass(frozen=True, slots=True)
class Check:
    """All readings; ``bias`` only of several.

    ``entered`` are the caliper readings and trial lines that the measurement has in it already.
    """

    file: str
    status: str
    readings: tuple[Checked, ...]
    bias: Bias | None
    entered: int

    @property
    def agrees(self) -> bool:
        return all(c.agrees for c in self.readings)


def load_answer(path: Path) -> dict:
    """The JSON that `measure --json` wrote.

    Raises
    ------
    MeasurementError
        ``no-file``, ``not-a-measurement``, ``newer-version``, or ``was-refused`` where it holds no
        number.
    """
    try:
        content = json.loads(read_regular(path, LARGEST_BYTES).decode("utf-8"))
    except OSError as error:
        why = error.strerror or str(error)
        text = f"{path} cannot be read ({why}): name the file that gapvision measure --json wrote."
        raise MeasurementError("no-file", text) from None
    except (ValueError, RecursionError):
        text = f"{path} is no measurement: give a file that gapvision measure --json wrote."
        raise MeasurementError("not-a-measurement", text) from None
    answer = check_answer(content, str(path))
    if answer["status"] == "refused":
        text = f"{path} holds a refusal and no gap ({answer['reason']['text']}): measure again."
        raise MeasurementError("was-refused", text)
    return answer


def check_readings(
    answer: dict, file: str, readings: tuple[Reading, ...], units: str = "mm"
) -> Check:
    """Compare caliper readings with a kept measurement.

    Parameters
    ----------
    answer : dict
        As `load_answer` gives it; ``file`` is its name.
    readings : one or several.
    units : of the refusals' lengths.

    Raises
    ------
    MeasurementError
        ``bad-reading``, ``reading-outside`` the measured stretch, or ``reading-not-seen`` where no
        photograph shows the gap.
    """
    check_options(MeasureOptions(photos=(), by_hand=HandMeasured(readings), units=units))
    m = measurement_of(answer)
    checked = [_beside(m, r, units) for r in readings]
    agree = sum(c.agrees for c in checked)
    bias = None
    if len(checked) > 1:
        own, alike = (
            np.array([q.u_mm for q in qs]) for qs in zip(*map(_pair, checked), strict=True)
        )
        bias = common_bias(np.array([c.difference_mm for c in checked]), own, alike)
    judged = tuple(c if c.agrees else _judged(m, c, agree) for c in checked)
    return Check(file, m.status, judged, bias, _entered(answer))


def _pair(c: Checked) -> tuple[Quantity, Quantity]:
    return c.read, c.photographs


def _entered(answer: dict) -> int:
    """Readings and trial lines in the fit; files of an earlier version do not tell."""
    return sum(
        bool(e.get("used", True)) for key in ("readings", "trials") for e in answer.get(key) or ()
    )


def _beside(m: Measurement, reading: Reading, units: str) -> Checked:
    read = _expanded(reading.value_mm, reading.u_mm)
    if reading.station_mm is None:
        q = m.widest_gap
        return Checked(m.widest_place, read, _expanded(q.value_mm, q.u_mm))
    at, p = reading.station_mm, m.profile
    say = [format_length(float(round(x)), units) for x in (at, *p.station_mm[[0, -1]])]
    if not p.station_mm[0] - STATION_SLACK_MM <= at <= p.station_mm[-1] + STATION_SLACK_MM:
        raise MeasurementError(
            "reading-outside",
            f"The reading @{say[0]} lies outside of what was measured, {say[1]} to {say[2]}: correct its "
            "place (from the nail of the lowest-numbered outside card, right of it positive), or "
            "photograph there.",
        )
    gap, u = (float(np.interp(at, p.station_mm, v)) for v in (p.gap_mm, p.gap_u_mm))
    if not np.isfinite(gap + u):
        raise MeasurementError(
            "reading-not-seen",
            f"No photograph shows the gap @{say[0]}, so that there is nothing to compare: "
            "give the reading to gapvision measure by --reading instead.",
        )
    return Checked(place_at(m.cards, at), read, _expanded(gap, u))


def _expanded(value_mm: float, u_mm: float) -> Quantity:
    return Quantity(value_mm, u_mm, K * u_mm)


def _judged(m: Measurement, c: Checked, others_agree: int) -> Checked:
    """Which of two that disagree is likelier wrong.

    Common practice and what this program is known to get wrong, no source; the order is that of
    certainty.
    """
    there = [k for k in m.cautions if k.code in WEAK_THERE and _covers(k, c.place.station_mm)]
    for what, f in (("inches", INCH_MM), ("mm", 1 / INCH_MM)):
        meant = replace(c, read=replace(c.read, value_mm=c.read.value_mm * f))
        if meant.agrees:
            other = "mm" if what == "inches" else "inches"
            return replace(c, likelier=READING, why=f"it looks like {what} entered as {other}")
    codes = {k.code for k in m.cautions}
    contradicted = [text for code, text in CONTRADICTORY.items() if code in codes]
    if there or contradicted:
        why = [WEAK_THERE[k.code] for k in there] + contradicted
        return replace(c, likelier=PHOTOGRAPHS, why=why[0])
    if others_agree > 1:
        return replace(c, likelier=READING, why="the other readings agree with the photographs")
    wide = c.difference_mm > 0
    weak = [text for code, text in WEAK.items() if code in codes]
    if c.photographs.value_mm < NARROW_MM:
        weak.append("so narrow a gap shows in a few pixels only")
    if not wide:
        return replace(c, likelier=PHOTOGRAPHS, why="; ".join([*weak[:1], TOO_NARROW]))
    if weak:
        return replace(c, likelier=EITHER, why=f"of the photographs, {weak[0]}; but {TOO_WIDE}")
    return replace(c, likelier=READING, why=TOO_WIDE)


def _covers(caution: Caution, station_mm: float) -> bool:
    a, b = caution.from_mm, caution.to_mm
    return a is not None and b is not None and a <= station_mm <= b
