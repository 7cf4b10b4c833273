"""The spine: photographs of one joint -> Measurement. Each step is a module of its own name."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from gapvision.by_hand import as_reading, check_stations, compare, risk_left, widest_station
from gapvision.cameras import CameraKey
from gapvision.card import CHECK_BAR_MM
from gapvision.cautions import LONGEST_UNSEEN_MM, find_cautions, is_doubtful
from gapvision.decision import decide
from gapvision.decision_answer import decision_cautions
from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.findings import NEAR_MM, Findings, Radii, near
from gapvision.fit import (
    REFINE,
    Joint,
    Lens,
    Outline,
    Priors,
    View,
    fit_joint,
    residuals,
)
from gapvision.gap import DRAWS, SEED, gap_profile, groove_widths
from gapvision.intrinsics import choose_lens
from gapvision.lengths import Diameter, Reading, Trial, format_length, round_up
from gapvision.moved import GapShift, gap_shifts
from gapvision.options import MeasureOptions, check_options
from gapvision.outlier import Outlier, find_outlier
from gapvision.outlines import HIDDEN, OUTSIDE, SEEN, SHUT, UNSURE, Trace
from gapvision.photo import load_photo, photo_paths
from gapvision.result import (
    K95,
    SAFE_K,
    Alone,
    ByHand,
    CardResult,
    Measurement,
    PhotoResult,
    Profile,
    Quantity,
    place_at,
    runs,
)
from gapvision.scriber import beyond_scriber
from gapvision.sides import check_sides, side_of, tie_sides
from gapvision.sight import Sight, outlines_of, retrace, take_sight
from gapvision.start import Placed, first_joint, place_cards
from gapvision.target import find_cards

STATION_STEP_MM = 10.0
BEYOND_MM = 120.0  # fitted past the asked stretch, so that its ends are not the spline's
CHANCE_U = 2.0  # of a photograph's gap against the others'; more is seldom chance
WRONG_LABEL_MM = 6.0  # half a usual gap
# Of own rendered photographs that the training never saw, outlines with hardly an unsure label were
# 2 to 3 mm off in a tenth of their length and more: 0.02 of `WRONG_LABEL_MM` squared.
LEAST_PART = 0.02


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
    priors = Priors()
    sights, lenses, left_out = _take_all(options, priors, progress)
    solved = _solve(options, sights, lenses, priors)
    outlier = find_outlier(solved.views, lenses, solved.joint, solved.radii, priors, solved.shifts)
    if outlier:
        wrong = solved.sights[outlier.photo]
        left_out.append(_set_aside(wrong, outlier, options, scale))
        rest = [s for s in sights if s.photo is not wrong.photo]
        solved = replace(_solve(options, rest, lenses, priors), risk_mm=outlier.risk_mm)
    by_hand = _by_hand(options, solved, scale)
    joint, shifts = solved.joint, solved.shifts
    readings = tuple(as_reading(b, scale) for b in by_hand if b.used)
    if readings:
        joint = fit_joint(solved.views, lenses, joint, solved.radii, priors, readings, REFINE)
        shifts = gap_shifts(solved.views, lenses, joint, solved.radii, priors, readings)
    return _answer(options, solved, joint, shifts, by_hand, tuple(left_out), scale)


@dataclass(frozen=True, eq=False, slots=True)
class _Solved:
    """What the photographs alone tell: those that are tied, the joint fitted to them, the stretch.

    ``risk_mm`` is the gap's sd for a photograph that was set aside and was perhaps the right one.
    """

    sights: list[Sight]
    views: list[View]
    joint: Joint
    stretch: tuple[float, float]
    untied: tuple[PhotoResult, ...]
    radii: dict
    shifts: tuple[GapShift, ...]
    risk_mm: float = 0.0

    def risk(self, joint: Joint, shifts: tuple[GapShift, ...], station_mm: np.ndarray):
        """What wrong outlines may add to the gap at stations (n,), sd, mm."""
        label = u_label(self.sights, self.views, joint, station_mm)
        return np.hypot(label, np.hypot(u_shift(shifts), self.risk_mm))


def _solve(options: MeasureOptions, sights: list[Sight], lenses, priors: Priors) -> _Solved:
    """All photographs' sights -> the joint: tied by cards, fitted, traced again, fitted again."""
    views = [s.view for s in sights]
    placed = place_cards(views, lenses, options.card_on)
    sights, views, placed, stretch, untied = _tie(options, sights, views, lenses, placed, priors)
    radii = stated_radii(options, stretch)
    joint = _fit(sights, views, lenses, placed, stretch, radii, priors)
    sights = [_second_look(s, joint, i) for i, s in enumerate(sights)]
    views = [
        replace(v, outlines=_within(s, joint, i, stretch))
        for i, (s, v) in enumerate(zip(sights, views, strict=True))
    ]
    joint = fit_joint(views, lenses, joint, radii, priors, (), REFINE)
    shifts = gap_shifts(views, lenses, joint, radii, priors)
    return _Solved(sights, views, joint, stretch, tuple(untied), radii, shifts)


