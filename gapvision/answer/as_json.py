"""The way back from the JSON of `answer_json` to a `Measurement`, without what it left out."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from gapvision import __version__
from gapvision.advice.caution import Caution
from gapvision.answer.by_hand_text import _agreement
from gapvision.answer.chains import find_chains
from gapvision.errors import MeasurementError
from gapvision.joint.by_hand import ByHand
from gapvision.joint.gap import Profile
from gapvision.joint.photo_results import CardResult, PhotoResult, place_at, station_origin
from gapvision.measurement import Alone, Measurement
from gapvision.phrases import number_json, numbers_json, place_json, quantity_json
from gapvision.quantity import K95, Place, Quantity

FORMAT, VERSION = "gapvision-measurement", 1


def answer_json(measurement: Measurement) -> dict:
    """The answer for programs, of version `VERSION`: lengths in mm, null for what is not known.

    Returns
    -------
    dict
        Strict JSON: neither NaN nor infinity. Keys may be added to a version, never lost.
    """
    m, p = measurement, measurement.profile
    groove = quantity_json(m.narrowest_groove)
    del groove["U95_mm"]
    origin = station_origin(m.cards)
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": m.status,
        "widest_gap": quantity_json(m.widest_gap) | place_json(m.widest_place),
        "setting": {"cover_mm": number_json(m.cover_mm)}
        | quantity_json(m.setting)
        | {"set_to_mm": number_json(m.set_to_mm)}
        | place_json(m.deciding_place),
        "narrowest_groove": groove | place_json(m.narrowest_place),
        "profile": {
            "station_mm": numbers_json(p.station_mm),
            "gap_mm": numbers_json(p.gap_mm),
            "gap_u_mm": numbers_json(p.gap_u_mm),
            "groove_width_mm": numbers_json(p.groove_width_mm),
            "groove_width_u_mm": numbers_json(p.groove_width_u_mm),
            "setting_needed_mm": numbers_json(p.setting_needed_mm),
            "setting_needed_u_mm": numbers_json(p.setting_needed_u_mm),
        },
        "readings": readings_json(m.by_hand),
        "trials": trials_json(m.by_hand),
        "photographs_alone": alone_json(m.alone),
        "photos": [_photo_json(photo) for photo in m.photos],
        "chains": [
            {
                "side": chain.side,
                "photos": [photo.name for photo in chain.photos],
                "shared_cards": [int(number) for number in chain.cards],
            }
            for chain in find_chains(m.photos)
        ],
        "cards": [_card_json(card) for card in m.cards],
        "station_origin": origin and {"card": int(origin.number), "side": origin.side},
        "cautions": [
            {
                "code": c.code,
                "text": c.text,
                "from_mm": number_json(c.from_mm),
                "to_mm": number_json(c.to_mm),
            }
            for c in m.cautions
        ],
        "decision": decision_json(m),
    }


def stamped(answer: dict, measured_at: str) -> dict:
    """An answer or refusal with the program's version and the time of measuring (RFC 3339), on top."""
    head = {"format": answer["format"], "version": answer["version"]}
    return {**head, "program_version": __version__, "measured_at": measured_at, **answer}


