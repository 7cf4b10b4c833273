"""What a measured joint cannot know, told as the photograph to take or the reading to make."""

from __future__ import annotations

import numpy as np

from gapvision.advice.blindspots import gap_shut, hollow, near_crown, one_photo, undecided
from gapvision.advice.card_cautions import find_card_cautions, station_origin_moved
from gapvision.advice.caution import Caution, capped
from gapvision.advice.findings import (
    HEIGHTS_APART,
    LONG_MM,
    STEEPER,
    Findings,
    place,
    slopes,
    speaker,
    stretches,
    traced,
)
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.agreement import K
from gapvision.joint.by_hand import DISAGREES_U, DOUBTFUL_U, ByHand
from gapvision.joint.model import through_wall
from gapvision.joint.photo_results import PhotoResult
from gapvision.joint.seen import LONGEST_UNSEEN_MM
from gapvision.lengths import CHECK_BAR_MM, format_length
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


def is_doubtful(f: Findings) -> bool:
    """Whether the setting is only a lower bound: a long stretch unseen, or data against the model."""
    return (
        bool(_unseen(f))
        or bool(_misfits(f))
        or bool(_moved(f))
        or bool(_steps(f))
        or bool(_odd_sizes(f))
        or f.contradict
        or bool(_by_hand_off(f, DOUBTFUL_U))
    )


def find_cautions(f: Findings) -> tuple[Caution, ...]:
    """All cautions, the gravest first."""
    moved, say = _moved(f), speaker(f)
    out = _not_seen(f)
    if f.contradict:
        text = (
            "The photographs contradict each other by a centimetre or more, and it cannot be told which is "
            "wrong: a shadow or something behind the gap is taken for a log in one of them, or a log "
            "moved. Look at the picture of each by itself, and photograph again."
        )
        out.append(Caution("misfit", text))
    for p in _misfits(f):
        text = (
            f"{p.name}: its outlines miss the fitted logs by {p.residual_px:.0f} px from "
            f"{say(p.from_mm)} to {say(p.to_mm)}; a card or log moved, or the tracing went wrong: "
            "look at the picture, photograph that stretch again."
        )
        out.append(Caution("misfit", text, p.from_mm, p.to_mm))
    out += _steps(f) + moved + _odd_sizes(f) + _wall(f)
    out += _by_hand_off(f, DISAGREES_U)
    out += [Caution("left-out", p.lacked) for p in f.left_out]
    out += station_origin_moved(f)
    out += find_card_cautions(f)
    out += _heights(f)
    out += undecided(f) + near_crown(f) + gap_shut(f) + one_photo(f)
    if not moved:  # a log that moved looks flat all along
        out += hollow(f)
    out += _ends(f)
    bridged = [
        Caution(
            "bridged",
            f"From {say(a)} to {say(b)} the gap is bridged, not seen: look whether something special "
            "is there, and put the caliper there if so.",
            a,
            b,
        )  # fmt: skip
        for a, b in stretches(f, f.shown & ~f.seen, least_mm=LEAST_UNSEEN_MM)
    ]
    out += capped(bridged)
    missing = [
        w
        for w, d in (("upper", f.options.upper_diameter), ("lower", f.options.lower_diameter))
        if d is None
    ]  # noqa: E501
    if missing:
        text = (
            f"No diameter stated for the {' and the '.join(missing)} log; tape both ends and "
            "state them: the groove's width is known better then."
        )
        out.append(Caution("no-diameter", text))
    return tuple(out)


def _odd_sizes(f: Findings) -> list[Caution]:
    """Logs of no stated diameter that come out as thick as no wall log is: their curve is not seen."""
    out = []
    for log, r in (f.radii or {}).items():
        thick = 2 * float(np.median(r.fitted_mm[f.shown]))
        if r.stated_mm is None and not USUAL_LOG_MM[0] <= thick <= USUAL_LOG_MM[1]:
            text = (
                f"The photographs alone make the {log} log {speaker(f)(thick)} thick, as hardly any "
                f"log is: tape it at both ends and state it by --{log}-diameter."
            )
            out.append(Caution("odd-size", text))
    return out


def _wall(f: Findings) -> list[Caution]:
    """A wall that was stated, and that the photographs and the diameters make another."""
    stated = f.options.cards.wall_thickness_mm
    through = None if stated is None else through_wall(f.joint)
    if through is None or abs(through[1] - stated) < WALL_DISAGREES_MM:
        return []
    say, scale = speaker(f), f.options.cards.printed_bar_mm / CHECK_BAR_MM
    text = (
        f"Through the wall {say(stated * scale)} were stated; photographs and diameters still make it "
        f"{say(through[1] * scale)} from the outside to the inside cards: measure it again, and the "
        "logs' diameters."
    )
    return [Caution("wall-disagrees", text)]