def _set_aside(sight: Sight, outlier: Outlier, options: MeasureOptions, scale: float):
    wide = "wider" if outlier.gap_mm > 0 else "narrower"
    apart = format_length(round(abs(outlier.gap_mm) * scale, 1), options.units)
    return _left_out(
        sight,
        f"{sight.photo.file} is left out: it shows the gap {apart} {wide} than the others, which "
        "agree. Either a line in it was taken for the log's that is none, or the upper log moved: "
        "if it moved, photograph all heights again.",
    )


def _left_out(sight: Sight, why: str) -> PhotoResult:
    """A photograph that shows cards and joint and yet is of no use."""
    return PhotoResult(
        str(sight.photo.path), sight.photo.sha256, sight.view.side, False, why,
        cards=tuple(c.number for c in sight.view.sightings), camera=_camera(sight),
        taken=sight.photo.taken,
    )  # fmt: skip


def in_card_mm(options: MeasureOptions, scale: float) -> MeasureOptions:
    """The same options with all lengths in the card's own millimetres, as printed.

    Everything is fitted in those and brought to true millimetres at the end.
    """

    def shrink(value):
        return None if value is None else value / scale

    def shrink_diameter(d):
        return d and Diameter(tuple((shrink(at), v / scale) for at, v in d.points))

    return replace(
        options,
        cover_mm=options.cover_mm / scale,
        upper_diameter=shrink_diameter(options.upper_diameter),
        lower_diameter=shrink_diameter(options.lower_diameter),
        from_mm=shrink(options.from_mm), to_mm=shrink(options.to_mm),
        wall_thickness_mm=shrink(options.wall_thickness_mm),
        readings=tuple(
            Reading(r.value_mm / scale, shrink(r.station_mm), r.u_mm / scale)
            for r in options.readings
        ),
        trials=tuple(
            Trial(
                t.setting_mm / scale, t.width_mm / scale, shrink(t.station_mm),
                t.u_setting_mm / scale, t.u_width_mm / scale,
            )
            for t in options.trials
        ),
    )  # fmt: skip


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


def stated_radii(options: MeasureOptions, stretch: tuple[float, float]) -> dict:
    """``"upper"``/``"lower"`` -> stated radius (n,) mm at stations (n,) mm, or None."""
    return {
        "upper": radius_along(options.upper_diameter, stretch),
        "lower": radius_along(options.lower_diameter, stretch),
    }


def radius_along(diameter: Diameter | None, stretch: tuple[float, float]):
    """Half diameter (n,) mm at stations (n,), straight along the log; None where none is stated."""
    if diameter is None:
        return None
    points = list(diameter.points)
    if len(points) == 1:
        at, value = [0.0], [points[0][1]]
    elif points[0][0] is None:
        at, value = list(stretch), [p[1] for p in points]
    else:
        points = sorted(points)
        at, value = [p[0] for p in points], [p[1] for p in points]
    slope, level = np.polyfit(at, value, 1) if len(at) > 1 else (0.0, value[0])
    return lambda station: (level + slope * np.asarray(station, float)) / 2


