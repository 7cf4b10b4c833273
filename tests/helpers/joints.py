"""Measurements made up for the tests of what is told and drawn of them."""

from dataclasses import replace

import numpy as np

from gapvision.advice.caution import told
from gapvision.joint.gap import Profile
from gapvision.joint.photo_results import CardResult, Lack, PhotoOutlines, PhotoResult
from gapvision.measurement import Measurement
from gapvision.quantity import Place, Quantity
from gapvision.trace.outlines import SEEN, SHUT

WIDEST_MM, DECIDING_MM = 310.0, -440.0  # stations of `joint`

# A photograph of 1800 x 1300 px in which the station s mm right of its middle stands at column
# 880 + 0.9 s, the gap's middle runs downhill, and both outlines are dead straight.
PHOTO_SHAPE = (1300, 1800, 3)


def photo_x(station):
    return 880 + 0.9 * np.asarray(station, float)


def upper_y(station):
    return 640 + 0.02 * np.asarray(station, float)


def lower_y(station):
    return upper_y(station) + 40


def photo(file="joint.jpg", first=-900.0, last=900.0, hidden=None, middle=0.0, **changes):
    """A photograph that shows the joint from station to station but for a hidden stretch."""
    station = np.arange(first, last + 1, 5.0)
    seen = np.full(len(station), True)
    if hidden:
        seen = (station <= hidden[0]) | (station >= hidden[1])
    at = station - middle
    upper, lower = np.c_[photo_x(at), upper_y(at)], np.c_[photo_x(at), lower_y(at)]
    state = np.where(seen, SEEN, SHUT)
    shown = PhotoResult(
        file, "0" * 64, "outside", True, height_mm=4.0, distance_mm=1500.0,
        from_mm=first, to_mm=last, cards=(1, 2), residual_px=0.5,
        outlines=PhotoOutlines(
            upper_px=upper[seen], lower_px=lower[seen], axis_px=(upper + lower) / 2,
            axis_station_mm=station, axis_state=state, upper_state=state, lower_state=state,
        ),
    )  # fmt: skip
    traced = {k: changes.pop(k) for k in [*changes] if k in PhotoOutlines.__slots__}
    return replace(shown, outlines=replace(shown.outlines, **traced), **changes)


def joint(hidden=None, first=-900.0, last=900.0, deciding=DECIDING_MM, **changes):
    """A measured joint, 49 mm for 75; NaN in a hidden stretch."""
    station = np.arange(first, last + 1, 10.0)
    u = np.full(len(station), 0.8)
    gap = 30 + 8 * np.exp(-(((station - WIDEST_MM) / 200) ** 2))
    need = 38 + 9 * np.exp(-(((station - deciding) / 200) ** 2))
    groove = 75 + 2.5 * (49 - need)
    if hidden:
        for values in (gap, need, groove, u):
            values[(station >= hidden[0]) & (station < hidden[1])] = np.nan
    answer = Measurement(
        status="measured",
        cover_mm=75.0,
        widest_gap=Quantity(38.0, 0.9, 1.8),
        widest_place=Place(WIDEST_MM, 2, -390.0),
        setting=Quantity(47.0, 1.0, 2.0),
        set_to_mm=49.0,
        deciding_place=Place(deciding, 1, deciding),
        narrowest_groove=Quantity(80.0, 2.0, 4.0),
        narrowest_place=Place(deciding, 1, deciding),
        profile=Profile(station, gap, u, groove, 2.5 * u, need, u),
        photos=(photo(hidden=hidden),),
        cards=tuple(CardResult(i + 1, "outside", 700.0 * i, 0.4, ("joint.jpg",)) for i in range(2)),
        cautions=(
            told("one-height", "One photograph is not much."),
            told("end", "No notch."),
        ),
    )
    return replace(answer, **changes)


def whole_log():
    """6 m of log, decided at 3900 mm: 8 level photographs, two above and two below, 7 cards."""
    cards = tuple(CardResult(i + 1, "outside", 870.0 * i, 0.4, ()) for i in range(7))

    def taken(name, middle, height, hidden=None):
        first, last = max(middle - 950.0, -400.0), min(middle + 950.0, 5600.0)
        seen = tuple(c.number for c in cards if first < c.station_mm - 150 < last - 300)
        return photo(name, first, last, hidden=hidden, middle=middle, cards=seen, height_mm=height)

    level = [taken(f"level-{i + 1}.jpg", 730.0 * i + 50, 12.0 * (i % 3)) for i in range(8)]
    raised = [
        taken(f"{name}-{i + 1}.jpg", middle, height, (middle - 500, middle - 250) if i else None)
        for name, height in (("above", 330.0), ("below", -330.0))
        for i, middle in enumerate((1500.0, 3890.0))
    ]
    answer = joint(first=-400.0, last=5600.0, deciding=3900.0, cards=cards)
    return replace(
        answer,
        photos=(
            *level,
            *raised,
            PhotoResult(
                "dark.jpg", "1" * 64, "outside", False, Lack("no-card", {"text": "Too dark."})
            ),
        ),
        deciding_place=Place(3900.0, 5, 420.0),
        narrowest_place=Place(3900.0, 5, 420.0),
    )
