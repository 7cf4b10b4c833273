"""A lens that distorts, in simulated joints: with its calibration nothing is lost, and without one
what phones leave uncorrected is within the stated half-width."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import simulator
from studies.coverage_table import outcome

from gapvision.scene.camera import Lens

CORNER = 0.067  # k1 of 5 % in the corner of a 26 mm picture, 0.865 focal lengths from its middle
TRUE_LENS = simulator._Lens


def seen_with(monkeypatch, k1, seed, noise=None):
    """One joint from three heights through a lens of this k1."""
    monkeypatch.setattr(
        simulator, "_Lens", lambda turn, at, focal, _: TRUE_LENS(turn, at, focal, k1)
    )
    rng = np.random.default_rng([5, seed])
    return simulator.draw_joint(rng, simulator.PROTOCOLS["heights"], noise=noise)


@pytest.mark.parametrize("seed", [0, 1])
def test_distortion_that_is_calibrated_costs_nothing(monkeypatch, seed):
    """Almost without noise, for a distorted view has other points, and these other noise; what is
    left is where the points lie on the humps: 0.2 mm is far under the half-width."""
    found = []
    calm = simulator.Noise(outline_px=0.05, outline_mm=0.0, corner_px=0.02, swing_rad=0.0)
    for k1 in (0.0, CORNER):
        joint = seen_with(monkeypatch, k1, seed, calm)
        focal = simulator.FOCAL_PX
        joint = replace(joint, lenses=[Lens(focal, 0.0057 * focal, k1, 0.001)])
        found.append(outcome(joint, simulator.fit(joint)))
    assert found[1].setting_error == pytest.approx(found[0].setting_error, abs=0.2)
    assert found[1].setting_u95 == pytest.approx(found[0].setting_u95, rel=0.1)


@pytest.mark.parametrize("k1", [0.02, -0.02])
def test_unknown_distortion_is_within_the_half_width(monkeypatch, k1):
    """Twice the prior's standard deviation: some 40 px in the corner of a phone's picture."""
    joint = seen_with(monkeypatch, k1, 2)
    result = outcome(joint, simulator.fit(joint))
    assert abs(result.setting_error) < result.setting_u95
