"""A measurement as JSON, and the way back from it to a `Measurement`, without what it left out."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from gapvision import __version__
from gapvision.advice.caution import told
from gapvision.advice.to_do import Step
from gapvision.answer.by_hand_json import (
    alone_json,
    alone_read,
    by_hand_read,
    readings_json,
    trials_json,
)
from gapvision.answer.caution_text import caution_text
from gapvision.answer.chains import find_chains
from gapvision.answer.corrected_json import corrected_json, corrected_read
from gapvision.answer.decision_json import decision_json, decision_read
from gapvision.answer.lack_text import lack_text
from gapvision.answer.outlines_json import outlines_json, outlines_read
from gapvision.answer.sound import check_sound, check_whole
from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import first_line
from gapvision.errors import MeasurementError
from gapvision.files import read_regular
from gapvision.joint.gap import Profile
from gapvision.joint.photo_results import CardResult, Exposure, Lack, PhotoResult, station_origin
from gapvision.measurement import Measurement
from gapvision.phrases import (
    number_json,
    number_read,
    numbers_json,
    numbers_read,
    place_json,
    place_read,
    quantity_json,
    quantity_read,
)

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
    origin, verdict = station_origin(m.cards), m.verdict
    return {
        "format": FORMAT,
        "version": VERSION,
        "units": m.units,
        "status": m.status,
        "verdict": verdict.kind,
        "verdict_because": verdict.because,
        "first_line": first_line(m, m.units),
        "ready_to_scribe": bool(verdict.ready),
        "to_do": [{"code": s.code, "text": to_do_text(s, m.cards, m.units)} for s in verdict.to_do],
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
        "photos": [_photo_json(photo, m.units) for photo in m.photos],
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
                "text": caution_text(c, m.cards, m.units),
                "from_mm": number_json(c.from_mm),
                "to_mm": number_json(c.to_mm),
                "doubtful": None if c.doubtful is None else bool(c.doubtful),
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


def _photo_json(p: PhotoResult, units: str) -> dict:
    return {
        "file": p.file,
        "sha256": p.sha256,
        "side": p.side,
        "used": bool(p.used),
        "lacked": lack_text(p, units),
        "height_mm": number_json(p.height_mm),
        "distance_mm": number_json(p.distance_mm),
        "from_mm": number_json(p.from_mm),
        "to_mm": number_json(p.to_mm),
        "cards": [int(number) for number in p.cards],
        "residual_px": number_json(p.residual_px),
        "lens": p.exposure.lens,
        "camera": None if p.exposure.camera is None else asdict(p.exposure.camera),
        "taken": p.exposure.taken,
        "outlines": outlines_json(p.outlines),
        **corrected_json(p.corrected),
    }


def _card_json(c: CardResult) -> dict:
    return {
        "number": int(c.number),
        "side": c.side,
        "station_mm": number_json(c.station_mm),
        "lean_deg": number_json(c.lean_deg),
        "photos": list(c.photos),
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
        check_sound(answer)
        if answer["status"] == "refused":
            answer["reason"]["text"]
        else:
            measurement_of(answer)
            check_whole(answer)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError) as error:
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
        Its photographs' outlines have no middle line, null has become NaN, and its cautions keep their
        sentences.

    Raises
    ------
    KeyError, TypeError, ValueError
        Where it is not of that form.
    """
    gap, setting, groove = (answer[k] for k in ("widest_gap", "setting", "narrowest_groove"))
    profile = _profile(answer["profile"])
    cautions = tuple(
        told(str(c["code"]), str(c["text"]), c.get("from_mm"), c.get("to_mm"), c.get("doubtful"))
        for c in answer["cautions"]
    )
    return Measurement(
        status=_status(answer["status"]),
        cover_mm=float(setting["cover_mm"]),
        widest_gap=quantity_read(gap),
        widest_place=place_read(gap),
        setting=quantity_read(setting),
        set_to_mm=float(setting["set_to_mm"]),
        deciding_place=place_read(setting),
        narrowest_groove=quantity_read(groove),
        narrowest_place=place_read(groove),
        profile=profile,
        photos=tuple(_photo_read(p) for p in answer["photos"]),
        cards=tuple(_card_read(c) for c in answer["cards"]),
        cautions=cautions,
        decision=decision_read(answer.get("decision"), profile, cautions),
        by_hand=by_hand_read(answer),
        alone=alone_read(answer.get("photographs_alone")),
        units=_units(answer.get("units", "mm")),
        to_do=tuple(
            Step(str(s["code"]), {"text": str(s["text"])}) for s in answer.get("to_do", ())
        ),
    )


def _profile(rows: dict) -> Profile:
    values = {k: np.array(numbers_read(rows[k])) for k in _PROFILE}
    if len({len(row) for row in values.values()}) != 1 or not len(values["station_mm"]):
        raise ValueError("profile: its rows differ in length or are empty")
    if not np.isfinite(values["gap_mm"]).any():
        raise ValueError("profile: no gap at any place")
    return Profile(**values)


def _units(units: object) -> str:
    if units not in ("mm", "in"):
        raise ValueError(f"units {units!r}")
    return str(units)


def _status(status: object) -> str:
    if status not in ("measured", "doubtful"):
        raise ValueError(f"status {status!r}")
    return str(status)


def _photo_read(p: dict) -> PhotoResult:
    return PhotoResult(
        file=str(p["file"]),
        sha256=str(p["sha256"]),
        side=str(p.get("side", "outside")),
        used=bool(p.get("used", True)),
        lacked=None if p.get("used", True) else Lack("told", {"text": str(p.get("lacked", ""))}),
        height_mm=number_read(p.get("height_mm")),
        distance_mm=number_read(p.get("distance_mm")),
        from_mm=number_read(p.get("from_mm")),
        to_mm=number_read(p.get("to_mm")),
        residual_px=number_read(p.get("residual_px")),
        cards=tuple(p.get("cards", ())),
        exposure=Exposure(lens=str(p.get("lens", "")), taken=p.get("taken")),
        outlines=outlines_read(p.get("outlines")),
        corrected=corrected_read(p),
    )


def _card_read(c: dict) -> CardResult:
    return CardResult(
        int(c["number"]),
        str(c["side"]),
        float(c["station_mm"]),
        number_read(c.get("lean_deg")),
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
        answer = json.loads(read_regular(path), parse_constant=_no_number)
    except OSError as error:
        text = f"{path} cannot be read ({error.strerror}): name a file that measure --json wrote."
        raise MeasurementError("no-file", text) from error
    except (RecursionError, ValueError) as error:
        text = f"{path.name} is no JSON: give a file that gapvision measure --json wrote."
        raise MeasurementError("not-a-measurement", text) from error
    return check_answer(answer, path.name)


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of strict JSON")
