"""What is wrong with the cards of a joint: leaning, swinging, moved, bent, unread, of two sizes."""

from __future__ import annotations

import numpy as np

from gapvision.advice.caution import Caution, capped
from gapvision.advice.findings import Findings
from gapvision.joint.photo_results import PhotoResult, station_origin
from gapvision.phrases import cards_text

LEAN_DEG = 2.5
LEAN_APART_DEG = 3.5  # two cards; right ones differ by 1.7, sd
# Cards turn about their string by 3 degrees, sd. All of them alike by more is the sign of a card of
# another size: it is taken for a nearer or a farther one, and the wall for turned.
TURNED_DEG = 10.0  # over the root of their number
SWUNG_DEG = 0.6  # fitted; about half of what it really swung, for the prior holds it back
MOVED_PX = 0.4  # a card's corners against the joint of all photographs, rms; usually under 0.1
MOVED_TIMES = 3.0  # and against how well they lie in a plane
BENT_PX = 0.35  # and against a plane of its own: a flat card reaches 0.05 to 0.15


def station_origin_moved(f: Findings) -> list[Caution]:
    """Stated stations count from a card of a higher number than one that was seen."""
    origin = station_origin(f.cards)
    if origin is None or not f.options.states_stations:
        return []
    lost = {n for p in f.left_out if p.side == origin.side for n in p.cards}
    lost |= {n for p in f.photos if p.side == origin.side for n in p.unread_cards}
    lower = sorted(n for n in lost - {c.number for c in f.cards} if n < origin.number)
    if not lower:
        return []
    text = (
        f"Stations count from card {origin.number}: card {lower[0]} is in no photograph that was used. "
        f"State all stations from card {origin.number}, or photograph card {lower[0]} again."
    )
    return [Caution("station-origin", text)]


def find_card_cautions(f: Findings) -> list[Caution]:
    """Cards that lean, are of two sizes, cannot be read, moved, are not flat, or swung."""
    out = []
    for c in f.cards:
        if abs(c.lean_deg) > LEAN_DEG:
            text = (
                f"Card {c.number} leaned {abs(c.lean_deg):.0f} degrees out of plumb; let it hang "
                "free, or photograph from two heights, which makes the answer independent of it."
            )
            out.append(Caution("card-leans", text))
    leans = sorted((c.lean_deg, c.number) for c in f.cards if c.side == "outside")
    if not out and len(leans) > 1 and leans[-1][0] - leans[0][0] > LEAN_APART_DEG:
        # Each takes half of what one alone does, for the camera's own tilt is not known either.
        text = (
            f"Cards {leans[0][1]} and {leans[-1][1]} hang {leans[-1][0] - leans[0][0]:.0f} degrees "
            "out of line with each other, so that one of them is not plumb; let both hang free, or "
            "photograph from two heights, which makes the answer independent of it."
        )
        out.append(Caution("card-leans", text))
    out += _turned_alike(f)
    out += _unread(f)
    moved, bent = [], []
    for photo, fitted in zip(f.photos, f.joint.photos, strict=True):
        view, corner_px = fitted.rows, fitted.corner_px
        off = [
            s.number
            for s in view.sightings
            if len(f.photos) > 1
            and corner_px[s.number] > max(MOVED_PX, MOVED_TIMES * min(s.u_px, BENT_PX))
        ]
        if off:
            moved.append(_card_moved(photo, off, max(corner_px[n] for n in off), view))
        for s in view.sightings:
            if s.number not in off and s.u_px > BENT_PX:
                text = (
                    f"{photo.name}: card {s.number} is not flat or is shaken ({s.u_px:.1f} px); "
                    "glue it to something stiff and hold still."
                )
                bent.append(Caution("card-not-flat", text))
    return out + capped(moved, what="photograph") + capped(bent, what="card") + _swung(f)


def _card_moved(photo: PhotoResult, off: list[int], miss_px: float, view) -> Caution:
    """Of two cards in a photograph it cannot be told which one moved."""
    which = f"{cards_text(off)} {'is' if len(off) == 1 else 'are'}"
    one = "it" if len(off) == 1 and len(view.sightings) > 2 else "one of its cards"
    text = (
        f"{photo.name}: {which} {miss_px:.1f} px off where the other photographs have it; {one} "
        "moved or the log was bumped: photograph all heights again without touching card or log."
    )
    return Caution("card-moved", text)


def _unread(f: Findings) -> list[Caution]:
    """Cards of which parts are seen and that no photograph reads."""
    read = {c.number for c in f.cards}
    out = []
    for p in f.photos:
        lost = [n for n in p.unread_cards if n not in read]
        if lost:
            text = (
                f"{p.name}: {cards_text(lost)} is in the picture and cannot be read, as one is that "
                "is cut off, hidden or shaken; the answer does without it."
            )
            out.append(Caution("card-unread", text))
    return capped(out, what="photograph")


def _turned_alike(f: Findings) -> list[Caution]:
    """Cards of one side that all seem turned one way: one of them is of the wrong size."""
    out = []
    for side in ("outside", "inside"):
        cards = [c for c in getattr(f.joint, "cards", ()) if c.side == side]
        turn = np.degrees([c.tilt_rad[1] for c in cards])
        if len(cards) > 1 and abs(turn.mean()) > TURNED_DEG / np.sqrt(len(cards)):
            text = (
                f"{cards_text(c.number for c in cards).capitalize()} all seem turned "
                f"{abs(turn.mean()):.0f} degrees from the wall: one is printed at another size, or "
                "stands off the log. Lay a ruler on the check bar of each, let them hang flat, and "
                "photograph again."
            )
            out.append(Caution("card-size", text))
    return out


def _swung(f: Findings) -> list[Caution]:
    out = []
    for card in getattr(f.joint, "cards", ()):
        turn = {v: float(np.linalg.norm(s)) for v, s in card.swing_rad.items()}
        most = max(turn, key=turn.get, default=None)
        if most is not None and np.degrees(turn[most]) > SWUNG_DEG:
            text = (
                f"{f.photos[most].name}: card {card.number} hung otherwise than in the other "
                "photographs, by a degree or more: it swung or was moved; let it come to rest, out of "
                "the wind, and photograph again."
            )
            out.append(Caution("card-swung", text))
    return capped(out, what="card")
