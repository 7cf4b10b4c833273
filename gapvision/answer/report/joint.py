"""What is reported of one joint: where it is, when it was measured, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gapvision.inputs.joint_name import JointName


@dataclass(frozen=True, eq=False, slots=True)
class JointReport:
    """One joint as it is reported.

    Attributes
    ----------
    joint : JointName
        As far as it was stated.
    date : str
        When it was measured, RFC 3339; empty where not known.
    version : str
        The program that measured it, as ``gapvision 0.1.0``; empty where not known.
    result : dict
        The measurement's JSON of `as_json.answer_json` or `as_json.refusal_json`, with whatever keys
        it has beside.
    photos : tuple of (name, JPEG bytes)
        Scaled, and without Exif: as `photos.scaled_photo` makes them.
    missing : tuple of str
        A sentence on each photograph that is not among them.
    picture : bytes or None
        What `draw_picture` drew, as JPEG without Exif.
    outcomes : tuple of dict
        What the builder told later.
    units : {"mm", "in"}
        Of all that is shown.

    Raises
    ------
    ValueError
        If ``date`` is neither empty nor a date and time with its zone (RFC 3339, 5.6).
    """

    joint: JointName
    date: str
    version: str
    result: dict[str, Any]
    photos: tuple[tuple[str, bytes], ...] = ()
    missing: tuple[str, ...] = ()
    picture: bytes | None = None
    outcomes: tuple[dict[str, Any], ...] = ()
    units: str = "mm"

    def __post_init__(self) -> None:
        if self.date and datetime.fromisoformat(self.date).tzinfo is None:
            raise ValueError(f"date {self.date!r} has no zone")