def _take_all(options, priors, progress):
    """Every photograph's sight in turn; pictures are let go as soon as they are traced."""
    outside, inside = photo_paths(options.photos), photo_paths(options.inside)
    paths = [(p, "outside") for p in outside] + [(p, "inside") for p in inside]
    sights: list[Sight] = []
    lenses: list[Lens] = []
    kinds: dict = {}
    left_out: list[PhotoResult] = []
    errors: list[MeasurementError] = []
    seen_hashes: set[str] = set()
    for k, (path, side) in enumerate(paths):
        try:
            photo = load_photo(path)
            if photo.sha256 in seen_hashes:
                continue
            seen_hashes.add(photo.sha256)
            sightings = find_cards(photo.bgr, photo.file)
            side = side_of(sightings, side, options.inside_cards)
            lens, source = choose_lens(photo, options.camera)
            photo = replace(photo, focal_source=source)
            kind = (photo.make, photo.model, photo.focal35_mm, photo.bgr.shape[:2], lens)
            sight = take_sight(
                photo, sightings, side, lens, options.card_on, stated_radii(options, (-750.0, 750.0)), priors,  # noqa: E501
            )  # fmt: skip
            if kind not in kinds:
                kinds[kind] = len(lenses)
                lenses.append(lens)
            sights.append(replace(sight, view=replace(sight.view, lens=kinds[kind])))
        except MeasurementError as error:
            errors.append(error)
            left_out.append(PhotoResult(str(path), "", side, False, error.text))
        if progress:
            progress(k + 1, len(paths))
    if not sights:
        raise errors[0] if errors else JointNotFitted("no-photos", "No photograph was given.")
    check_sides([s.view for s in sights])
    return sights, lenses, left_out


def _tie(options, sights, views, lenses, placed: Placed, priors):
    """Leave out photographs tied to nothing; tie the two sides; find the stretch to fit."""
    tied = [i for i, c in enumerate(placed.cameras) if c is not None]
    untied = [
        _left_out(
            s,
            f"{s.photo.file}: none of its cards is in another photograph of the joint, so that it "
            "cannot be tied to them; photograph so that neighbours share a card.",
        )
        for i, s in enumerate(sights)
        if i not in tied
    ]
    sights = [sights[i] for i in tied]
    views = [views[i] for i in tied]
    placed = Placed([placed.cameras[i] for i in tied], placed.cards)
    hung = stated_radii(options, _seen_stretch(sights, placed, "outside"))[
        "lower" if options.card_on == "lower" else "upper"
    ]
    half = priors.unknown_radius_mm if hung is None else float(hung(np.zeros(1))[0])
    try:
        placed = tie_sides(
            sights, views, placed, half + priors.standoff_mm, options.wall_thickness_mm
        )
    except JointNotFitted as error:
        untied += [
            _left_out(s, f"{s.photo.file} is left out: {error.text}")
            for s in sights if s.view.side == "inside"
        ]  # fmt: skip
        kept = [i for i, v in enumerate(views) if v.side == "outside"]
        sights, views = [sights[i] for i in kept], [views[i] for i in kept]
        placed = Placed(
            [placed.cameras[i] for i in kept],
            {n: c for n, c in placed.cards.items() if c.side == "outside"},
        )
    seen = _seen_stretch(sights, placed)
    low = options.from_mm if options.from_mm is not None else seen[0]
    high = options.to_mm if options.to_mm is not None else seen[1]
    if low >= seen[1] or high <= seen[0]:
        raise JointNotFitted(
            "stations-outside",
            f"The photographs show stations {seen[0]:.0f} to {seen[1]:.0f} mm, and none of "
            f"{low:.0f} to {high:.0f} mm that was asked for; photograph that stretch or correct "
            "--from and --to (mm right of the lowest-numbered card's nail).",
        )
    return sights, views, placed, (low, high), untied


def _seen_stretch(sights, placed: Placed, side: str | None = None) -> tuple[float, float]:
    """First and last station at which any photograph (of one side) shows an outline, roughly."""
    spans = []
    for sight, camera in zip(sights, placed.cameras, strict=True):
        if side is not None and sight.view.side != side and len(sights) > 1:
            continue
        out = 1.0 if sight.view.side == "outside" else -1.0
        nails = [placed.cards[c.number].nail_mm[2] for c in sight.view.sightings]
        z = float(np.median(nails)) - out * Priors().unknown_radius_mm
        ok = (sight.trace.lower.state == SEEN) | (sight.trace.upper.state == SEEN)
        x = camera.plane_point(sight.trace.lower.xy_px[ok], z)[:, 0]
        spans.append((float(x.min()), float(x.max())))
    return (min(a for a, _ in spans), max(b for _, b in spans)) if spans else (-750.0, 750.0)


