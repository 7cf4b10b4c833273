"""How well a report's numbers are known: what the half-widths hold, and what they rest on."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from gapvision.answer.as_json import measurement_of
from gapvision.answer.report.headline import headline
from gapvision.answer.report.joint import JointReport
from gapvision.answer.report.section import Section
from gapvision.answer.verdict_text import set_to_text
from gapvision.lengths import INCH_MM
from gapvision.measurement import Measurement
from gapvision.phrases import distance_text
from gapvision.quantity import K95, runs

# What a caution means for the half-width; of several that mean the same it is said once.
_ONE_HEIGHT = (
    "Photographed from about one height: how far the upper crown lies in or out stays unknown, and "
    "the ± holds that."
)
_DISAGREE = "Photographs, outlines or entries disagree, which widens it: see the cautions."
_UNSEEN = "Parts were not seen or the gap was shut there: see the cautions."
_WIDENING = {
    "one-height": _ONE_HEIGHT,
    "heights-too-alike": _ONE_HEIGHT,
    "one-photo": "Parts are shown by one photograph only.",
    "near-crown": "The lines of sight touch the logs only near their crowns.",
    "no-diameter": "No diameter stated: the logs' roundness is known by the photographs alone.",
    "could-decide": "The setting could be decided at other places too: see the cautions.",
    "log-moved": _DISAGREE,
    "misfit": _DISAGREE,
    "hand-disagrees": _DISAGREE,
    "lens-contradicted": _DISAGREE,
    "reading-disagrees": _DISAGREE,
    "trial-disagrees": _DISAGREE,
    "not-seen": _UNSEEN,
    "bridged": _UNSEEN,
    "gap-shut": _UNSEEN,
}

_CONTAINS = (
    "The ± hold: how sharply outlines and cards are found, where each photograph was taken from, the "
    "lens, cards a little out of plumb, the logs' roundness near their crowns and how far in or out "
    "these lie, roughness between the measured places, and photographs that disagree."
)
_CONTAINS_NOT = (
    "They do not hold: a hollow along a crown that no line of sight touches, a print of the wrong "
    "size, a log or card that moved after the photographs, points that slip or are not held plumb."
)


def uncertainty(report: JointReport) -> Section | None:
    """What the half-widths hold and what they rest on; none where nothing was measured."""
    if report.result["status"] == "refused":
        return None
    m, units = measurement_of(report.result), report.units
    text: tuple[str, ...] = (_CONTAINS, _CONTAINS_NOT)
    if headline(report).has_setting:
        rounded = (
            f"The setting to use, {set_to_text(m, units)}, is the setting needed plus 1.65 times "
            f"{_fine(m.setting.u_mm, units)} (its ± at 68 times in 100), rounded up: the cover is then "
            "kept in about 95 of 100 joints."
        )
        text = (rounded, *text)
    widening = dict.fromkeys(_WIDENING[c.code] for c in m.cautions if c.code in _WIDENING)
    rows = tuple(_rests_on(m, units))
    return Section("How well it is known", rows=rows, text=text, items=tuple(widening))


def _rests_on(m: Measurement, units: str) -> Iterable[tuple[str, str]]:
    used = [p for p in m.photos if p.used]
    sides = " and ".join(s for s in ("outside", "inside") if any(p.side == s for p in used))
    yield "Photographs", f"{len(used)} used of {len(m.photos)}, from {sides}"
    heights = [p.height_mm for p in used if math.isfinite(p.height_mm)]
    if heights:
        ends = [f"{distance_text(abs(h), units)} {'above' if h >= 0 else 'below'}"
                for h in (min(heights), max(heights))]  # fmt: skip
        said = ends[0] if ends[0] == ends[1] else f"from {ends[0]} to {ends[1]}"
        yield "Height of the lens", f"{said} the gap's middle"
    p = m.profile
    u = p.gap_u_mm[np.isfinite(p.gap_u_mm)]
    if u.size:
        low, high = (_fine(K95 * x, units) for x in (u.min(), u.max()))
        yield "± of the gap along the log", f"{low} to {high}" if low != high else low
    step = float(np.median(np.diff(p.station_mm))) if len(p.station_mm) > 1 else 0.0
    unseen = sum((r.stop - r.start) * step for r in runs(~np.isfinite(p.gap_mm)))
    length = float(p.station_mm[-1] - p.station_mm[0])
    not_seen = f", of which {distance_text(unseen, units)} not seen" if unseen else ""
    yield "Length of the joint", f"{distance_text(length, units)}{not_seen}"


def _fine(mm: float, units: str) -> str:
    """A small uncertainty, which sixteenths would round away."""
    return f"{mm:.1f} mm" if units == "mm" else f"{mm / INCH_MM:.3f} in"
