"""The sentences of what is wrong with cards, and what to do. A function a code, as `caution_text`."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gapvision.advice.caution import Caution
from gapvision.answer.teller import Teller
from gapvision.phrases import cards_text


def _station_origin(say: Teller, c: Caution, origin: int, lost: int) -> str:
    return (
        f"What was typed for a place counts from card {origin}: card {lost} is in no photograph that "
        f"was used. Type all places from card {origin}, or photograph card {lost} again."
    )


def _perhaps_origin(say: Teller, c: Caution, origin: int, fellow: int) -> str:
    return (
        f"What was typed for a place counts from card {origin}, the lowest that is read. If card {fellow} "
        f"hangs here too, photograph it, or type all places from card {origin}."
    )


def _card_leans(say: Teller, c: Caution, cards: Sequence[int], lean_deg: float) -> str:
    two_heights = "or photograph from two heights, which makes the answer independent of it."
    if len(cards) == 1:
        return (
            f"Card {cards[0]} leaned {lean_deg:.0f} degrees out of plumb; let it hang free, "
            f"{two_heights}"
        )
    return (
        f"Cards {cards[0]} and {cards[1]} hang {lean_deg:.0f} degrees out of line with each other, "
        f"so that one of them is not plumb; let both hang free, {two_heights}"
    )


def _card_size(say: Teller, c: Caution, cards: Sequence[int], turned_deg: float) -> str:
    return (
        f"{cards_text(cards).capitalize()} all seem turned {turned_deg:.0f} degrees from the wall: "
        "one is printed at another size, or stands off the log. Lay a ruler on the check bar of "
        "each, let them hang flat, and photograph again."
    )


def _card_unread(say: Teller, c: Caution, photo: str, cards: Sequence[int]) -> str:
    return (
        f"{photo}: {cards_text(cards)} is in the picture and cannot be read, as one is that is cut "
        "off, hidden or shaken; the answer does without it."
    )


def _card_moved(
    say: Teller, c: Caution, photo: str, cards: Sequence[int], off_px: float, sure: bool
) -> str:
    are = "is" if len(cards) == 1 else "are"
    which = "it" if sure else "one of its cards"
    return (
        f"{photo}: {cards_text(cards)} {are} {off_px:.1f} px off where the other photographs have "
        f"it; {which} moved or the log was bumped: photograph all heights again without touching "
        "card or log."
    )


def _card_bent(say: Teller, c: Caution, card: int, radius_mm: float | None, upright: bool) -> str:
    cure = (
        "glue it to something stiff and flat, hang it free from one nail, so that it does not lie "
        "against the log, and photograph again."
    )
    if radius_mm is None:
        return f"Card {card} is bent so much that the answer does without it; {cure}"
    line = "an upright" if upright else "a level"
    return (
        f"Card {card} is bent: its corners lie on an arc about {line} line, of some "
        f"{say.about(round(radius_mm, -1))} radius, so that it tells plumb and distance wrongly; {cure}"
    )


def _card_not_flat(say: Teller, c: Caution, photo: str, card: int, off_px: float) -> str:
    return (
        f"{photo}: card {card} is not flat or is shaken ({off_px:.1f} px); glue it to something "
        "stiff and hold still."
    )


def _card_swung(say: Teller, c: Caution, photo: str, card: int) -> str:
    return (
        f"{photo}: card {card} hung otherwise than in the other photographs, by a degree or more: "
        "it swung or was moved; let it come to rest, out of the wind, and photograph again."
    )


SENTENCES: dict[str, Callable[..., str]] = {
    "station-origin": _station_origin,
    "perhaps-origin": _perhaps_origin,
    "card-leans": _card_leans,
    "card-size": _card_size,
    "card-unread": _card_unread,
    "card-moved": _card_moved,
    "card-bent": _card_bent,
    "card-not-flat": _card_not_flat,
    "card-swung": _card_swung,
}
# What there may be more of than is told.
COUNTED = {
    "card-unread": "photograph",
    "card-moved": "photograph",
    "card-bent": "card",
    "card-not-flat": "card",
    "card-swung": "card",
}
