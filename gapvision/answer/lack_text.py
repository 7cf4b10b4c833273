"""Why a photograph was left out, as a sentence. A function a code."""

from __future__ import annotations

from collections.abc import Callable

from gapvision.joint.photo_results import PhotoResult
from gapvision.lengths import format_length
from gapvision.phrases import cards_text


def lack_text(photo: PhotoResult, units: str) -> str:
    """What a photograph lacked, and what to do; empty for one in use."""
    lack = photo.lacked
    if lack is None:
        return ""
    if "text" in lack.facts:
        return lack.facts["text"]
    return f"{photo.name} is left out: {_SENTENCES[lack.code](photo, units, **lack.facts)}"


def _untied(photo: PhotoResult, units: str) -> str:
    return (
        f"it shows {cards_text(photo.cards)} and none of the cards of the photographs that were "
        "used, so that it cannot be tied to them; photograph so that neighbours share a card."
    )


def _side_untied(photo: PhotoResult, units: str, why: str) -> str:
    return why


def _contradicts(photo: PhotoResult, units: str, wider_mm: float) -> str:
    wide = "wider" if wider_mm > 0 else "narrower"
    apart = format_length(round(abs(wider_mm), 1), units)
    return (
        f"it shows the gap {apart} {wide} than the others do. Either a line in it was taken for the "
        "log's that is none, or the upper log moved: if it moved, photograph all heights again."
    )


def _copy(photo: PhotoResult, units: str, of: str) -> str:
    return f"it is the same picture as {of}, and one picture counts once."


def _dropped(photo: PhotoResult, units: str) -> str:
    return "it was dropped by hand."


_SENTENCES: dict[str, Callable[..., str]] = {
    "copy": _copy,
    "dropped": _dropped,
    "untied": _untied,
    "side-untied": _side_untied,
    "contradicts": _contradicts,
}
