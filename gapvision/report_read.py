"""The way back from the JSON of `answer.answer_json` to a `Measurement`, without what it left out."""

from __future__ import annotations

import numpy as np

from gapvision.answer import FORMAT, VERSION
from gapvision.errors import MeasurementError
from gapvision.result import (
    K95,
    CardResult,
    Caution,
    Measurement,
    PhotoResult,
    Place,
    Profile,
    Quantity,
)

_PROFILE = (
    "station_mm",
    "gap_mm",
    "gap_u_mm",
    "groove_width_mm",
    "groove_width_u_mm",
    "setting_needed_mm",
    "setting_needed_u_mm",
)
_NUMBERS = ("height_mm", "distance_mm", "from_mm", "to_mm", "residual_px")


def check_answer(answer: object, name: str) -> dict:
    """The dict itself, if it is what `measure --json` writes and this version can read.

    Parameters
    ----------
    answer : object
        What was read from a file.
    name : str
        That file, for the refusal.

    Raises
    ------
    MeasurementError
        ``"not-a-measurement"`` or ``"newer-version"``.
    """
    if not isinstance(answer, dict) or answer.get("format") != FORMAT:
        text = f"{name} is no measurement: give a file that gapvision measure --json wrote."
        raise MeasurementError("not-a-measurement", text)
    version = answer.get("version")
    if version != VERSION:
        text = (
            f"{name} has version {version} of the measurement's format and this program reads "
            f"version {VERSION}: use the program that wrote it, or a newer one."
        )
        raise MeasurementError("newer-version", text)
    try:
        if answer["status"] == "refused":
            answer["reason"]["text"]
        else:
            measurement_of(answer)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        text = (
            f"{name} is damaged: {type(error).__name__} at {error}; measure the joint again, or "
            "take the file from a copy."
        )
        raise MeasurementError("not-a-measurement", text) from error
    return answer


def measurement_of(answer: dict) -> Measurement:
    """The measurement that a JSON dict of status "measured" or "doubtful" tells.

    Parameters
    ----------
    answer : dict
        Of version `VERSION`; keys that are not known are passed over.

    Returns
    -------
    Measurement
        Its photographs have no traces, and null has become NaN.

    Raises
    ------
    KeyError, TypeError, ValueError
        Where it is not of that form.
    """
    gap, setting, groove = (answer[k] for k in ("widest_gap", "setting", "narrowest_groove"))
    profile = {k: _array(answer["profile"][k]) for k in _PROFILE}
    if len({len(values) for values in profile.values()}) != 1 or not len(profile["station_mm"]):
        raise ValueError("profile: its rows differ in length or are empty")
    if not np.isfinite(profile["gap_mm"]).any():
        raise ValueError("profile: no gap at any station")
    return Measurement(
        status=_status(answer["status"]),
        cover_mm=float(setting["cover_mm"]),
        widest_gap=_quantity(gap),
        widest_place=_place(gap),
        setting=_quantity(setting),
        set_to_mm=float(setting["set_to_mm"]),
        deciding_place=_place(setting),
        narrowest_groove=_quantity(groove),
        narrowest_place=_place(groove),
        profile=Profile(**profile),
        photos=tuple(_photo(p) for p in answer["photos"]),
        cards=tuple(_card(c) for c in answer["cards"]),
        cautions=tuple(
            Caution(str(c["code"]), str(c["text"]), c.get("from_mm"), c.get("to_mm"))
            for c in answer["cautions"]
        ),
    )


def _status(status: object) -> str:
    if status not in ("measured", "doubtful"):
        raise ValueError(f"status {status!r}")
    return str(status)


def _array(values: list) -> np.ndarray:
    return np.array([_float(v) for v in values])


def _float(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def _quantity(d: dict) -> Quantity:
    u = _float(d["u_mm"])
    # The groove has no U95_mm; its u is of the draws' middle, as `measure` makes it.
    return Quantity(float(d["value_mm"]), u, _float(d.get("U95_mm", K95 * u)))


def _place(d: dict) -> Place:
    return Place(float(d["station_mm"]), d.get("near_card"), d.get("offset_mm"))


def _photo(p: dict) -> PhotoResult:
    return PhotoResult(
        file=str(p["file"]),
        sha256=str(p["sha256"]),
        side=str(p.get("side", "outside")),
        used=bool(p.get("used", True)),
        lacked=str(p.get("lacked", "")),
        cards=tuple(p.get("cards", ())),
        lens=str(p.get("lens", "")),
        taken=p.get("taken"),
        **{k: _float(p.get(k)) for k in _NUMBERS},
    )


def _card(c: dict) -> CardResult:
    return CardResult(
        int(c["number"]),
        str(c["side"]),
        float(c["station_mm"]),
        _float(c.get("lean_deg")),
        tuple(map(str, c.get("photos", ()))),
    )
