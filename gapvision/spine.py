"""The spine: photographs of one joint -> Measurement. Each step is a module of its own name."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
from threadpoolctl import threadpool_limits

from gapvision.advice.cautions import beyond_scriber, decision_cautions, find_cautions
from gapvision.advice.decision import Decision, decide
from gapvision.advice.findings import Findings
from gapvision.advice.given import PERHAPS_SEVERAL
from gapvision.advice.to_do import find_to_do
from gapvision.advice.verdict import kind_of
from gapvision.inputs.options import MOST_COVER, MeasureOptions, check_cover, check_options
from gapvision.joint.by_hand import (
    ByHand,
    as_reading,
    beside_photographs,
    risk_left,
    with_readings,
)
from gapvision.joint.drawn_off import drawn_off
from gapvision.joint.gap import (
    GapProfile,
    Groove,
    drawn_at,
    gap_profile,
    groove_at,
    profile_of,
    profile_over,
)
from gapvision.joint.gather import Gathered, Look, gather_photos
from gapvision.joint.photo_results import (
    Lack,
    card_results,
    left_out_result,
    photo_result,
    place_at,
)
from gapvision.joint.radii import Radii, crown_radii
from gapvision.joint.seen import Stations, stations_of
from gapvision.joint.several import check_agreement, check_doubt
from gapvision.joint.solve import Solved, solve
from gapvision.joint.stated import contradicted
from gapvision.joint.two_gaps import check_one_gap
from gapvision.lengths import round_up
from gapvision.measurement import Alone, Measurement
from gapvision.photo.bent import card_bends
from gapvision.quantity import SAFE_K
from gapvision.scene.priors import Priors


@contextmanager
def _one_thread() -> Iterator[None]:
    """With another number of threads the linear algebra adds up in another order.

    The last digits of the answer would differ; the fit's matrices are small, and threads slow it down.
    """
    with threadpool_limits(limits=1, user_api="blas"):
        yield


@_one_thread()
def measure(
    options: MeasureOptions,
    progress: Callable[[int, int], None] | None = None,
    looks: Mapping[str, Look] | None = None,
) -> Measurement:
    """The setting of the dividers for one joint, from all its photographs.

    Parameters
    ----------
    options : MeasureOptions
    progress : callable, optional
        Called as ``progress(done, total)`` after each photograph.
    looks : mapping, optional
        Photographs that were traced as they arrived, as `gather_photos` takes them.

    Raises
    ------
    MeasurementError
        Where nothing usable is left: its text says what was seen and what to do.
    """
    check_options(options)
    priors = Priors(wall_mm=options.cards.wall_thickness_mm)
    gathered = gather_photos(options, priors, progress, looks)
    alone = solve(options, gathered, priors)
    check_agreement(gathered.suspicion, alone.joint, alone.disagrees)
    check_one_gap(options, gathered, alone, priors)
    by_hand = beside_photographs(options, alone)
    solved = with_readings(alone, by_hand)
    stations = stations_of(solved.joint, solved.stretch_mm)
    radii = crown_radii(solved.joint, stations.station_mm, solved.beliefs.half)
    thinnest = 2 * min(float(r.largest_mm()[stations.shown].min()) for r in radii.values())
    check_cover(options.cover_mm, MOST_COVER * thinnest)

    at = stations.shown_mm
    risk_alone = solved.risk_mm(at)
    risk = risk_left(risk_alone, at, tuple(as_reading(b) for b in by_hand if b.agrees))
    drawn = drawn_at(solved.joint, at, options.cover_mm)
    gaps = profile_of(drawn, risk)
    safe_mm = gaps.setting.value_mm + SAFE_K * gaps.setting.u_mm
    set_to_mm = round_up(safe_mm, options.units, options.scriber.step_mm)
    groove = groove_at(drawn, set_to_mm, risk)
    decision = decide(
        solved.joint, drawn, risk, options, solved.stretch_mm, solved.beliefs.half, groove
    )
    findings = _found(options, gathered, solved, stations, radii, gaps, groove, by_hand)
    without_hand = None
    if solved is not alone:
        by_photos = gap_profile(alone.joint, at, options.cover_mm, risk_alone)
        without_hand = Alone(by_photos.widest, by_photos.setting)
    return _measurement(findings, gaps, groove, decision, without_hand)


def _found(
    options: MeasureOptions, gathered: Gathered, solved: Solved, stations: Stations,
    radii: dict[str, Radii], gaps: GapProfile, groove: Groove, by_hand: tuple[ByHand, ...],
) -> Findings:  # fmt: skip
    """All that is known of the joint, as the cautions read it."""
    photos = tuple(photo_result(p, fitted, solved.joint) for p, fitted in solved.pairs())
    aside = tuple(
        left_out_result(p, Lack("contradicts", {"wider_mm": outlier.gap_mm}))
        for p, outlier in solved.aside
    )
    cards = card_results(solved.joint, photos)
    decides = np.zeros(len(stations.shown))
    decides[stations.shown] = gaps.decides
    return Findings(
        options=options,
        station_mm=stations.station_mm,
        shown=stations.shown,
        seen=stations.seen,
        setting=gaps.setting,
        photos=photos,
        left_out=gathered.left_out + aside + solved.left_out,
        cards=cards,
        joint=solved.joint,
        profile=profile_over(stations.station_mm, stations.shown, gaps, groove),
        decides=decides,
        radii=radii,
        shifts=solved.shifts,
        by_hand=tuple(replace(b, place=place_at(cards, b.place.station_mm)) for b in by_hand),
        contradict=solved.contradict,
        drawn_off=drawn_off(solved.pairs(), solved.joint),
        suspicion=gathered.suspicion,
        contradicted=contradicted(solved.joint, solved.beliefs, options),
        lenses=gathered.lenses,
        bends=card_bends([p.rows for p in solved.joint.photos], gathered.lenses),
    )


def _measurement(
    found: Findings, gaps: GapProfile, groove: Groove, decision: Decision, alone: Alone | None
) -> Measurement:
    """The answer, doubtful where any caution is."""
    cautions = (
        beyond_scriber(groove.set_to_mm, found.options)
        + find_cautions(found)
        + decision_cautions(decision)
    )
    check_doubt(found.suspicion, any(c.doubtful and c.code != PERHAPS_SEVERAL for c in cautions))
    doubtful = any(c.doubtful for c in cautions)
    kind, _ = kind_of(doubtful, cautions, decision)
    return Measurement(
        status="doubtful" if doubtful else "measured",
        cover_mm=found.options.cover_mm,
        widest_gap=gaps.widest,
        widest_place=place_at(found.cards, gaps.widest_station_mm),
        setting=gaps.setting,
        set_to_mm=groove.set_to_mm,
        deciding_place=place_at(found.cards, gaps.deciding_station_mm),
        narrowest_groove=groove.narrowest,
        narrowest_place=place_at(found.cards, groove.narrowest_station_mm),
        profile=found.profile,
        photos=found.photos + found.left_out,
        cards=found.cards,
        cautions=cautions,
        decision=decision,
        by_hand=found.by_hand,
        alone=alone,
        units=found.options.units,
        to_do=find_to_do(found, cautions, decision, kind),
    )