def refusal_json(error: MeasurementError) -> dict:
    """What programs get where nothing could be measured: the reason, and no number."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "status": "refused",
        "cautions": [],
        "reason": {"code": error.code, "text": error.text},
    }


# --- values for programs --------------------------------------------------------------------------


def _photo_json(p: PhotoResult) -> dict:
    return {
        "file": p.file,
        "sha256": p.sha256,
        "side": p.side,
        "used": bool(p.used),
        "lacked": p.lacked,
        "height_mm": number_json(p.height_mm),
        "distance_mm": number_json(p.distance_mm),
        "from_mm": number_json(p.from_mm),
        "to_mm": number_json(p.to_mm),
        "cards": [int(number) for number in p.cards],
        "residual_px": number_json(p.residual_px),
        "lens": p.lens,
        "camera": None if p.camera is None else asdict(p.camera),
        "taken": p.taken,
    }


def _card_json(c: CardResult) -> dict:
    return {
        "number": int(c.number),
        "side": c.side,
        "station_mm": number_json(c.station_mm),
        "lean_deg": number_json(c.lean_deg),
        "photos": list(c.photos),
    }


def readings_json(by_hand: tuple[ByHand, ...]) -> list[dict]:
    """The caliper readings; ``difference_mm`` is read less predicted."""
    return [
        {"value_mm": number_json(b.setting_mm), "u_mm": number_json(b.u_mm)}
        | place_json(b.place)
        | {
            "predicted_mm": number_json(b.predicted.value_mm),
            "predicted_u_mm": number_json(b.predicted.u_mm),
            "difference_mm": number_json(b.difference_mm),
        }
        | _agreement(b)
        for b in by_hand
        if b.width_mm is None
    ]


def trials_json(by_hand: tuple[ByHand, ...]) -> list[dict]:
    """The trial lines; ``difference_mm`` is of the width, ``setting_difference_mm`` of the setting."""
    return [
        {
            "setting_mm": number_json(b.setting_mm),
            "u_setting_mm": number_json(b.u_setting_mm),
            "width_mm": number_json(b.width_mm),
            "u_width_mm": number_json(b.u_width_mm),
        }
        | place_json(b.place)
        | {
            "predicted_width_mm": number_json(b.predicted_width_mm),
            "difference_mm": number_json(b.width_mm - b.predicted_width_mm),
            "predicted_setting_mm": number_json(b.predicted.value_mm),
            "predicted_setting_u_mm": number_json(b.predicted.u_mm),
            "setting_difference_mm": number_json(b.difference_mm),
            "setting_u_mm": number_json(b.u_mm),
        }
        | _agreement(b)
        for b in by_hand
        if b.width_mm is not None
    ]


def alone_json(alone: Alone | None) -> dict | None:
    """Setting and widest gap by the photographs alone."""
    return alone and {
        "setting": quantity_json(alone.setting),
        "widest_gap": quantity_json(alone.widest_gap),
    }


# --- for programs ---------------------------------------------------------------------------------


def decision_json(m: Measurement) -> dict | None:
    """The ``decision`` of the answer for programs; lengths in mm, names in docs/decision.md."""
    d = m.decision
    if d is None:
        return None
    x, c = d.lowering, d.course
    return {
        "lowering": {
            "ready": bool(x.ready),
            "why": x.why,
            "wanted_widest_mm": number_json(x.wanted.widest_mm),
            "notches_stated": bool(x.notches.stated),
            "from_mm": number_json(x.notches.ends_mm[0]),
            "to_mm": number_json(x.notches.ends_mm[1]),
            "left_mm": number_json(x.notches.left_mm),
            "right_mm": number_json(x.notches.right_mm),
            "reached": bool(x.wanted.reached),
            "scriber_least_mm": number_json(x.wanted.scriber_least_mm),
            "setting_gain": quantity_json(x.gain),
            "worth_it": bool(x.worth_it),
            "widest_gap": quantity_json(x.after.widest)
            | place_json(place_at(m.cards, x.after.widest_station_mm)),
            "least_gap": quantity_json(x.after.least),
            "setting": quantity_json(x.after.setting)
            | {"set_to_mm": number_json(x.after.set_to_mm)}
            | place_json(place_at(m.cards, x.after.deciding_station_mm)),
        },
        "covers": [
            {"cover_mm": number_json(r.cover_mm)}
            | quantity_json(r.setting)
            | {
                "set_to_mm": number_json(r.set_to_mm),
                "station_mm": number_json(r.station_mm),
                "cover_per_setting": number_json(r.per_setting),
                "deepest": quantity_json(r.deepest),
                "drop_mm": number_json(r.set_to_mm - c.underscribe_mm),
            }
            for r in d.covers.rows
        ],
        "course": {
            "notch_setting_mm": number_json(c.notch_mm),
            "underscribe_mm": number_json(c.underscribe_mm),
            "drop_mm": number_json(c.drop_mm),
            "deepest": quantity_json(c.deepest)
            | place_json(place_at(m.cards, c.deepest_station_mm)),
            "heights": [
                {
                    "station_mm": number_json(h.station_mm),
                    "course": quantity_json(h.course),
                    "over_nail": quantity_json(h.over_nail),
                }
                for h in c.heights
            ],
            "rise": quantity_json(c.rise),
            "diameter_stated": bool(c.diameter_stated),
        },
        "along": {
            "station_mm": numbers_json(d.station_mm),
            "depth_mm": numbers_json(c.depth_mm),
            "depth_u_mm": numbers_json(c.depth_u_mm),
            "upper_diameter_mm": numbers_json(d.upper_diameter_mm),
            "lower_diameter_mm": numbers_json(d.lower_diameter_mm),
            "gap_lowered_mm": numbers_json(x.after.gap_mm),
            "gap_lowered_u_mm": numbers_json(x.after.gap_u_mm),
        },
        "rules": d.rules,
        "limits": [
            {
                "what": j.rule.what,
                "value": number_json(j.rule.value),
                "share": bool(j.rule.share),
                "source": j.rule.source,
                "mark": j.rule.mark,
                "found_mm": number_json(j.found_mm),
                "limit_mm": number_json(j.limit_mm),
                "log": j.log,
                "station_mm": number_json(j.station_mm),
                "chance_broken": number_json(j.chance),
                "from_mm": number_json(j.from_mm),
                "to_mm": number_json(j.to_mm),
            }
            for j in d.judged
        ],
    }


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
        photos=tuple(_photo_read(p) for p in answer["photos"]),
        cards=tuple(_card_read(c) for c in answer["cards"]),
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


def _photo_read(p: dict) -> PhotoResult:
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


def _card_read(c: dict) -> CardResult:
    return CardResult(
        int(c["number"]),
        str(c["side"]),
        float(c["station_mm"]),
        _float(c.get("lean_deg")),
        tuple(map(str, c.get("photos", ()))),
    )


def read_json(path: Path) -> dict:
    """The measurement in a JSON file.

    Raises
    ------
    MeasurementError
        ``"no-file"``, ``"not-a-measurement"`` or ``"newer-version"``.
    """
    try:
        answer = json.loads(path.read_bytes(), parse_constant=_no_number)
    except OSError as error:
        text = f"{path} cannot be read ({error.strerror}): name a file that measure --json wrote."
        raise MeasurementError("no-file", text) from error
    except ValueError as error:
        text = f"{path.name} is no JSON: give a file that gapvision measure --json wrote."
        raise MeasurementError("not-a-measurement", text) from error
    return check_answer(answer, path.name)


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of strict JSON")
