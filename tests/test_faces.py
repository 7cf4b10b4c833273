"""The faces of the packages: short, true, and loaded only as far as they are used."""

from __future__ import annotations

import importlib
import pkgutil
import subprocess
import sys

import pytest

import gapvision

MOST_NAMES = 8  # of a face; a reader takes in no more
HEAVY = {"numpy", "cv2", "scipy", "PIL", "rich", "jinja2", "reportlab"}
PACKAGES = ["gapvision"] + [
    found.name
    for found in pkgutil.walk_packages(gapvision.__path__, "gapvision.")
    if found.ispkg and ".training" not in found.name
]
WITH_FACE = [name for name in PACKAGES if not name.startswith("gapvision.cli")]


@pytest.mark.parametrize("name", WITH_FACE)
def test_every_name_of_a_face_is_there(name):
    package = importlib.import_module(name)
    assert 0 < len(package.__all__) <= MOST_NAMES
    for each in package.__all__:
        assert getattr(package, each).__name__ == each


@pytest.mark.parametrize("name", WITH_FACE)
def test_no_name_of_a_face_is_a_module_s_too(name):
    """Or ``import package.name`` would give the one or the other, by what was loaded before."""
    package = importlib.import_module(name)
    modules = {found.name for found in pkgutil.iter_modules(package.__path__)}
    assert not modules & set(package.__all__)


@pytest.mark.parametrize("name", PACKAGES)
def test_a_package_tells_which_module_to_read_first(name):
    package = importlib.import_module(name)
    told = package.__doc__
    named = [word.strip("`.,;:'") for word in told.split() if ".py`" in word]
    modules = {f"{found.name}.py" for found in pkgutil.iter_modules(package.__path__)}
    assert named and {n.removeprefix("gapvision/") for n in named} <= modules
    assert len(told.splitlines()) <= 18


def test_faces_load_nothing_heavy():
    code = (
        f"import sys, {', '.join(PACKAGES)}\n"
        f"print(*{HEAVY} & set(sys.modules))\n"
        "from gapvision import MeasureOptions\n"
        f"print(*{HEAVY} & set(sys.modules))"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    ).stdout
    assert told == "\n\n"


def test_a_name_that_is_not_there_is_refused():
    with pytest.raises(AttributeError, match="widest_chasm"):
        gapvision.widest_chasm  # noqa: B018