def _unseen(f: Findings) -> list[tuple[float, float]]:
    return stretches(f, ~f.shown, least_mm=LONGEST_UNSEEN_MM)


def _not_seen(f: Findings) -> list[Caution]:
    """Long stretches that no photograph shows, and an end that something hides."""
    say, found = speaker(f), _unseen(f)
    out = []
    for a, b in found[: MOST_UNSEEN if len(found) <= MOST_UNSEEN else MOST_UNSEEN - 1]:
        text = f"Not seen from {say(a)} to {say(b)}: the setting is only a lower bound there. Put "
        text += (
            "the caliper here: something in front hides it, as a crossing log does."
            if _hidden(f, a, b) and _is_end(f, a, b)
            else "the caliper here, or photograph this stretch level with the gap."
        )
        out.append(Caution("not-seen", text, a, b))
    rest = found[len(out) :]
    if rest:
        a, b = rest[0][0], rest[-1][1]
        text = (
            f"Not seen either are {len(rest)} more stretches from {say(a)} to {say(b)}: photograph "
            "the joint again, level with the gap and with a plain cloth behind it."
        )
        out.append(Caution("not-seen", text, a, b))
    for a, b in stretches(f, ~f.shown, least_mm=LEAST_UNSEEN_MM):
        if b - a <= LONGEST_UNSEEN_MM and _is_end(f, a, b) and _hidden(f, a, b):
            text = (
                f"From {say(a)} to {say(b)}, at the end of the stretch, something in front hides the "
                "joint, as a crossing log does: put the caliper here."
            )
            out.append(Caution("crossing", text, a, b))
    return out


def _is_end(f: Findings, a: float, b: float) -> bool:
    return a < f.station_mm[0] or b > f.station_mm[-1]


def _hidden(f: Findings, a: float, b: float) -> bool:
    """Whether something stands in front of most of a stretch in some photograph."""
    here = (f.station_mm >= a) & (f.station_mm <= b)
    return bool((traced(f)[2][:, here].mean(1) > 0.5).any())


def _misfits(f: Findings) -> list[PhotoResult]:
    return [p for p in f.photos if p.residual_px > MISFIT_PX]


def _steps(f: Findings) -> list[Caution]:
    """Lines that go over to another edge: which part of them is right cannot be told."""
    out = []
    for p in f.photos:
        for s in p.steps:
            if not f.station_mm[0] <= s.station_mm <= f.station_mm[-1]:
                continue
            text = (
                f"{p.name}: the {s.log} log's line steps by {speaker(f)(s.step_mm)} "
                f"{place(f, s.station_mm)}, as hardly any log does: a shadow, or what is behind the gap, is "
                "taken for the log on one side. Look at the picture, hang a cloth behind the gap, "
                "photograph again in other light, or put the caliper there."
            )
            out.append(Caution("line-steps", text, s.station_mm, s.station_mm))
    return capped(out, what="line")


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
    wider = "wider" if likeliest.gap_mm > 0 else "narrower"
    photo, say = f.photos[likeliest.photo], speaker(f)
    other = ", or another of them is as wrong" if len(near) > 1 else ""
    text = (
        f"{photo.name} shows the gap "
        f"{format_length(round(abs(likeliest.gap_mm), 1), f.options.units)} {wider} than the other "
        f"photographs allow, from {say(photo.from_mm)} to {say(photo.to_mm)}{other}: the upper log "
        "moved between them, or a line in the picture leaves its log. Look at the picture, make the "
        "log fast, photograph that stretch from all heights again."
    )
    return [Caution("log-moved", text, photo.from_mm, photo.to_mm)]


def _by_hand_off(f: Findings, limit: float) -> list[Caution]:
    """Caliper readings and trial lines that the photographs alone contradict by more than ``limit`` u.

    One that is wrong would otherwise pull the answer to it.
    """
    return [
        _reading_off(f, b) if b.width_mm is None else _trial_off(f, b)
        for b in f.by_hand
        if abs(b.e_number) * K > limit
    ]


