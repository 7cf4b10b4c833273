"""The spine: photographs of one joint -> Measurement. Each step is a module of its own name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from gapvision.advice.cautions import beyond_scriber, decision_cautions, find_cautions
from gapvision.advice.decision import decide
from gapvision.advice.findings import Findings
from gapvision.inputs.options import MOST_COVER, MeasureOptions, check_cover, check_options
from gapvision.joint.by_hand import as_reading, beside_photographs, risk_left, with_readings
from gapvision.joint.disagreement import Outlier
from gapvision.joint.gap import gap_profile, groove_at, profile_over
from gapvision.joint.gather import gather_photos
from gapvision.joint.photo_results import (
    PhotoResult,
    card_results,
    left_out_result,
    photo_result,
    place_at,
)
from gapvision.joint.radii import crown_radii
from gapvision.joint.seen import stations_of
from gapvision.joint.solve import solve
from gapvision.lengths import format_length, round_up
from gapvision.measurement import Alone, Measurement
from gapvision.quantity import SAFE_K
from gapvision.scene.priors import Priors
from gapvision.trace.traced_photo import TracedPhoto


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
    priors = Priors(wall_mm=options.cards.wall_thickness_mm)
    gathered = gather_photos(options, priors, progress)
    alone = solve(options, gathered, priors)
    by_hand = beside_photographs(options, alone)
    solved = with_readings(alone, by_hand)
    joint, half = solved.joint, solved.beliefs.half

    stations = stations_of(joint, solved.stretch_mm)
    at = stations.shown_mm
    radii = crown_radii(joint, stations.station_mm, half)
    thinnest = 2 * min(float(r.largest_mm()[stations.shown].min()) for r in radii.values())
    check_cover(options.cover_mm, MOST_COVER * thinnest)

    risk_alone = solved.risk_mm(at)
    risk = risk_left(risk_alone, at, tuple(as_reading(b) for b in by_hand if b.agrees))
    gaps = gap_profile(joint, at, options.cover_mm, risk)
    safe_mm = gaps.setting.value_mm + SAFE_K * gaps.setting.u_mm
    set_to_mm = round_up(safe_mm, options.units, options.scriber.step_mm)
    groove = groove_at(joint, at, set_to_mm, risk)
    profile = profile_over(stations.station_mm, stations.shown, gaps, groove)
    without_hand = None
    if solved is not alone:
        by_photos = gap_profile(alone.joint, at, options.cover_mm, risk_alone)
        without_hand = Alone(by_photos.widest, by_photos.setting)

    photos = tuple(photo_result(p, fitted, joint) for p, fitted in solved.pairs())
    aside = tuple(_set_aside(p, why, options) for p, why in solved.aside)
    left_out = gathered.left_out + aside + solved.left_out
    cards = card_results(joint, photos)
    by_hand = tuple(replace(b, place=place_at(cards, b.place.station_mm)) for b in by_hand)

    decides = np.zeros(len(stations.shown))
    decides[stations.shown] = gaps.decides
    findings = Findings(
        options, stations.station_mm, stations.shown, stations.seen, gaps.setting, photos,
        left_out, cards, joint, profile, decides, radii, solved.shifts, by_hand, solved.contradict,
    )  # fmt: skip
    decision = decide(joint, at, risk, options, solved.stretch_mm, half, groove)
    cautions = (
        beyond_scriber(set_to_mm, options) + find_cautions(findings) + decision_cautions(decision)
    )
    return Measurement(
        status="doubtful" if any(c.doubtful for c in cautions) else "measured",
        cover_mm=options.cover_mm,
        widest_gap=gaps.widest,
        widest_place=place_at(cards, gaps.widest_station_mm),
        setting=gaps.setting,
        set_to_mm=set_to_mm,
        deciding_place=place_at(cards, gaps.deciding_station_mm),
        narrowest_groove=groove.narrowest,
        narrowest_place=place_at(cards, groove.narrowest_station_mm),
        profile=profile,
        photos=photos + left_out,
        cards=cards,
        cautions=cautions,
        decision=decision,
        by_hand=by_hand,
        alone=without_hand,
        units=options.units,
    )


def _set_aside(photo: TracedPhoto, outlier: Outlier, options: MeasureOptions) -> PhotoResult:
    wide = "wider" if outlier.gap_mm > 0 else "narrower"
    apart = format_length(round(abs(outlier.gap_mm), 1), options.units)
    return left_out_result(
        photo,
        f"{photo.label} is left out: it shows the gap {apart} {wide} than the others do. "
        "Either a line in it was taken for the log's that is none, or the upper log moved: "
        "if it moved, photograph all heights again.",
    )
