"""What a measured joint cannot know, found as the photograph to take or the reading to make."""

from __future__ import annotations

import numpy as np

from gapvision.advice.blindspots import gap_shut, hollow, near_crown, one_photo, undecided
from gapvision.advice.card_cautions import find_card_cautions, station_origin_moved
from gapvision.advice.caution import Caution, capped
from gapvision.advice.decision import Decision
from gapvision.advice.findings import (
    HEIGHTS_APART,
    LONG_MM,
    STEEPER,
    Findings,
    slopes,
    stretches,
    traced,
)
from gapvision.advice.given import (
    damaged_photos,
    diameters_contradicted,
    hours_apart,
    lens_contradicted,
    perhaps_several,
    reduced_copies,
)
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.agreement import K
from gapvision.joint.by_hand import DISAGREES_U, DOUBTFUL_U
from gapvision.joint.model import through_wall
from gapvision.joint.seen import LONGEST_UNSEEN_MM, STATION_STEP_MM
from gapvision.trace.outlines import HIDDEN, OUTSIDE

ONE_HEIGHT = 0.05  # slopes of sight, rad: no hand means to hold two heights nearer than this

LEAST_UNSEEN_MM = 15.0
MISFIT_PX = 4.0  # robust spread of an outline's residuals
# u by which a photograph's gap is off the others'. Over 78 simulated joints at most 2.5 where nothing
# moved, and up to 2.7 on rendered photographs that were traced rightly.
MOVED_U = 3.5
USUAL_U95_MM = 1.5  # of three heights: docs/results.md
GAIN_FROM_MM = 2.0  # nobody is promised less than there is already
BEYOND_MM = 100.0  # of joint past the measured stretch, looked at for what hides it
USUAL_LOG_MM = 150.0, 600.0  # thick, 6 to 24 in; common practice, no source
WALL_DISAGREES_MM = 20.0  # twice what a measured wall is believed to; the fit has met it half way
CARD_REACH_MM = 170.0  # half a card and its backing, seen askew
MOST_UNSEEN = 5


def find_cautions(f: Findings) -> tuple[Caution, ...]:
    """All cautions, the gravest first."""
    moved = _moved(f)
    out = (
        perhaps_several(f)
        + diameters_contradicted(f)
        + lens_contradicted(f)
        + damaged_photos(f)
        + _not_seen(f)
        + _misfits(f)
        + _drawn_off(f)
        + _steps(f)
        + moved
        + _odd_sizes(f)
        + _wall(f)
    )
    out += _by_hand_off(f)
    out += [Caution("left-out", facts={"photo": p}) for p in f.left_out]
    out += hours_apart(f) + reduced_copies(f)
    out += station_origin_moved(f)
    out += find_card_cautions(f)
    out += _heights(f)
    out += undecided(f) + near_crown(f) + gap_shut(f) + one_photo(f)
    if not moved:  # a log that moved looks flat all along
        out += hollow(f)
    out += _ends(f)
    bridged = stretches(f, f.shown & ~f.seen, least_mm=LEAST_UNSEEN_MM)
    out += capped([Caution("bridged", a, b) for a, b in bridged])
    return (*out, *_untaped(f))


def decision_cautions(d: Decision) -> tuple[Caution, ...]:
    """A caution for each limit that may be broken, and for heights that cannot be told."""
    broken = (
        Caution(f"limit-{j.rule.what}", j.from_mm, j.to_mm, facts={"judged": j, "rules": d.rules})
        for j in d.judged
        if j.verdict != "kept"
    )
    return (*broken, *(Caution("height-outside", x, x) for x in d.heights_outside_mm))


def beyond_scriber(set_to_mm: float, options: MeasureOptions) -> tuple[Caution, ...]:
    """A caution where the setting is wider than the scriber opens; none where that is not stated."""
    largest = options.scriber.largest_mm
    if largest is None or set_to_mm <= largest:
        return ()
    facts = {"largest_mm": largest, "over_mm": set_to_mm - largest}
    return (Caution("scriber-too-small", facts=facts),)


