"""Slips among the photographs of one joint."""

from datetime import timedelta

import numpy as np
import pytest
from helpers.rolls import NORTH_3, NORTH_4, START, save, with_slip

from gapvision.errors import MeasurementError
from gapvision.shoot.one_slip import check_one_slip


@pytest.fixture(scope="module")
def roll(tmp_path_factory):
    """Slip, photograph, slip, photograph, a minute between."""
    folder, rng = tmp_path_factory.mktemp("roll"), np.random.default_rng(2)
    plain = np.full((600, 800), 120, np.uint8)
    pictures = [with_slip(s, 1 / 4, 3, (0, 0), 0, rng) for s in (NORTH_3, NORTH_4)]
    shots = [pictures[0], plain, pictures[1], plain]
    return [
        save(folder / f"{k}.jpg", picture, START + timedelta(minutes=k))
        for k, picture in enumerate(shots)
    ]


def test_slips_of_two_joints_are_refused_with_the_files_of_each(roll):
    with pytest.raises(MeasurementError) as caught:
        check_one_slip([roll[0], roll[2]], roll)
    assert caught.value.code == "several-joints"
    assert "The slips name 2 joints" in caught.value.text
    assert "Log 3, north wall, Barn: 1.jpg; Log 4, north wall, Barn: 3.jpg." in caught.value.text
    assert "gapvision sort" in caught.value.text


def test_one_slip_or_the_same_twice_is_no_matter(roll):
    check_one_slip([roll[0], roll[1]], roll)
    check_one_slip([roll[0], roll[0]], roll)
    check_one_slip([], roll)
