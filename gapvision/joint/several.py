"""Photographs of several joints given as of one: recognised by wood, cards, nails, times and outlines."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations, pairwise
from typing import TypeVar

import numpy as np

from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.joint.model import Joint
from gapvision.photo.facts import CameraKey
from gapvision.photo.pose import nail_between
from gapvision.photo.wood import (
    OTHER,
    PERHAPS_OTHER,
    SAME,
    UNKNOWN,
    Flattened,
    Likeness,
    flattened,
    likeness,
)
from gapvision.phrases import cards_text, hours_text
from gapvision.scene.camera import Lens
from gapvision.trace.traced_photo import TracedPhoto

# Nails stay where they are while a card swings: in right photographs two are as far apart to 1 mm, and
# cards that were hung anew seldom to a centimetre.
NAILS_APART_MM = 6.0
FEWEST_CORNERS = 20  # of a card by which nails are compared
HOURS_APART = 2.0  # a joint is photographed in minutes
MOST_NAMES = 6
TURNED_RAD = math.radians(
    0.6
)  # as fitted, of a card between photographs: half of what it really did

Pair = tuple[int, int]
Group = tuple[int, ...]
_G = TypeVar("_G")


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Groups of photographs that may be of as many joints, and the cards beside which the wood differs.

    ``files`` names the photographs of each group, ``rest`` those of which it cannot be told.
    """

    files: tuple[str, ...]
    cards: tuple[int, ...]
    rest: str = ""

    @property
    def why(self) -> str:
        """What was seen, as a sentence's beginning."""
        return f"The wood beside {cards_text(self.cards)} is not the same"


def check_one_joint(
    photos: Sequence[TracedPhoto], lenses: Sequence[Lens], hung_on: str
) -> Suspicion | None:
    """Refuse photographs that are surely of several joints.

    Parameters
    ----------
    photos : sequence of TracedPhoto
    lenses : sequence of Lens
        That the photographs' rows name.
    hung_on : str
        Beside a card that hangs ``"free"`` there need be no wood.

    Returns
    -------
    Suspicion or None
        Of two joints, where the wood alone does not tell them apart for sure: what contradicts it later
        decides (`check_agreement`).

    Raises
    ------
    JointNotFitted
        ``several-joints``, with the files of each.
    """
    suspicion = None if hung_on == "free" else _by_wood(photos, lenses)
    _check_cards(photos)
    return suspicion


def _by_wood(photos: Sequence[TracedPhoto], lenses: Sequence[Lens]) -> Suspicion | None:
    """As `check_one_joint`, by the wood beside the cards."""
    alike = _likenesses(photos)
    groups = _groups_of(range(len(photos)), (pair for pair, told in alike.items() if told == SAME))
    of = {i: g for g in groups for i in g}
    unlike = {pair: told for pair, told in alike.items() if of[pair[0]] != of[pair[1]]}
    if not unlike:
        return None
    groups = tuple(sorted({of[i] for pair in unlike for i in pair}))
    cards = tuple(sorted({n for pair in unlike for n in _shared(photos, *pair)}))
    rest = [i for i in range(len(photos)) if not any(i in g for g in groups)]
    suspicion = Suspicion(tuple(_names(photos, g) for g in groups), cards, _names(photos, rest))
    if OTHER in unlike.values():
        raise _several(suspicion)
    apart = _nails_apart(photos, lenses, groups) or _hours_apart(photos, groups)
    if apart:
        raise _several(suspicion, apart)
    return suspicion


@dataclass(frozen=True, eq=False, slots=True)
class Untraced:
    """A photograph whose cards are read, with the wood beside each, and why no gap is found in it."""

    label: str
    wood: dict[int, np.ndarray]
    why: MeasurementError


def check_untraced(
    photos: Sequence[TracedPhoto], untraced: Sequence[Untraced], hung_on: str
) -> Suspicion | None:
    """As `check_one_joint`, of photographs in which no gap is found, against those in which one is.

    They would be left out, and the others answered as if they were all of the folder's joint.
    """
    if hung_on == "free" or not untraced:
        return None
    flat = [_flat(p.wood) for p in photos]
    left = {u.label: _flat(u.wood) for u in untraced}
    told = {label: {_pair_told(one, other) for other in flat} for label, one in left.items()}
    unlike = [label for label, t in told.items() if t & {OTHER, PERHAPS_OTHER} and SAME not in t]
    if not unlike:
        return None
    labels = tuple(p.label for p in photos)
    cards = sorted({n for u in untraced if u.label in unlike for n in u.wood})
    suspicion = Suspicion((_listed(labels), _listed(unlike)), tuple(cards))
    if any(OTHER in told[label] for label in unlike):
        raise _several(suspicion)
    return suspicion


