"""The spine: photographs of one joint -> Measurement. Each step is a module of its own name."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from gapvision.advice.cautions import beyond_scriber, decision_cautions, find_cautions
from gapvision.advice.decision import decide
from gapvision.advice.findings import Findings, Radii
from gapvision.errors import JointNotFitted
from gapvision.inputs.diameters import in_card_mm, true_half
from gapvision.inputs.options import MOST_COVER, MeasureOptions, check_cover, check_options
from gapvision.joint.by_hand import (
    ByHand,
    as_reading,
    check_stations,
    compare,
    risk_left,
    widest_station,
)
from gapvision.joint.disagreement import GapShift, Outlier, gap_shifts
from gapvision.joint.fit import REFINE, fit_joint
from gapvision.joint.gap import DRAWS, SEED, Profile, gap_profile, groove_widths
from gapvision.joint.gather import gather_sights
from gapvision.joint.model import Joint
from gapvision.joint.photo_results import card_results, left_out_result, photo_result, place_at
from gapvision.joint.seen import STATION_STEP_MM, _seen_stations, _short_runs
from gapvision.joint.solve import _solve, _Solved
from gapvision.lengths import format_length, round_up
from gapvision.measurement import Alone, Measurement
from gapvision.quantity import K95, SAFE_K, Quantity
from gapvision.scene.card import CHECK_BAR_MM
from gapvision.scene.priors import Priors
from gapvision.trace.sight import Sight


def measure(
    options: MeasureOptions, progress: Callable[[int, int], None] | None = None
) -> Measurement:
    """The setting of the dividers for one joint, from all its photographs.

    Parameters
    ----------
    options : MeasureOptions
    progress : callable, optional
        Called as ``progress(done, total)`` after each photograph.

    Raises
    ------
    MeasurementError
        Where nothing usable is left: its text says what was seen and what to do.
    """
    check_options(options)
    scale = options.printed_bar_mm / CHECK_BAR_MM
    options = in_card_mm(options, scale)
    priors = Priors(wall_mm=options.wall_thickness_mm)
    sights, lenses, left_out = gather_sights(options, priors, progress)
    solved = _solve(options, sights, lenses, priors)
    left_out += [_set_aside(sight, why, options, scale) for sight, why in solved.aside]
    by_hand = _by_hand(options, solved, scale)
    joint, shifts = solved.joint, solved.shifts
    readings = tuple(as_reading(b, scale) for b in by_hand if b.used)
    if readings:
        joint = fit_joint(solved.views, lenses, joint, solved.radii, priors, readings, REFINE)
        shifts = gap_shifts(solved.views, lenses, joint, solved.radii, priors, readings)
    return _answer(options, solved, joint, shifts, by_hand, tuple(left_out), scale)


def _set_aside(sight: Sight, outlier: Outlier, options: MeasureOptions, scale: float):
    wide = "wider" if outlier.gap_mm > 0 else "narrower"
    apart = format_length(round(abs(outlier.gap_mm) * scale, 1), options.units)
    return left_out_result(
        sight,
        f"{sight.photo.file} is left out: it shows the gap {apart} {wide} than the others do. "
        "Either a line in it was taken for the log's that is none, or the upper log moved: "
        "if it moved, photograph all heights again.",
    )


def _by_hand(options, solved: _Solved, scale: float) -> tuple[ByHand, ...]:
    """The stated readings and trial lines, at their stations, beside the photographs alone."""
    entries = (*options.readings, *options.trials)
    if not entries:
        return ()
    stretch, alone = solved.stretch, solved.joint
    check_stations(options, stretch, scale)
    widest = widest_station(alone, np.arange(stretch[0], stretch[1] + 1, STATION_STEP_MM))
    at = np.array([widest if e.station_mm is None else e.station_mm for e in entries])
    return compare(options, alone, at, solved.risk(alone, solved.shifts, at), scale)


def _answer(
    options, solved: _Solved, joint: Joint, shifts, by_hand, left_out, scale: float
) -> Measurement:
    sights, views, stretch, radii = solved.sights, solved.views, solved.stretch, solved.radii
    alone, left_out = solved.joint, left_out + solved.untied
    station = np.arange(math.ceil(stretch[0]), stretch[1] + 0.01, STATION_STEP_MM)
    seen = _seen_stations(views, joint, station)
    shown = seen | _short_runs(~seen, station)
    if shown.sum() < 5:
        raise JointNotFitted(
            "nothing-seen",
            "Of the stretch asked for hardly anything of both outlines is seen; photograph it "
            "level with the gap, with something plain behind it.",
        )
    at = station[shown]
    crowns = _crown_radii(joint, station, radii, scale)
    thin = 2 * min(float(r.largest_mm()[shown].min()) for r in crowns.values())
    check_cover(options.cover_mm * scale, MOST_COVER * thin)
    risk_alone = solved.risk(joint, shifts, at)
    risk = risk_left(risk_alone, at, tuple(as_reading(b, scale) for b in by_hand if b.agrees))
    p = gap_profile(joint, at, options.cover_mm, risk)
    safe_mm = (p.setting.value_mm + SAFE_K * p.setting.u_mm) * scale
    set_to = round_up(safe_mm, options.units, options.scriber_step_mm)
    width, u_width = groove_widths(joint, at, set_to / scale, risk)
    narrow = int(np.argmin(width))

    def full(values):
        out = np.full(len(station), np.nan)
        out[shown] = values * scale
        return out

    def true(q: Quantity) -> Quantity:
        return Quantity(q.value_mm * scale, q.u_mm * scale, q.U95_mm * scale)

    profile = Profile(
        station * scale, full(p.gap_mm), full(p.gap_u_mm), full(width), full(u_width),
        full(p.needed_mm), full(p.needed_u_mm),
    )  # fmt: skip
    photos = tuple(photo_result(s, views, joint, i, scale) for i, s in enumerate(sights))
    cards = card_results(joint, photos, scale)
    by_hand = tuple(replace(b, place=place_at(cards, b.place.station_mm)) for b in by_hand)
    decides = np.zeros(len(station))
    decides[shown] = p.decides
    findings = Findings(
        options, station * scale, shown, seen, true(p.setting), photos, left_out, cards,
        joint, tuple(views), profile, decides, crowns,
        tuple(
            GapShift(s.photo, s.gap_mm * scale, s.u_mm * scale, s.moves_mm * scale)
            for s in shifts
        ),
        by_hand, solved.contradict,
    )  # fmt: skip
    without = None
    if alone is not joint:
        without = gap_profile(alone, at, options.cover_mm, risk_alone)
    decision = decide(
        joint, at * scale, risk * scale, scale, options, tuple(x * scale for x in stretch),
        {log: true_half(half, scale) for log, half in radii.items()},
        options.cover_mm * scale, set_to, (width * scale, u_width * scale),
    )  # fmt: skip
    narrowest = Quantity(float(width[narrow]), float(u_width[narrow]), K95 * float(u_width[narrow]))
    cautions = (
        beyond_scriber(set_to, options) + find_cautions(findings) + decision_cautions(decision)
    )
    return Measurement(
        status="doubtful" if any(c.doubtful for c in cautions) else "measured",
        cover_mm=options.cover_mm * scale,
        widest_gap=true(p.widest),
        widest_place=place_at(cards, p.widest_station_mm * scale),
        setting=true(p.setting),
        set_to_mm=set_to,
        deciding_place=place_at(cards, p.deciding_station_mm * scale),
        narrowest_groove=true(narrowest),
        narrowest_place=place_at(cards, float(at[narrow]) * scale),
        profile=profile,
        photos=photos + left_out,
        cards=cards,
        cautions=cautions,
        decision=decision,
        by_hand=by_hand,
        alone=without and Alone(true(without.widest), true(without.setting)),
        units=options.units,
    )


def _crown_radii(joint: Joint, station: np.ndarray, stated: dict, scale: float) -> dict:
    """Each log's `Radii` at stations."""
    best = joint.sections(station)
    drawn = joint.draws(station, DRAWS, np.random.default_rng(SEED))
    out = {}
    for log, half in stated.items():
        field = f"r_{log[0]}"
        told = None if half is None else np.broadcast_to(half(station), station.shape) * scale
        out[log] = Radii(
            getattr(best, field) * scale, getattr(drawn, field).std(0) * scale, told
        )  # fmt: skip
    return out
