"""Photographs to setting, end to end, on rendered photographs whose surfaces are known.

The truth was computed from the logs' surfaces as the scene of an independent general-purpose renderer
has them, not by this project (`truth.json` beside the photographs).
"""

from __future__ import annotations

import json
import re
from dataclasses import replace

import cv2
import numpy as np
import pytest
from helpers.demo import FOLDER, TRUTH, options
from threadpoolctl import threadpool_limits

from gapvision.answer.as_json import answer_json
from gapvision.answer.caution_text import caution_text
from gapvision.answer.evidence_text import evidence_text
from gapvision.answer.lack_text import lack_text
from gapvision.cli.demo_joint import run_demo
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.lengths import parse_diameter, parse_reading
from gapvision.spine import measure


@pytest.fixture(scope="module")
def all_heights():
    return measure(options(*TRUTH["files"]))


@pytest.fixture(scope="module")
def level():
    return measure(options(TRUTH["files"][0]))


def true_gap(station_mm):
    return np.interp(station_mm, TRUTH["station_mm"], TRUTH["gap_mm"])


def test_three_heights_hold_the_truth(all_heights):
    m = all_heights
    assert abs(m.setting.value_mm - TRUTH["setting_mm"]) <= m.setting.U95_mm
    assert abs(m.widest_gap.value_mm - TRUTH["widest_gap_mm"]) <= m.widest_gap.U95_mm
    assert m.setting.U95_mm < 2.5
    assert m.set_to_mm >= TRUTH["setting_mm"]
    assert "one-height" not in [c.code for c in m.cautions]


def test_three_heights_hold_the_truth_where_cards_stand_free():
    """They tell nothing of plumb and depth then, so that less is known, and no card is told to lean."""
    m = measure(replace(options(*TRUTH["files"]), card_on="free"))
    assert abs(m.setting.value_mm - TRUTH["setting_mm"]) <= m.setting.U95_mm
    assert abs(m.widest_gap.value_mm - TRUTH["widest_gap_mm"]) <= m.widest_gap.U95_mm
    assert 1.5 < m.setting.U95_mm < 4.0
    assert not {"card-leans", "card-size"} & {c.code for c in m.cautions}


def test_gap_profile_of_three_heights(all_heights):
    p = all_heights.profile
    seen = np.isfinite(p.gap_mm)
    miss = np.abs(p.gap_mm - true_gap(p.station_mm))[seen]
    assert seen.mean() > 0.8
    assert np.median(miss) < 1.0
    assert np.diff(p.station_mm).max() <= 10.0


def test_one_height_is_wider_and_says_what_a_second_would_gain(level, all_heights):
    assert abs(level.setting.value_mm - TRUTH["setting_mm"]) <= level.setting.U95_mm
    assert level.setting.U95_mm > all_heights.setting.U95_mm
    caution = next(c for c in level.cautions if c.code == "one-height")
    assert "above and below" in caution_text(caution, level.cards, level.units)


@pytest.mark.parametrize("order, threads", [((2, 0, 1), 1), ((1, 2, 0), 2)])
def test_order_and_threads_change_no_byte(all_heights, order, threads):
    """BLAS and OpenCV are given threads by whoever calls, and photographs come in any order."""
    names = [TRUTH["files"][k] for k in order]
    before = cv2.getNumThreads()
    cv2.setNumThreads(threads)
    try:
        with threadpool_limits(threads, "blas"):
            again = measure(options(*names))
    finally:
        cv2.setNumThreads(before)
    assert json.dumps(answer_json(again)) == json.dumps(answer_json(all_heights))
    for of_one in ("setting", "widest_gap", "narrowest_groove"):  # not even beyond what is written
        assert getattr(again, of_one) == getattr(all_heights, of_one)
    assert [p.name for p in again.photos] == sorted(names)


def test_a_print_of_another_size_scales_everything(level):
    """A bar of 102 mm is a card 2 % larger: the camera stood 2 % farther off."""
    larger = measure(options(TRUTH["files"][0], printed_bar_mm=102.0))
    assert larger.photos[0].distance_mm == pytest.approx(
        1.02 * level.photos[0].distance_mm, rel=2e-3
    )


def test_cautions_compare_lengths_of_one_unit(monkeypatch):
    """A bar of 90 mm: the cover stated and the radii fitted are both in true millimetres."""
    seen = []
    monkeypatch.setattr("gapvision.spine.find_cautions", lambda f: seen.append(f) or ())
    measure(options(TRUTH["files"][0], cover_mm=75.0, printed_bar_mm=90.0))
    (findings,) = seen
    assert findings.options.cover_mm == 75.0
    for log in ("upper", "lower"):
        stated = parse_diameter(TRUTH[f"{log}_diameter"], "mm").points
        radii = findings.radii[log].stated_mm
        assert min(d for _, d in stated) - 1 < 2 * radii.min() <= 2 * radii.max()
        assert 2 * radii.max() < max(d for _, d in stated) + 1


def test_what_is_decided_agrees_with_the_answer(all_heights):
    m, d = all_heights, all_heights.decision
    wanted = next(r for r in d.covers.rows if r.cover_mm == m.cover_mm)
    assert wanted.setting == m.setting and wanted.set_to_mm == m.set_to_mm
    assert d.lowering.ready and d.course.drop_mm == m.set_to_mm
    true_depth = m.set_to_mm - min(TRUTH["gap_mm"])
    assert abs(d.course.deepest.value_mm - true_depth) <= d.course.deepest.U95_mm


