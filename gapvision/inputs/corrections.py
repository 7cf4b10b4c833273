"""What a person changed in photographs' outlines, and the refusal of what nobody can have drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from math import isfinite

from gapvision.errors import JointNotFitted

Point = tuple[float, float]
Stroke = tuple[Point, ...]

# A finger covers 2 to 3 mm of a log where 300 mm of it fill a phone's width, and is led by eye beside
# the edge; with a mouse or zoomed in further it is better. A judgement, not measured.
U_DRAWN_MM = 1.5
U_MM = (0.3, 10.0)  # that can be stated of a line
MOST_POINTS, MOST_STRETCHES = 20_000, 200  # of one photograph; a finger leaves some hundred points
FARTHEST_PX, FARTHEST_MM = 1e5, 15_000.0  # no picture and no wall is larger


@dataclass(frozen=True, slots=True)
class Correction:
    """What a person changed in one photograph.

    Attributes
    ----------
    upper, lower : tuple of strokes
        Lines drawn for each log's outline, points ``(x, y)`` in px of the upright picture, integer at
        the pixel's centre. A stroke replaces the traced outline between its ends; one of a single point
        pins it there. Where two of a log overlap the later one counts.
    not_gap : tuple of (from, to)
        Stations, mm, between which this photograph does not show the gap.
    dropped : bool
        The photograph is left out.
    u_mm : float
        How far the drawn lines may be off, sd, mm on the log.
    """

    upper: tuple[Stroke, ...] = ()
    lower: tuple[Stroke, ...] = ()
    not_gap: tuple[tuple[float, float], ...] = ()
    dropped: bool = False
    u_mm: float = U_DRAWN_MM

    @property
    def changes(self) -> bool:
        """Whether it changes anything."""
        return self.dropped or bool(self.upper or self.lower or self.not_gap)


KEYS = tuple(f.name for f in fields(Correction))
TOLD = (
    "upper_mm",
    "lower_mm",
)  # that an answer adds, and which are passed over when it is read again


def corrections_of(values: object, names: Mapping[str, str] | None = None) -> dict[str, Correction]:
    """Corrections by the SHA-256 of their photographs, those that change something.

    Parameters
    ----------
    values : object
        Of JSON, from anybody: ``{SHA-256: {"upper": [[[x, y], ...], ...], ...}}``, as docs/json.md has it.
    names : mapping, optional
        What sentences call the photographs, by their SHA-256.

    Raises
    ------
    JointNotFitted
        ``bad-correction``, with what was stated and what is possible.
    """
    if not isinstance(values, Mapping):
        raise _bad("Corrections by hand are a group of values by the photographs' sha256", values)
    names = names or {}
    out = {}
    for sha256, value in values.items():
        name = names.get(sha256, str(sha256)[:12])
        correction = _correction(name, value)
        check_correction(name, correction)
        if correction.changes:
            out[str(sha256)] = correction
    return out


def corrections_json(corrections: Mapping[str, Correction]) -> dict[str, dict[str, object]]:
    """What `corrections_of` reads."""
    return {sha256: correction_json(c) for sha256, c in corrections.items()}


def correction_json(correction: Correction) -> dict[str, object]:
    """Of one photograph, without what was left as it is."""
    plain = Correction()
    changed = {k: v for k, v in asdict(correction).items() if v != getattr(plain, k)}
    return {k: _lists(v) for k, v in changed.items()}


def _lists(value: object) -> object:
    return [_lists(v) for v in value] if isinstance(value, tuple) else value


def check_corrections(corrections: Mapping[str, Correction]) -> None:
    """Refuse what cannot have been drawn, as `corrections_of`."""
    for sha256, correction in corrections.items():
        check_correction(sha256[:12], correction)


def check_correction(name: str, correction: Correction) -> None:
    """Refuse what cannot have been drawn in the photograph that sentences call ``name``."""
    count = 0
    for log in ("upper", "lower"):
        for stroke in getattr(correction, log):
            count += len(stroke)
            if not stroke:
                raise _refused(name, f"a line drawn for the {log} log has no point: take it out")
            if not all(isfinite(v) and abs(v) < FARTHEST_PX for point in stroke for v in point):
                raise _refused(
                    name,
                    f"a line drawn for the {log} log has a point that is no place in a picture: "
                    "draw it again, x and y in pixels",
                )
    if count > MOST_POINTS:
        raise _refused(
            name, f"{count} points were drawn, and at most {MOST_POINTS} can be: draw fewer"
        )
    if len(correction.not_gap) > MOST_STRETCHES:
        raise _refused(
            name,
            f"{len(correction.not_gap)} stretches were marked as not the gap, and at most "
            f"{MOST_STRETCHES} can be: mark fewer",
        )
    for low, high in correction.not_gap:
        if not (isfinite(low) and isfinite(high) and low < high):
            raise _refused(
                name,
                f"a stretch that is not the gap was marked from {low:g} to {high:g} mm: it must "
                "begin left of its end",
            )
        if max(-low, high) > FARTHEST_MM:
            raise _refused(
                name,
                f"a stretch that is not the gap was marked from {low:g} to {high:g} mm; places "
                f"count in mm from the first card's nail, up to {FARTHEST_MM:.0f} either way: "
                "correct it",
            )
    least, most = U_MM
    if not least <= correction.u_mm <= most:
        raise _refused(
            name,
            f"u_mm, how far the drawn lines may be off, was stated as {correction.u_mm:g} mm; "
            f"{least:g} to {most:g} are possible: correct it or leave it out",
        )


def _correction(name: str, value: object) -> Correction:
    import msgspec  # only where somebody corrects: it takes a tenth of what --help may

    if not isinstance(value, Mapping):
        raise _refused(name, f"by_hand is a group of values, not {_short(value)}")
    if unknown := [str(key) for key in value if key not in (*KEYS, *TOLD)]:
        raise _refused(
            name, f"by_hand knows no {_short(unknown[0])}, only {', '.join(KEYS)}: correct it"
        )
    try:
        known = {key: v for key, v in value.items() if key in KEYS}
        return msgspec.convert(known, Correction)
    except (msgspec.ValidationError, OverflowError, RecursionError) as error:
        raise _refused(
            name,
            f"by_hand is not of its form ({str(error)[:80]}): upper and lower are lists of lines, each a "
            "list of points [x, y]; not_gap a list of [from_mm, to_mm]; dropped true or false",
        ) from None


def _refused(name: str, text: str) -> JointNotFitted:
    return JointNotFitted("bad-correction", f"{name}: {text}.")


def _bad(text: str, value: object) -> JointNotFitted:
    return JointNotFitted("bad-correction", f"{text}, not {_short(value)}.")


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."
