"""How much a log's diameter loses as it dries, by the published shrinkage of its species.

Information only: it sets nothing. What a wall settles is more than that (slumping, compaction).
"""

from __future__ import annotations

from dataclasses import dataclass

from gapvision.errors import MeasurementError

GREEN_OVENDRY = "Wood Handbook, FPL-GTR-190 (2010), table 4-3, green to ovendry: read"
LINEAR = "linear law, Wood Handbook, FPL-GTR-282 (2021), eq. 4-9: read second-hand"
SETTLING = "settling, ICC 400-2007, its definition: read second-hand"
SATURATION = "fibre saturation, ICC 400, clauses 302.2.2 and 304: read second-hand"
USUAL_SATURATION = 30.0  # per cent of moisture, by the same two
SERVICE_MOISTURE = 12.0  # per cent, presumed by ICC 400
SOURCES = (GREEN_OVENDRY, LINEAR, SATURATION, SETTLING)
SATURATIONS = (15.0, 40.0)
WETTEST = 250.0  # per cent, of light softwoods' sapwood; from memory


@dataclass(frozen=True, slots=True)
class Species:
    """Shrinkage from green to ovendry across and along the rings, per cent, and fibre saturation."""

    name: str
    radial: float
    tangential: float
    saturation: float = USUAL_SATURATION


# Only rows that were read in the table.
SPECIES = {
    "western-redcedar": Species("western redcedar", 2.4, 5.0, 18.0),
    "northern-white-cedar": Species("northern white-cedar", 2.2, 4.9),
    "douglas-fir-coast": Species("Douglas-fir, coast", 4.8, 7.6, 28.0),
    "douglas-fir-interior-north": Species("Douglas-fir, interior north", 3.8, 6.9, 28.0),
    "douglas-fir-interior-west": Species("Douglas-fir, interior west", 4.8, 7.5, 28.0),
    "balsam-fir": Species("balsam fir", 2.9, 6.9),
    "subalpine-fir": Species("subalpine fir", 2.6, 7.4),
    "grand-fir": Species("grand fir", 3.4, 7.5),
    "white-fir": Species("white fir", 3.3, 7.0),
}


@dataclass(frozen=True, slots=True)
class Shrunk:
    """What a diameter loses between two moistures (per cent), mm: across the rings and along them."""

    species: Species
    diameter_mm: float
    from_moisture: float
    to_moisture: float
    saturation: float
    radial_mm: float
    tangential_mm: float


def shrink(
    species: str,
    diameter_mm: float,
    from_moisture: float | None = None,
    to_moisture: float = SERVICE_MOISTURE,
    saturation: float | None = None,
) -> Shrunk:
    """What a log of a species loses of its diameter from one moisture to another.

    Parameters
    ----------
    species : str
        A key of `SPECIES`.
    diameter_mm : float
        At ``from_moisture``.
    from_moisture, to_moisture, saturation : float
        Per cent of the ovendry weight. Green wood shrinks only below its fibre saturation, which is
        where ``from_moisture`` begins if None; ``saturation`` None is the species' own.

    Raises
    ------
    MeasurementError
        ``unknown-species``, ``bad-moisture`` or ``bad-diameter``.

    Notes
    -----
    From green to moisture M a length loses the share ``S (1 - M / M_fs)`` of its green self, S being
    the table's; both moistures are taken back to the green diameter.

    Source: `LINEAR`; ICC 400's formula for the height of a log wall is the same law.
    """
    if species not in SPECIES:
        raise MeasurementError(
            "unknown-species",
            f"There is no shrinkage for {species!r}: name one of {', '.join(SPECIES)}.",
        )
    wood = SPECIES[species]
    point = wood.saturation if saturation is None else saturation
    wet = point if from_moisture is None else from_moisture
    low, high = SATURATIONS
    if not low <= point <= high:
        raise MeasurementError(
            "bad-moisture",
            f"A fibre saturation of {point:g} % was stated; {low:g} to {high:g} % are possible, and "
            f"{USUAL_SATURATION:g} is usual: correct it.",
        )
    if not 0 <= to_moisture <= wet <= WETTEST:
        raise MeasurementError(
            "bad-moisture",
            f"A moisture from {wet:g} to {to_moisture:g} % was stated; wood that dries goes from the "
            f"larger to the smaller, between {WETTEST:g} and 0 %: correct them.",
        )
    if not diameter_mm > 0:
        raise MeasurementError(
            "bad-diameter",
            f"A diameter of {diameter_mm:g} mm was stated; it must be above zero: correct it.",
        )

    def lost(percent: float) -> float:
        before, after = (percent / 100 * max(1 - m / point, 0.0) for m in (wet, to_moisture))
        return diameter_mm * (after - before) / (1 - before)

    return Shrunk(
        wood, diameter_mm, wet, to_moisture, point, lost(wood.radial), lost(wood.tangential)
    )
