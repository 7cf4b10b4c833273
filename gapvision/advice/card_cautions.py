"""What is wrong with the cards of a joint: leaning, swinging, moved, bent, unread, of two sizes."""

from __future__ import annotations

import numpy as np

from gapvision.advice.caution import Caution, capped
from gapvision.advice.findings import Findings
from gapvision.joint.photo_results import station_origin

LEAN_DEG = 2.5
LEAN_APART_DEG = 3.5  # two cards; right ones differ by 1.7, sd
# Cards turn about their string by 3 degrees, sd. All of them alike by more is the sign of a card of
# another size: it is taken for a nearer or a farther one, and the wall for turned.
TURNED_DEG = 10.0  # over the root of their number
SWUNG_DEG = 0.6  # fitted; about half of what it really swung, for the prior holds it back
MOVED_PX = 0.4  # a card's corners against the joint of all photographs, rms; usually under 0.1
MOVED_TIMES = 3.0  # and against how well they lie in a plane
# What a bent card may do in one photograph with no other: from simulated joints, docs/results.md.
BENT_LEAN_DEG = 2.5  # of its board, if it follows the log: as of a card that leans
DOUBT_LEAN_DEG = 5.0  # a radius of 550 mm; the setting moves by 1 mm at 600, 5 at 300, 20 at 150
BENT_MM = 3.0  # its middle before its edges, bent the other way or twisted
DOUBT_MM = 10.0  # a radius of 730 mm; the setting moves by 0.7 mm at 600, 3.6 at 150
BENT_PX = 0.35  # a card's corners, and against a plane of its own: a flat card reaches 0.05 to 0.15


def station_origin_moved(f: Findings) -> list[Caution]:
    """Stated stations count from a card of a higher number than one that was seen, or that may hang there.

    A sheet has two cards, the first of an odd number: where the lowest is even, its fellow may be hidden.
    """
    origin = station_origin(f.cards)
    if origin is None or not f.options.states_stations:
        return []
    lost = {n for p in f.left_out if p.side == origin.side for n in p.cards}
    lost |= {n for p in f.photos if p.side == origin.side for n in p.unread_cards + p.bent_cards}
    lower = sorted(n for n in lost - {c.number for c in f.cards} if n < origin.number)
    if not lower:
        if origin.number % 2 == 0:
            facts = {"origin": origin.number, "fellow": origin.number - 1}
            return [Caution("perhaps-origin", facts=facts)]
        return []
    return [Caution("station-origin", facts={"origin": origin.number, "lost": lower[0]})]


def find_card_cautions(f: Findings) -> list[Caution]:
    """Cards that are bent, lean, are of two sizes, cannot be read, moved, are not flat, or swung."""
    bent = _bent(f)
    moved, rough = _moved_and_rough(f, [c.facts["card"] for c in bent])
    return (
        capped(bent) + _leaning(f) + _turned_alike(f) + _unread(f) + capped(moved) + capped(rough)
        + _swung(f)
    )  # fmt: skip


def _bent(f: Findings) -> list[Caution]:
    """Cards whose corners lie on an arc, gravest first; of those that no photograph keeps, last."""
    out = []
    for number, bend in sorted(f.bends.items(), key=lambda nb: nb[1].radius_mm):
        lean_deg = float(np.degrees(bend.lean_rad))
        if lean_deg > BENT_LEAN_DEG or bend.depth_mm > BENT_MM:
            facts = {"card": number, "radius_mm": bend.radius_mm, "upright": bend.upright}
            grave = lean_deg > DOUBT_LEAN_DEG or bend.depth_mm > DOUBT_MM
            out.append(Caution("card-bent", doubtful=grave, facts=facts))
    kept = {c.number for c in f.cards}
    for number in sorted({n for p in f.photos for n in p.bent_cards} - kept):
        out.append(
            Caution("card-bent", facts={"card": number, "radius_mm": None, "upright": False})
        )
    return out


def _leaning(f: Findings) -> list[Caution]:
    """Cards out of plumb, or two that cannot both be plumb."""
    if f.options.card_on == "free":
        return []  # they stand as somebody put them
    out = [
        Caution("card-leans", facts={"cards": (c.number,), "lean_deg": abs(c.lean_deg)})
        for c in f.cards
        if abs(c.lean_deg) > LEAN_DEG
    ]
    leans = sorted((c.lean_deg, c.number) for c in f.cards if c.side == "outside")
    if not out and len(leans) > 1 and leans[-1][0] - leans[0][0] > LEAN_APART_DEG:
        # Each takes half of what one alone does, for the camera's own tilt is not known either.
        cards, apart_deg = (leans[0][1], leans[-1][1]), leans[-1][0] - leans[0][0]
        out.append(Caution("card-leans", facts={"cards": cards, "lean_deg": apart_deg}))
    return out


def _moved_and_rough(f: Findings, bent: list[int]) -> tuple[list[Caution], list[Caution]]:
    """Photographs in which cards are off the joint of all, and cards off a plane of their own.

    Of a bent card neither tells anything more.
    """
    moved, rough = [], []
    for photo, fitted in zip(f.photos, f.joint.photos, strict=True):
        view, corner_px = fitted.rows, fitted.corner_px
        off = [
            s.number
            for s in view.sightings
            if len(f.photos) > 1
            and s.number not in bent
            and corner_px[s.number] > max(MOVED_PX, MOVED_TIMES * min(s.u_px, BENT_PX))
        ]
        if off:
            # Of two cards in a photograph it cannot be told which one moved.
            facts = {"photo": photo.name, "cards": off, "off_px": max(corner_px[n] for n in off),
                     "sure": len(off) == 1 and len(view.sightings) > 2}  # fmt: skip
            moved.append(Caution("card-moved", facts=facts))
        for s in view.sightings:
            if s.number not in [*off, *bent] and s.u_px > BENT_PX:
                facts = {"photo": photo.name, "card": s.number, "off_px": s.u_px}
                rough.append(Caution("card-not-flat", facts=facts))
    return moved, rough


def _unread(f: Findings) -> list[Caution]:
    """Cards of which parts are seen and that no photograph reads."""
    read = {c.number for c in f.cards}
    out = []
    for p in f.photos:
        lost = [n for n in p.unread_cards if n not in read]
        if lost:
            out.append(Caution("card-unread", facts={"photo": p.name, "cards": lost}))
    return capped(out)


def _turned_alike(f: Findings) -> list[Caution]:
    """Cards of one side that all seem turned one way: one of them is of the wrong size."""
    if f.options.card_on == "free":
        return []
    out = []
    for side in ("outside", "inside"):
        cards = [c for c in f.joint.cards if c.side == side]
        turn = np.degrees([c.tilt_rad[1] for c in cards])
        if len(cards) > 1 and abs(turn.mean()) > TURNED_DEG / np.sqrt(len(cards)):
            facts = {"cards": [c.number for c in cards], "turned_deg": abs(turn.mean())}
            out.append(Caution("card-size", facts=facts))
    return out


def _swung(f: Findings) -> list[Caution]:
    out = []
    for card in f.joint.cards:
        turn = {v: float(np.linalg.norm(s)) for v, s in card.swing_rad.items()}
        most = max(turn, key=turn.__getitem__, default=None)
        if most is not None and np.degrees(turn[most]) > SWUNG_DEG:
            facts = {"photo": f.photos[most].name, "card": card.number}
            out.append(Caution("card-swung", facts=facts))
    return capped(out)
