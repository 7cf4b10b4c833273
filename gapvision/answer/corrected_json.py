"""What was corrected by hand in a photograph: JSON, both ways."""

from __future__ import annotations

from gapvision.errors import MeasurementError
from gapvision.inputs.corrections import TOLD, correction_json, corrections_of
from gapvision.joint.photo_results import Corrected

KEY = "by_hand"
MM_DECIMALS = 1


def corrected_json(corrected: Corrected | None) -> dict:
    """The keys of one photograph: ``by_hand``, as it was given and the stations that its lines cover.

    None of a photograph in which nothing was changed.
    """
    if corrected is None:
        return {}
    covered = {key: [_rounded(s) for s in getattr(corrected, key)] for key in TOLD}
    return {KEY: correction_json(corrected.given) | {k: v for k, v in covered.items() if v}}


def corrected_read(photo: dict) -> Corrected | None:
    """What `corrected_json` wrote into a photograph's dict.

    Raises
    ------
    ValueError, TypeError
        Where it is not of that form.
    """
    if (told := photo.get(KEY)) is None:
        return None
    name = str(photo.get("file", ""))
    try:
        given = corrections_of({name: told})
    except MeasurementError as error:
        raise ValueError(f"{KEY}: {error.text}") from None
    covered = [tuple((float(a), float(b)) for a, b in told.get(key, ())) for key in TOLD]
    return Corrected(given[name], *covered) if name in given else None


def _rounded(stretch: tuple[float, float]) -> list[float]:
    return [round(mm, MM_DECIMALS) for mm in stretch]