def check_agreement(suspicion: Suspicion | None, joint: Joint, disagrees: bool) -> None:
    """Refuse photographs suspected to be of two joints that contradict each other in the fit too.

    Parameters
    ----------
    joint : as fitted to all of them.
    disagrees : whether their outlines contradict each other.

    Raises
    ------
    JointNotFitted
        ``several-joints``.
    """
    if suspicion is None:
        return
    if disagrees:
        raise _several(suspicion, "their gaps differ")
    if any(
        np.linalg.norm(swing) > TURNED_RAD for c in joint.cards for swing in c.swing_rad.values()
    ):
        raise _several(suspicion, "a card hangs otherwise")


def check_doubt(suspicion: Suspicion | None, doubtful: bool) -> None:
    """Refuse photographs suspected to be of two joints whose answer is doubtful for other reasons too.

    Raises
    ------
    JointNotFitted
        ``several-joints``.
    """
    if suspicion is not None and doubtful:
        raise _several(suspicion, "together they show no joint for sure")


def hours_between(taken: Iterable[tuple[CameraKey | None, str | None]]) -> float:
    """The longest pause (h) between photographs, each its camera and time; 0 of one alone.

    Each camera has its own clock.
    """
    by_camera: dict[tuple[str, str], list[datetime]] = {}
    for key, time in taken:
        if time and key is not None:
            own = by_camera.setdefault((key.make, key.model), [])
            own.append(datetime.fromisoformat(time).replace(tzinfo=None))
    pauses = [
        (b - a).total_seconds() / 3600
        for times in by_camera.values()
        for a, b in pairwise(sorted(times))
    ]
    return max(pauses, default=0.0)


# --- cards ----------------------------------------------------------------------------------------


def _check_cards(photos: Sequence[TracedPhoto]) -> None:
    """Refuse photographs of the outside that fall into groups which no card ties together.

    A card counts also where it could be read in part only: it tells that they are of one joint. Where no
    two share a card at all, `connect` says so.
    """
    main = [i for i, p in enumerate(photos) if p.rows.side == "outside"] or range(len(photos))
    pairs = combinations(main, 2)
    groups = _groups_of(main, (p for p in pairs if _cards(photos[p[0]]) & _cards(photos[p[1]])))
    if len(groups) < 2 or len(groups) == len(main):
        return
    told = "; ".join(
        f"{letter}: {_names(photos, g)} ({cards_text(_read(photos, g))})"
        for letter, g in _lettered(groups)
    )
    raise JointNotFitted(
        "several-joints",
        f"No card ties these photographs together: {told}. They are of {_count(groups)} joints, of "
        "a joint's two faces (--inside names those from inside), or a photograph between is missing. "
        "Measure each joint by itself (gapvision sort parts them by their slips), or photograph so "
        "that neighbours share a card.",
    )


def _cards(photo: TracedPhoto) -> set[int]:
    return {s.number for s in photo.rows.sightings} | {*photo.unread_cards, *photo.bent_cards}


def _shared(photos: Sequence[TracedPhoto], i: int, j: int) -> list[int]:
    """Cards that lie beside wood in both."""
    return sorted(photos[i].wood.keys() & photos[j].wood.keys())


# --- wood -----------------------------------------------------------------------------------------


def _likenesses(photos: Sequence[TracedPhoto]) -> dict[Pair, str]:
    """What the wood beside shared cards says of each pair of photographs that tells anything."""
    if len(photos) < 2:
        return {}
    flat = [_flat(p.wood) for p in photos]
    out = {}
    for i, j in combinations(range(len(photos)), 2):
        told = _pair_told(flat[i], flat[j])
        if told is not None:
            out[i, j] = told
    return out