def test_a_reading_enters_the_fit(level):
    at = float(TRUTH["station_mm"][len(TRUTH["station_mm"]) // 2])
    value = float(true_gap(at))
    m = measure(options(TRUTH["files"][0], readings=(parse_reading(f"{value:.2f}@{at:.0f}~0.2"),)))
    k = int(np.argmin(np.abs(m.profile.station_mm - at)))
    # The reading's 0.2 mm and what the crown's spline smooths between its knots, 0.4 mm (gap.ROUGH_MM).
    assert m.profile.gap_mm[k] == pytest.approx(value, abs=2 * np.hypot(0.2, 0.4))
    assert abs(m.profile.gap_mm[k] - value) < abs(level.profile.gap_mm[k] - value)
    assert m.profile.gap_u_mm[k] < level.profile.gap_u_mm[k]
    assert m.setting.U95_mm < level.setting.U95_mm


def test_stations_outside_the_photographs_are_refused():
    with pytest.raises(MeasurementError, match="none of") as caught:
        measure(options(TRUTH["files"][0], from_mm=9000.0, to_mm=9500.0))
    assert caught.value.code == "stations-outside"


def test_cover_larger_than_the_logs_that_were_measured():
    """No diameter is stated; the logs are 272 to 330 mm thick."""
    asked = options(TRUTH["files"][0], cover_mm=350.0, upper_diameter=None, lower_diameter=None)
    with pytest.raises(
        MeasurementError, match="350 mm was asked for, and the log carries"
    ) as caught:
        measure(asked)
    assert caught.value.code == "bad-cover"


def test_a_folder_without_photographs_does_not_spoil_the_others(tmp_path):
    asked = options(TRUTH["files"][0])
    m = measure(MeasureOptions(**{**fields(asked), "photos": (tmp_path, *asked.photos)}))
    assert [p.used for p in m.photos] == [True, False]
    assert m.photos[1].file == str(tmp_path) and m.photos[1].lacked


def test_a_photograph_without_a_card_is_left_out_and_named(tmp_path):
    picture = cv2.imread(str(FOLDER / TRUTH["files"][0]))
    bare = tmp_path / "bare.jpg"
    cv2.imwrite(str(bare), picture[picture.shape[0] * 3 // 5 :])
    asked = options(TRUTH["files"][0])
    m = measure(MeasureOptions(**{**fields(asked), "photos": (*asked.photos, bare)}))
    left = [p for p in m.photos if not p.used]
    assert [p.file for p in left] == [str(bare)]
    assert "card" in lack_text(left[0], "mm")


def test_a_card_on_both_sides_is_named():
    asked = options(TRUTH["files"][0])
    both = MeasureOptions(**{**fields(asked), "inside": (FOLDER / TRUTH["files"][1],)})
    with pytest.raises(MeasurementError, match="Card 1 is seen from outside and from inside"):
        measure(both)


def fields(o):
    return {name: getattr(o, name) for name in o.__dataclass_fields__}


def test_groove_at_the_setting_agrees_with_the_sections(all_heights):
    """Where the groove is narrowest it is at least the cover: the setting has a margin."""
    assert all_heights.narrowest_groove.value_mm >= TRUTH["cover_mm"] - 1.0


def test_whole_log_in_two_passes(tmp_path, monkeypatch):
    """4.2 m in seven photographs chained by five cards; measured, and the truth is in its half-width."""
    told, measured = [], []

    def measure_and_keep(*args):
        measured.append(measure(*args))
        return measured[-1]

    monkeypatch.setattr("gapvision.cli.demo_joint.measure", measure_and_keep)
    text = run_demo(
        tmp_path, whole_log=True, progress=lambda done, total: told.append((done, total))
    )
    truth = json.loads(FOLDER.joinpath("whole_log/truth.json").read_text(encoding="utf-8"))
    assert told == [(k, 7) for k in range(1, 8)]
    assert "sharing cards 1 to 5" in evidence_text(measured[0])
    assert re.search(r"^READY TO SCRIBE\.", text, re.M) and "MEASURED" not in text
    for name, true in (("widest gap", "widest_gap_mm"), ("setting needed", "setting_mm")):
        value, half = re.search(rf"{name} +measured ([0-9.]+) ± ([0-9.]+) mm", text).groups()
        assert abs(float(value) - truth[true]) <= float(half) + 0.1  # both are rounded
    assert float(re.search(r"^SET ([0-9.]+) mm$", text, re.M)[1]) >= truth["setting_mm"]


def test_demo_prints_truth_and_picture(tmp_path):
    text = run_demo(tmp_path)
    assert f"   true {TRUTH['setting_mm']:.1f} mm   off by " in text
    assert max(map(len, text.splitlines()[:-1])) <= 80
    picture = tmp_path / "gapvision-demo.jpg"
    assert str(picture) in text
    assert cv2.imread(str(picture)).shape[1] == 1600
    assert "gapvision-demo-1.jpg" in run_demo(tmp_path)