def _not_seen(f: Findings) -> list[Caution]:
    """Long stretches that no photograph shows, and an end that something hides."""
    found = stretches(f, ~f.shown, least_mm=LONGEST_UNSEEN_MM)
    named = MOST_UNSEEN if len(found) <= MOST_UNSEEN else MOST_UNSEEN - 1
    out = []
    for a, b in found[:named]:
        facts = {"hidden": _hidden(f, a, b) and _is_end(f, a, b)}
        out.append(Caution("not-seen", a, b, doubtful=True, facts=facts))
    rest = found[named:]
    if rest:
        ends = rest[0][0], rest[-1][1]
        out.append(Caution("not-seen", *ends, doubtful=True, facts={"stretches": len(rest)}))
    for a, b in stretches(f, ~f.shown, least_mm=LEAST_UNSEEN_MM):
        if b - a <= LONGEST_UNSEEN_MM and _is_end(f, a, b) and _hidden(f, a, b):
            out.append(Caution("crossing", a, b))
    return out


def _is_end(f: Findings, a: float, b: float) -> bool:
    return a < f.station_mm[0] or b > f.station_mm[-1]


def _hidden(f: Findings, a: float, b: float) -> bool:
    """Whether something stands in front of most of a stretch in some photograph."""
    here = (f.station_mm >= a) & (f.station_mm <= b)
    return bool((traced(f)[2][:, here].mean(1) > 0.5).any())


def _misfits(f: Findings) -> list[Caution]:
    """Photographs that contradict all the others, or whose outlines miss the fitted logs."""
    out = [Caution("misfit", doubtful=True)] if f.contradict else []
    for p in f.photos:
        if p.residual_px > MISFIT_PX:
            facts = {"photo": p.name, "miss_px": p.residual_px}
            out.append(Caution("misfit", p.from_mm, p.to_mm, doubtful=True, facts=facts))
    return out


def _drawn_off(f: Findings) -> list[Caution]:
    """Lines drawn by hand that the other photographs contradict: either may be wrong."""
    return capped([
        Caution(
            "hand-disagrees", x.from_mm, x.to_mm, doubtful=True,
            facts={"photo": f.photos[x.photo].name, "log": x.log, "off_mm": x.off_mm},
        )
        for x in f.drawn_off
    ])  # fmt: skip


def _steps(f: Findings) -> list[Caution]:
    """Lines that go over to another edge: which part of them is right cannot be told."""
    out = []
    for p in f.photos:
        for s in p.steps:
            if f.station_mm[0] <= s.station_mm <= f.station_mm[-1]:
                facts = {"photo": p.name, "log": s.log, "step_mm": s.step_mm}
                at = s.station_mm
                out.append(Caution("line-steps", at, at, doubtful=True, facts=facts))
    return capped(out)


def _moved(f: Findings) -> list[Caution]:
    """The photograph whose gap is not the gap of the others.

    With three heights the photographs hold one check only, so that all three are equally off: the
    one that needs to be wrong by least is named, and that it may be another.
    """
    far = [s for s in f.shifts if s.size > MOVED_U]
    if not far:
        return []
    top = max(s.size for s in far)
    near = [s for s in far if s.size > 0.7 * top]
    likeliest = min(near, key=lambda s: abs(s.gap_mm))
    photo = f.photos[likeliest.photo]
    facts = {"photo": photo.name, "wider_mm": likeliest.gap_mm, "or_another": len(near) > 1}
    return [Caution("log-moved", photo.from_mm, photo.to_mm, doubtful=True, facts=facts)]


def _odd_sizes(f: Findings) -> list[Caution]:
    """Logs of no stated diameter that come out as thick as no wall log is: their curve is not seen."""
    out = []
    for log, r in f.radii.items():
        thick = 2 * float(np.median(r.fitted_mm[f.shown]))
        if r.stated_mm is None and not USUAL_LOG_MM[0] <= thick <= USUAL_LOG_MM[1]:
            facts = {"log": log, "thick_mm": thick}
            out.append(Caution("odd-size", doubtful=True, facts=facts))
    return out