def _fit(sights, views, lenses, placed, stretch, radii, priors) -> Joint:
    views[:] = [
        replace(v, outlines=outlines_of(s.trace)) for s, v in zip(sights, views, strict=True)
    ]  # noqa: E501
    reach = stretch[0] - BEYOND_MM, stretch[1] + BEYOND_MM
    start = first_joint(placed, views, lenses, reach, radii, priors)
    for i, s in enumerate(sights):
        views[i] = replace(views[i], outlines=_within(s, start, i, stretch))
    return fit_joint(views, lenses, start, radii, priors)


def _within(sight: Sight, joint: Joint, index: int, stretch) -> tuple:
    """The photograph's outline points that lie in the fitted stretch."""
    out = []
    for o in outlines_of(sight.trace):
        _, station = residuals(joint.cameras[index], o, joint)
        keep = (station > stretch[0] - BEYOND_MM) & (station < stretch[1] + BEYOND_MM)
        if keep.any():
            out.append(replace(o, xy_px=o.xy_px[keep], u_px=o.u_px[keep]))
    return tuple(out)


def _second_look(sight: Sight, joint: Joint, index: int) -> Sight:
    """Trace again near where the joint of all photographs says that the outlines are."""
    camera = joint.cameras[index]
    guides = []
    for log, into_gap in (("upper", 1.0), ("lower", -1.0)):
        line = getattr(sight.trace, log)
        u = np.ones(len(line.xy_px))
        miss, _ = residuals(camera, Outline(log, line.xy_px, u), joint)
        guides.append(line.xy_px - np.stack([0 * miss, into_gap * miss], 1))
    return retrace(sight, *guides)


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
    photos = tuple(
        _photo_result(s, v, joint, i, scale)
        for i, (s, v) in enumerate(zip(sights, views, strict=True))
    )
    cards = _card_results(joint, photos, scale)
    by_hand = tuple(replace(b, place=place_at(cards, b.place.station_mm)) for b in by_hand)
    decides = np.zeros(len(station))
    decides[shown] = p.decides
    findings = Findings(
        options, station * scale, shown, seen, true(p.setting), photos, left_out, cards,
        joint, tuple(views), profile, decides, _crown_radii(joint, station, radii, scale),
        tuple(
            GapShift(s.photo, s.gap_mm * scale, s.u_mm * scale, s.moves_mm * scale)
            for s in shifts
        ),
        by_hand,
    )  # fmt: skip
    without = None
    if alone is not joint:
        without = gap_profile(alone, at, options.cover_mm, risk_alone)
    decision = decide(
        joint, at * scale, risk * scale, scale, options, tuple(x * scale for x in stretch),
        {log: _true_half(half, scale) for log, half in radii.items()},
        options.cover_mm * scale, set_to, (width * scale, u_width * scale),
    )  # fmt: skip
    narrowest = Quantity(float(width[narrow]), float(u_width[narrow]), K95 * float(u_width[narrow]))
    return Measurement(
        status="doubtful" if is_doubtful(findings) else "measured",
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
        cautions=beyond_scriber(set_to, options)
        + find_cautions(findings)
        + decision_cautions(decision, lambda x: place_at(cards, x), options.units),
        decision=decision,
        by_hand=by_hand,
        alone=without and Alone(true(without.widest), true(without.setting)),
    )


def _true_half(half, scale: float):
    """A stated half diameter by station, both in true mm; None where none is stated."""
    return None if half is None else lambda station: half(station / scale) * scale


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


def u_label(sights, views, joint: Joint, station_mm: np.ndarray) -> np.ndarray:
    """What wrongly labelled outlines may add to the gap at stations (n,), sd, mm.

    Notes
    -----
    Where a part p of a photograph's outlines could not be labelled clearly, about as much of the rest
    is taken to be labelled clearly and wrongly, by half a usual gap. Three photographs and more that
    show the same station outvote each other, so that their parts are multiplied. Two do not: each
    alone fixes one of height and crowns' offset, and either's error moves the gap by about half.
    """
    parts = []
    for i, sight in enumerate(sights):
        lines = (sight.trace.upper, sight.trace.lower)
        unsure = sum(int((x.state == UNSURE).sum()) for x in lines)
        clear = sum(int((x.state == SEEN).sum()) for x in lines)
        at = np.concatenate([residuals(joint.cameras[i], o, joint)[1] for o in views[i].outlines])
        here = (station_mm > at.min() - NEAR_MM) & (station_mm < at.max() + NEAR_MM)
        part = max(unsure / max(unsure + clear, 1), LEAST_PART)
        parts.append(np.where(here, part, np.nan))
    count = np.isfinite(parts).sum(0)
    product, total = np.nanprod(parts, 0), np.nansum(parts, 0)
    part = np.where(count == 2, total / 4, product)  # without any photograph the product is 1
    return WRONG_LABEL_MM * np.sqrt(part)


