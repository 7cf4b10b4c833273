"""The drawing of the profile and its readings say what the JSON says."""

import numpy as np
import pytest
from helpers.answers import joint

from gapvision.page.profile_view import LEFT, RIGHT, profile_view
from gapvision.phrases import NO_BREAK
from gapvision.quantity import K95


def plain(text):
    return text.replace(NO_BREAK, " ")


@pytest.mark.parametrize("status", ["measured", "doubtful"])
def test_each_station_has_its_reading(status):
    m = joint(status)
    view, p = profile_view(m, "mm"), m.profile
    assert len(view.readings) == len(p.station_mm)
    for i, (x, ys, _, gap, groove) in enumerate(view.readings):
        assert LEFT <= x <= RIGHT
        if np.isfinite(p.gap_mm[i]):
            assert plain(gap) == f"Gap {p.gap_mm[i]:.1f} ± {K95 * p.gap_u_mm[i]:.1f} mm"
            assert plain(groove).startswith(f"Groove {p.groove_width_mm[i]:.1f} ±")
        else:
            assert (gap, groove, ys) == ("Gap not seen", "", [None, None])


def test_curves_keep_their_scale():
    """Two values that differ by a share of the axis differ by the same share of the plot's height."""
    m = joint()
    view, p = profile_view(m, "mm"), m.profile
    levels = view.plots[0].levels
    (y0, low), (y1, high) = (
        (levels[0][0], float(levels[0][1])),
        (levels[-1][0], float(levels[-1][1])),
    )
    for i in (0, len(p.station_mm) // 3):
        y = y0 + (p.gap_mm[i] - low) / (high - low) * (y1 - y0)
        assert view.readings[i][1][0] == pytest.approx(y, abs=0.1)


def test_what_was_not_seen_is_no_curve():
    view = profile_view(joint("doubtful"), "mm")
    ((left, width),) = view.unseen
    assert width > 0
    assert len(view.plots[0].curves) == 2
    ends = [float(d[1:].split("L")[-1].split()[0]) for d in view.plots[0].curves]
    assert ends[0] == pytest.approx(left, abs=0.2)


def test_it_begins_where_the_setting_is_decided():
    m = joint()
    view = profile_view(m, "mm")
    assert m.profile.station_mm[view.start] == pytest.approx(
        np.clip(m.deciding_place.station_mm, *m.profile.station_mm[[0, -1]]), abs=5
    )


def test_inches():
    view = profile_view(joint(), "in")
    assert plain(view.readings[0][3]).endswith(" in")
    assert "(in)" in view.plots[0].title
