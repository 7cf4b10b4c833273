"""All photographs of a joint, and the one that contradicts the others set aside."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.demo import TRUTH, options

from gapvision.joint import solve as solving
from gapvision.joint.disagreement import Outlier
from gapvision.joint.gather import gather_photos
from gapvision.joint.solve import solve
from gapvision.scene.priors import Priors

ASKED = options(*TRUTH["files"])
AT = np.arange(-300.0, 1000.0, 10.0)
WRONG, RISK_MM = 2, 3.0


@pytest.fixture(scope="module")
def given():
    return gather_photos(ASKED, Priors(), None)


@pytest.fixture(scope="module")
def others(given):
    """The joint of the photographs but one."""
    rest = tuple(p for k, p in enumerate(given.photos) if k != WRONG)
    return solve(ASKED, replace(given, photos=rest), Priors())


@pytest.mark.parametrize("looks", [0, 1])
def test_what_contradicts_is_set_aside_and_the_rest_solved_anew(given, others, looks, monkeypatch):
    """As it is traced by itself or after the second look; the risk that it was another stays."""
    asked = []

    def found(joint, beliefs, shifts):
        asked.append(joint)
        return Outlier(WRONG, -9.0, RISK_MM) if len(asked) == looks + 1 else None

    monkeypatch.setattr(solving, "find_outlier", found)
    solved = solve(ASKED, given, Priors())
    assert [p.label for p in solved.photos] == [p.label for p in others.photos]
    ((photo, outlier),) = solved.aside
    assert photo.label == given.photos[WRONG].label and outlier.risk_mm == RISK_MM
    np.testing.assert_array_equal(solved.joint.sections(AT).gap(), others.joint.sections(AT).gap())
    np.testing.assert_allclose(solved.risk_mm(AT), np.hypot(others.risk_mm(AT), RISK_MM))