def u_shift(shifts: tuple[GapShift, ...]) -> float:
    """What photographs whose gap disagrees with the others' may have moved the joint's gap by, sd, mm.

    As any of them may be the wrong one, the largest move counts.
    """
    moves = [s.moves_mm for s in shifts if s.size > CHANCE_U]
    return min(max(moves, default=0.0), WRONG_LABEL_MM)


def _seen_stations(views: list[View], joint: Joint, station: np.ndarray) -> np.ndarray:
    seen = {}
    for log in ("lower", "upper"):
        at = [
            residuals(c, o, joint)[1]
            for v, c in zip(views, joint.cameras, strict=True) for o in v.outlines if o.log == log
        ]  # fmt: skip
        seen[log] = near(station, np.concatenate([*at, np.empty(0)]))
    return seen["lower"] & seen["upper"]


def _short_runs(unseen: np.ndarray, station: np.ndarray) -> np.ndarray:
    out = np.zeros_like(unseen)
    for run in runs(unseen):
        length = (run.stop - run.start) * STATION_STEP_MM
        if length <= LONGEST_UNSEEN_MM and run.start > 0 and run.stop < len(station):
            out[run] = True
    return out


def _card_results(
    joint: Joint, photos: tuple[PhotoResult, ...], scale: float
) -> tuple[CardResult, ...]:
    return tuple(
        CardResult(
            c.number, c.side, float(c.nail_mm[0]) * scale, -math.degrees(float(c.tilt_rad[0])),
            tuple(Path(p.file).name for p in photos if c.number in p.cards),
        )
        for c in joint.cards
    )  # fmt: skip


def _photo_result(sight: Sight, view: View, joint: Joint, index: int, scale: float) -> PhotoResult:
    camera = joint.cameras[index]
    middle = float(np.mean(joint.coefficients["z_l"]))
    trace = sight.trace
    mid_px = 0.5 * (trace.upper.xy_px + trace.lower.xy_px)
    axis = camera.plane_point(mid_px, middle)[:, 0]
    heights = joint.sections(np.clip(axis, axis.min(), axis.max()))
    level = 0.5 * (float(np.mean(heights.h_l)) + float(np.mean(heights.h_u)))
    miss = np.concatenate(list(joint.residual_px[index].values()) or [np.array([np.nan])])
    both = (trace.upper.state == SEEN) & (trace.lower.state == SEEN)
    return PhotoResult(
        file=str(sight.photo.path), sha256=sight.photo.sha256, side=view.side, used=True,
        height_mm=float(camera.centre_mm[1] - level) * scale,
        distance_mm=float(abs(camera.centre_mm[2] - middle)) * scale,
        from_mm=float(axis[both].min()) * scale, to_mm=float(axis[both].max()) * scale,
        cards=tuple(s.number for s in view.sightings), lens=sight.photo.focal_source,
        camera=_camera(sight), taken=sight.photo.taken,
        residual_px=float(np.median(np.abs(miss))) * 1.4826,
        upper_px=trace.upper.xy_px[trace.upper.state == SEEN],
        lower_px=trace.lower.xy_px[trace.lower.state == SEEN],
        axis_px=mid_px, axis_station_mm=axis * scale, axis_state=_states(trace),
    )  # fmt: skip


def _camera(sight: Sight) -> CameraKey:
    """As `cameras.key_of`, when the pixels are let go."""
    photo, (width, height) = sight.photo, sight.view.size
    return CameraKey(
        photo.make, photo.model, photo.lens, max(width, height), min(width, height),
        photo.focal35_mm,
    )  # fmt: skip


def _states(trace: Trace) -> np.ndarray:
    """What holds for both outlines by block: seen where both are, else what hinders most."""
    out = np.full(len(trace.upper.state), UNSURE)
    for state in (SHUT, HIDDEN, OUTSIDE):
        out[(trace.upper.state == state) | (trace.lower.state == state)] = state
    out[(trace.upper.state == SEEN) & (trace.lower.state == SEEN)] = SEEN
    return out