def _flat(wood: Mapping[int, np.ndarray]) -> dict[int, Flattened]:
    """One photograph's wood as `likeness` compares it."""
    return {n: flattened(w) for n, w in wood.items()}


def _pair_told(one: Mapping[int, Flattened], other: Mapping[int, Flattened]) -> str | None:
    """What the wood beside the cards that two photographs share says of them, each from `_flat`."""
    return _together(likeness(one[n], other[n]) for n in sorted(one.keys() & other.keys()))


def _together(likenesses: Iterable[Likeness]) -> str | None:
    """What several cards say of a pair: one that is surely the same is enough, one that is surely
    another only where none says less."""
    told = {x.verdict for x in likenesses}
    if SAME in told:
        return SAME
    if not told & {OTHER, PERHAPS_OTHER}:
        return None
    return OTHER if OTHER in told and UNKNOWN not in told else PERHAPS_OTHER


def _groups_of(members: Iterable[int], pairs: Iterable[Pair]) -> tuple[Group, ...]:
    """Those that pairs tie together, each group in order."""
    groups = [{i} for i in members]
    for pair in pairs:
        tied = [g for g in groups if not g.isdisjoint(pair)]
        groups = [g for g in groups if g not in tied] + [set().union(*tied)]
    return tuple(sorted(tuple(sorted(g)) for g in groups))


# --- what else parts them -------------------------------------------------------------------------


def _nails_apart(
    photos: Sequence[TracedPhoto], lenses: Sequence[Lens], groups: Sequence[Group]
) -> str:
    """Two cards that hang farther apart in one group than in another; empty where none do."""
    seen: dict[Pair, dict[int, list[float]]] = {}
    for k, group in enumerate(groups):
        for rows in (photos[i].rows for i in group):
            clear = [s for s in rows.sightings if len(s.corner_id) >= FEWEST_CORNERS]
            for a, b in combinations(clear, 2):
                mm = nail_between(a, b, lenses[rows.lens], rows.size)
                seen.setdefault((a.number, b.number), {}).setdefault(k, []).append(mm)
    for pair, by_group in seen.items():
        apart = sorted(float(np.median(v)) for v in by_group.values())
        if apart[-1] - apart[0] > NAILS_APART_MM:
            return f"{cards_text(pair)} hang {apart[0]:.0f} mm apart in one and {apart[-1]:.0f} in the other"
    return ""


def _hours_apart(photos: Sequence[TracedPhoto], groups: Sequence[Group]) -> str:
    """That all of one group was taken hours before or after all of another; empty where it was not."""
    for a, b in combinations(groups, 2):
        pause = [
            hours_between((photos[i].facts.key, photos[i].facts.taken) for i in g)
            for g in (a, b, a + b)
        ]
        *within, together = pause
        if together > max(HOURS_APART, *(2 * h for h in within)):
            return f"{hours_text(together)} lie between them"
    return ""


# --- the answer -----------------------------------------------------------------------------------


def _several(suspicion: Suspicion, also: str = "") -> JointNotFitted:
    """That these are several joints, with the files of each."""
    files = suspicion.files
    told = "; ".join(f"{letter}: {names}" for letter, names in _lettered(files))
    rest = suspicion.rest and f"; of either: {suspicion.rest}"
    return JointNotFitted(
        "several-joints",
        f"These are {_count(files)} joints: {told}{rest}. {suspicion.why}{also and f', and {also}'}. Measure "
        "each by itself; gapvision sort parts them by their slips. If it is one joint, a card was hung "
        "anew or the light changed: photograph all of it again.",
    )


def _lettered(groups: Sequence[_G]) -> Iterable[tuple[str, _G]]:
    return zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", groups, strict=False)


def _count(groups: Sequence[object]) -> str:
    return "two" if len(groups) == 2 else str(len(groups))


def _names(photos: Sequence[TracedPhoto], group: Iterable[int]) -> str:
    return _listed([photos[i].label for i in group])


def _listed(labels: Sequence[str]) -> str:
    more = len(labels) - MOST_NAMES
    return ", ".join(labels) if more <= 1 else f"{', '.join(labels[:MOST_NAMES])} and {more} more"


def _read(photos: Sequence[TracedPhoto], group: Group) -> list[int]:
    """The cards that a group's photographs show."""
    return sorted({s.number for i in group for s in photos[i].rows.sightings})
