"""Shrinkage against worked examples of the published formulas."""

import json

import pytest
from typer.testing import CliRunner

from gapvision.advice.shrinkage import SPECIES, shrink
from gapvision.cli import main as cli
from gapvision.errors import MeasurementError

WALL_MM = 8 * 304.8


@pytest.mark.parametrize(
    ("species", "wet", "lost"),
    [("douglas-fir-coast", 28.0, 66.88), ("douglas-fir-coast", 19.0, 29.72),
     ("western-redcedar", 18.0, 19.51)],
)  # fmt: skip
def test_worked_examples_of_a_wall_of_8_ft(species, wet, lost):
    """H (MC_D - MC_S) / ((100 MC_FSP / S - MC_FSP) + MC_D), ICC 400: computed, to its last digit."""
    s = shrink(species, WALL_MM, wet, 12.0)
    assert s.radial_mm == pytest.approx(lost, abs=0.006)
    wood = SPECIES[species]
    fsp = wood.saturation
    formula = WALL_MM * (wet - 12) / ((100 * fsp / wood.radial - fsp) + wet)
    assert s.radial_mm == pytest.approx(formula, abs=1e-9)


@pytest.mark.parametrize("species", SPECIES)
def test_green_to_ovendry_is_the_table_s_number(species):
    s = shrink(species, 100.0, to_moisture=0.0)
    assert s.radial_mm == pytest.approx(SPECIES[species].radial)
    assert s.tangential_mm == pytest.approx(SPECIES[species].tangential)


def test_only_rows_that_were_read():
    """Wood Handbook, FPL-GTR-190, table 4-3, radial / tangential."""
    rows = {k: (s.radial, s.tangential) for k, s in SPECIES.items()}
    assert rows == {
        "western-redcedar": (2.4, 5.0), "northern-white-cedar": (2.2, 4.9),
        "douglas-fir-coast": (4.8, 7.6), "douglas-fir-interior-north": (3.8, 6.9),
        "douglas-fir-interior-west": (4.8, 7.5), "balsam-fir": (2.9, 6.9),
        "subalpine-fir": (2.6, 7.4), "grand-fir": (3.4, 7.5), "white-fir": (3.3, 7.0),
    }  # fmt: skip


def test_above_fibre_saturation_nothing_shrinks():
    wet = shrink("white-fir", 300.0, 80.0, 12.0)
    assert wet.radial_mm == shrink("white-fir", 300.0, 30.0, 12.0).radial_mm
    assert shrink("white-fir", 300.0, 80.0, 40.0).radial_mm == 0.0


def test_two_steps_are_one():
    first = shrink("grand-fir", 300.0, 26.0, 18.0)
    second = shrink("grand-fir", 300.0 - first.radial_mm, 18.0, 10.0)
    whole = shrink("grand-fir", 300.0, 26.0, 10.0)
    assert first.radial_mm + second.radial_mm == pytest.approx(whole.radial_mm, abs=1e-9)


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (("oak", 300.0), "unknown-species"),
        (("white-fir", 300.0, 10.0, 12.0), "bad-moisture"),
        (("white-fir", 300.0, 30.0, -1.0), "bad-moisture"),
        (("white-fir", 300.0, 400.0, 12.0), "bad-moisture"),
        (("white-fir", 300.0, 30.0, 12.0, 5.0), "bad-moisture"),
        (("white-fir", 0.0), "bad-diameter"),
        (("white-fir", float("nan")), "bad-diameter"),
    ],
)
def test_refused(given, code):
    with pytest.raises(MeasurementError) as caught:
        shrink(*given)
    assert caught.value.code == code


def run(*args):
    return CliRunner().invoke(cli.app, ["shrinkage", *args])


def test_command(plain_terminal):
    listed = run().stdout
    assert all(key in listed for key in SPECIES) and "read second-hand" in listed
    told = run("Douglas-Fir-Coast", "--diameter", "12in", "--units", "in")
    assert told.exit_code == 0
    assert "12 in, from 28 to 12 %" in told.stdout and "FPL-GTR-190" in told.stdout
    assert max(map(len, (listed + told.stdout).splitlines())) <= 80
    kept = run("white-fir", "--json", "-")
    assert json.loads(kept.stdout)["radial_mm"] == pytest.approx(300 * 0.033 * 0.6)
    assert run("--json", "-").exit_code == 2
    assert run("oak").exit_code == 1
    assert run("white-fir", "--diameter", "wide").exit_code == 2
