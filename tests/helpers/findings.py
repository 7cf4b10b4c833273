"""What the cautions are read from, of a joint from three heights of which nothing need be said."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from gapvision.advice.findings import Findings
from gapvision.inputs.options import MeasureOptions, Stretch
from gapvision.joint.gap import Profile
from gapvision.joint.photo_results import CardResult, PhotoOutlines, PhotoResult
from gapvision.lengths import parse_diameter
from gapvision.quantity import Quantity
from gapvision.trace.outlines import SEEN

STATION = np.arange(-740.0, 861.0, 5.0)
FAR = 1500.0  # mm, camera to joint
CLEAN = MeasureOptions(
    photos=(Path("level.jpg"),),
    upper_diameter=parse_diameter("290,310"),
    lower_diameter=parse_diameter("320"),
    stretch=Stretch(-740.0, 860.0),
)


def photo(file, height_mm, residual_px=0.9, side="outside", span=(-900.0, 1000.0), other=()):
    """A photograph that shows the joint over a span, but for other states as (state, from, to)."""
    block = np.arange(*span, 4.0)
    state = np.full(len(block), SEEN)
    for what, a, b in other:
        state[(block >= a) & (block < b)] = what
    return PhotoResult(
        file, "0" * 64, side, True, height_mm=height_mm, distance_mm=FAR, from_mm=-740.0,
        to_mm=860.0, cards=(1, 2), residual_px=residual_px,
        outlines=PhotoOutlines(axis_station_mm=block, axis_state=state),
    )  # fmt: skip


def heights(**other):
    """Level, above and below, where ``other`` gives a photograph's states."""
    return tuple(
        photo(f"joint/{name}.jpg", height, other=other.get(name, ()))
        for name, height in (("level", 10.0), ("above", 340.0), ("below", -325.0))
    )


THREE_HEIGHTS = (
    photo("joint/level.jpg", 10.0),
    photo("joint/above.jpg", 340.0),
    photo("joint/below.jpg", -325.0),
)


def showing_cards(corner_px, u_px=None, cards=()):
    """Of a joint what the cards show in each photograph: corners' misses and their u by number."""
    photos = tuple(
        SimpleNamespace(
            corner_px=misses,
            rows=SimpleNamespace(
                sightings=[SimpleNamespace(number=n, u_px=u) for n, u in (u_px or {}).items()]
            ),
        )
        for misses in corner_px
    )
    return SimpleNamespace(photos=photos, cards=cards)


def findings(
    unseen=(), bridged=(), u95=1.2, photos=THREE_HEIGHTS, corner_px=0.1, u_px=0.06, **more
):
    """A joint from three heights with two cards, of which nothing need be said."""
    shown, seen = np.ones(len(STATION), bool), np.ones(len(STATION), bool)
    for a, b in unseen:
        shown &= ~((a <= STATION) & (b > STATION))
    for a, b in bridged:
        seen &= ~((a <= STATION) & (b > STATION))
    at = more.get("station_mm", STATION)
    flat, little = np.full(len(at), 46.0), np.full(len(at), 0.8)
    values = {
        "options": CLEAN,
        "station_mm": STATION,
        "shown": shown,
        "seen": seen & shown,
        "setting": Quantity(46.0, u95 / 2, u95),
        "photos": photos,
        "left_out": (),
        "cards": (CardResult(1, "outside", 0.0, 1.0, ()), CardResult(2, "outside", 700, -2.4, ())),
        "joint": showing_cards([{1: 0.2, 2: corner_px} for _ in photos], {1: 0.06, 2: u_px}),
        "profile": Profile(*[at] * 5, flat, little),  # as likely to decide here as there
        "decides": np.full(len(at), 1 / len(at)),
        "radii": {},
    }  # fmt: skip
    return Findings(**(values | more))


LONG = np.arange(0.0, 6001.0, 10.0)


def long_log(peaks, height=0.0, u=0.3, **more):
    """A level sweep of 6 m whose need peaks at stations by mm, each likely to decide."""
    need = 30.0 + sum(h * np.exp(-0.5 * ((LONG - at) / 120.0) ** 2) for at, h in peaks)
    decides = np.zeros(len(LONG))
    for at, _ in peaks:
        decides[np.argmin(np.abs(LONG - at))] = 1 / len(peaks)
    sweep = tuple(
        photo(f"{k}.jpg", height, span=(k * 1200.0 - 200, k * 1200.0 + 1500)) for k in range(5)
    )
    values = {
        "station_mm": LONG,
        "shown": np.ones(len(LONG), bool),
        "seen": np.ones(len(LONG), bool),
        "profile": Profile(*[LONG] * 5, need, np.full(len(LONG), u)),
        "decides": decides,
        "photos": sweep,
        "joint": showing_cards([{1: 0.1, 2: 0.1}] * 5),
        "options": replace(CLEAN, stretch=Stretch(0.0, 6000.0)),
        "u95": 3.4,
    }
    return findings(**(values | more))