def _reading_off(f: Findings, b: ByHand) -> Caution:
    say, off = f.options.units, b.difference_mm
    cure = (
        f"it looks like {b.slip}, and is left out: {b.cure}."
        if b.slip
        else "read again there, and look in the picture whether both lines lie on their logs."
    )
    text = (
        f"The caliper reading {format_length(round(b.setting_mm, 1), say)} "
        f"{place(f, b.place.station_mm)} is {format_length(round(abs(off), 1), say)} "
        f"{'wider' if off > 0 else 'narrower'} than the photographs show: {cure}"
    )
    return Caution("reading-disagrees", text)


def _trial_off(f: Findings, b: ByHand) -> Caution:
    say = speaker(f)
    cure = (
        f"it looks like {b.slip}, and is left out: {b.cure}."
        if b.slip
        else "try the points, measure it again from line to line, straight across, and look in the "
        "picture whether both lines lie on their logs."
    )
    text = (
        f"The trial line set to {format_length(round(b.setting_mm, 1), f.options.units)}, "
        f"{place(f, b.place.station_mm)}, is {say(b.width_mm)} wide where the photographs expect "
        f"{say(b.predicted_width_mm)}: {cure}"
    )
    return Caution("trial-disagrees", text)


def _heights(f: Findings) -> list[Caution]:
    apart = float(np.ptp(slopes(f.photos)))
    units, say = f.options.units, speaker(f)
    u95 = format_length(round(f.setting.U95_mm, 1), units)
    if apart < HEIGHTS_APART:
        n, d = len(f.photos), f.distance_mm
        code, lead = "one-height", "One height only"
        if n > 1 and apart < ONE_HEIGHT:
            lead = f"{n} photographs, but all from one height"
        elif n > 1:
            code = "heights-too-alike"
            lead = (
                f"{n} photographs, but from nearly one height, {say(apart * d)} apart where "
                f"{say(2 * STEEPER * d)} is good"
            )
        more = "Two more photographs"
        if f.length_mm > LONG_MM:
            more = "Photographs, where it could be decided,"
        gain = "check it"
        if f.setting.U95_mm > GAIN_FROM_MM:
            gain = f"bring it to about +-{format_length(USUAL_U95_MM, units)} on usual logs"
        text = (
            f"{lead}: the setting is known to +-{u95}, for the crowns' sideways offset cannot be "
            f"seen. {more} from {say(STEEPER * d)} above and below the gap {gain}."
        )
        return [Caution(code, text)]
    return []


def _ends(f: Findings) -> list[Caution]:
    """Ends of the measured stretch that nobody stated to be the notch."""
    say, out = speaker(f), []
    for given, end, side, outwards in (
        (f.options.stretch.from_mm, float(f.station_mm[0]), "left", -1.0),
        (f.options.stretch.to_mm, float(f.station_mm[-1]), "right", 1.0),
    ):
        if given is not None:
            continue
        stated = "--from" if side == "left" else "--to"
        if _hidden_beyond(f, end, outwards):
            text = (
                f"The measured stretch ends at {say(end)} on the {side} where something in front, as a "
                f"crossing log, hides the joint: put the caliper beyond, and state {stated}."
            )
            out.append(Caution("crossing", text, end, end))
            continue
        text = (
            f"The measured stretch ends at {say(end)} on the {side} where the view ends; it "
            "is not known to be the notch: all between the notches counts. State --from and "
            "--to, and put the caliper beyond."
        )
        out.append(Caution("notch-not-confirmed", text, end, end))
    return out


def _hidden_beyond(f: Findings, end: float, outwards: float) -> bool:
    """Whether what is past an end, inside a picture, is mostly hidden by anything but a card."""
    if any(abs(c.station_mm - end) < CARD_REACH_MM for c in f.cards):
        return False
    for p in f.photos:
        past = outwards * (p.axis_station_mm[: len(p.axis_state)] - end)
        beyond = p.axis_state[(past > 0) & (past < BEYOND_MM)]
        inside = beyond[beyond != OUTSIDE]
        if len(inside) and (inside == HIDDEN).mean() > 0.5:
            return True
    return False


def beyond_scriber(set_to_mm: float, options: MeasureOptions) -> tuple[Caution, ...]:
    """A caution where the setting is wider than the scriber opens; none where that is not stated."""
    largest = options.scriber.largest_mm
    if largest is None or set_to_mm <= largest:
        return ()
    say = options.units
    return (
        Caution(
            "scriber-too-small",
            f"The setting is wider than your scriber opens ({format_length(largest, say)}): take a "
            "larger scriber, or deepen the rough notches until the upper log lies at least "
            f"{format_length(set_to_mm - largest, say)} lower, and measure again.",
        ),
    )
