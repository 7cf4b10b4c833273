"""A few hundred odd inputs at every entrance: no traceback, no answer that is wrong without a word.

The same ones in every run; `tests/studies/fuzzing.py` tries tens of thousands of others.
"""

import shutil
import tempfile
import warnings
from pathlib import Path

import pytest
from helpers.fuzz.all import ENTRANCES
from hypothesis import HealthCheck, Phase, given, settings


@pytest.mark.parametrize("name", ENTRANCES)
def test_odd_inputs(name):
    entrance = ENTRANCES[name]

    @settings(
        max_examples=entrance.examples, derandomize=True, deadline=None, database=None,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(entrance.strategy)
    def tried(value):
        folder = Path(tempfile.mkdtemp(prefix="gapvision-fuzz-"))
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                entrance.check(value, folder)
        finally:
            shutil.rmtree(folder)

    tried()