def _wall(f: Findings) -> list[Caution]:
    """A wall that was stated, and that the photographs and the diameters make another."""
    stated = f.options.cards.wall_thickness_mm
    if stated is None:
        return []
    through = through_wall(f.joint)
    if through is None or abs(through[1] - stated) < WALL_DISAGREES_MM:
        return []
    facts = {"stated_mm": stated, "found_mm": through[1]}
    return [Caution("wall-disagrees", facts=facts)]


def _by_hand_off(f: Findings) -> list[Caution]:
    """Caliper readings and trial lines that the photographs alone contradict.

    One that is wrong would otherwise pull the answer to it; far off it makes the answer doubtful.
    """
    out = []
    for b in f.by_hand:
        off_u = abs(b.e_number) * K
        if off_u > DISAGREES_U:
            code, facts = "reading-disagrees", dict[str, object](entry=b)
            if b.width is not None:
                code, facts = "trial-disagrees", facts | {"width": b.width}
            out.append(Caution(code, doubtful=off_u > DOUBTFUL_U, facts=facts))
    return out


def _heights(f: Findings) -> list[Caution]:
    """Photographs that are all from about one height."""
    apart = float(np.ptp(slopes(f.photos)))
    if apart >= HEIGHTS_APART:
        return []
    n, d = len(f.photos), f.distance_mm
    facts = {
        "photos": n,
        "u95_mm": f.setting.U95_mm,
        "gain_u95_mm": USUAL_U95_MM if f.setting.U95_mm > GAIN_FROM_MM else None,
        "height_mm": STEEPER * d,
        "long_log": f.length_mm > LONG_MM,
    }
    if n > 1 and apart >= ONE_HEIGHT:
        return [Caution("heights-too-alike", facts=facts | {"apart_mm": apart * d})]
    return [Caution("one-height", facts=facts)]


def _untaped(f: Findings) -> list[Caution]:
    """Logs whose diameter was not stated."""
    stated = {"upper": f.options.upper_diameter, "lower": f.options.lower_diameter}
    logs = [log for log, diameter in stated.items() if diameter is None]
    return [Caution("no-diameter", facts={"logs": logs})] if logs else []


def _ends(f: Findings) -> list[Caution]:
    """Ends of the measured stretch that nobody stated to be the notch."""
    out = []
    for given, end, side, outwards in (
        (f.options.stretch.from_mm, float(f.station_mm[0]), "left", -1.0),
        (f.options.stretch.to_mm, float(f.station_mm[-1]), "right", 1.0),
    ):
        if given is None:
            facts: dict[str, str | bool] = {"end": side}
            if marked := _marked_beyond(f, end, outwards):
                facts["marked"] = True
            hidden = marked or _hidden_beyond(f, end, outwards)
            code = "crossing" if hidden else "notch-not-confirmed"
            out.append(Caution(code, end, end, facts=facts))
    return out


def _marked_beyond(f: Findings, end: float, outwards: float) -> bool:
    """Whether what is past an end was marked by hand as not the gap."""
    stretches_mm = (s for p in f.photos if p.corrected for s in p.corrected.given.not_gap)
    return any(low <= end + outwards * STATION_STEP_MM * 2 <= high for low, high in stretches_mm)


def _hidden_beyond(f: Findings, end: float, outwards: float) -> bool:
    """Whether what is past an end, inside a picture, is mostly hidden by anything but a card."""
    if any(abs(c.station_mm - end) < CARD_REACH_MM for c in f.cards):
        return False
    for p in f.photos:
        past = outwards * (p.outlines.axis_station_mm[: len(p.outlines.axis_state)] - end)
        beyond = p.outlines.axis_state[(past > 0) & (past < BEYOND_MM)]
        inside = beyond[beyond != OUTSIDE]
        if len(inside) and (inside == HIDDEN).mean() > 0.5:
            return True
    return False
