"""Rules of cover, groove and log: the published ones by name, and how the builder's own are typed.

The published rules contradict each other: one takes half the diameter as the least width, another
three eighths as the largest. So none holds unless it is named. Local code comes before all of them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from gapvision.lengths import parse_length

NONE = "none"
LARGEST_SHARE = 1.0

# What a rule is of, as it is typed, and whether its number may be a share of the diameter.
COVER, RUN, WIDTH, DEPTH, LOG = "cover", "run", "width", "depth", "log"
SHARES = {COVER: True, RUN: False, WIDTH: True, DEPTH: True, LOG: False}

READ, SECOND_HAND, MEMORY, OWN = "read", "read second-hand", "from memory", "your own"


@dataclass(frozen=True, slots=True)
class Rule:
    """One limit: ``what`` it is of, its number, where that is from and how well that is known.

    ``value`` is mm, or the share of the upper log's diameter where ``share``.
    """

    what: str
    value: float
    share: bool
    source: str
    mark: str


_STANDARD = "ILBA Log Building Standards 2000, 2.A.1"
_ARTICLE = "how-to article; that it is the ILBA's of 2000 is from memory"
_PRINTED = "how-to article, printed as an inch; as a share of the diameter from memory"
_METRIC = "metric print of the ILBA Log Building Standards 2000"
_TRADE = "Russian trade pages; no standard"
_DRAFT = (
    "ICC IS-LOG public draft of June 2005, 302.2.4.9, quoted; of a kerf and the groove together"
)


def _ilba(cover_mm: float, run_mm: float, width: float, mark: str, source: str) -> tuple[Rule, ...]:
    return (
        Rule(COVER, cover_mm, False, source, mark),
        Rule(RUN, run_mm, False, source, mark),
        Rule(WIDTH, width, True, _PRINTED, READ),
        Rule(DEPTH, 0.25, True, _ARTICLE, READ),
        Rule(LOG, 200.0, False, _STANDARD, READ),
    )


RULES: Mapping[str, tuple[Rule, ...]] = {
    NONE: (),
    "ilba-2000": _ilba(63.5, 304.8, 3 / 8, READ, _ARTICLE),
    "ilba-2000-irregular": _ilba(63.5, 304.8, 1 / 2, READ, _ARTICLE),
    "ilba-2000-metric": _ilba(65.0, 300.0, 3 / 8, MEMORY, _METRIC),
    "half-diameter": (Rule(COVER, 0.5, True, _TRADE, READ),),
    "winter-20": (Rule(COVER, 100.0, False, f"{_TRADE}; design winter of -20 C", READ),),
    "winter-30": (Rule(COVER, 120.0, False, f"{_TRADE}; design winter of -30 C", READ),),
    "winter-40": (Rule(COVER, 140.0, False, f"{_TRADE}; design winter of -40 C", READ),),
    "is-log-draft-2005": (Rule(DEPTH, 0.5, True, _DRAFT, SECOND_HAND),),
}


def parse_limit(text: str, units: str = "mm") -> Rule:
    """A limit of the builder's own: ``cover=60``, ``run=300``, ``width=3/8``, ``depth=0.25``, ``log=8in``.

    Of cover, width and depth a number up to 1 without a unit is a share of the upper log's diameter.

    Raises
    ------
    ValueError
        Where it is none of these.
    """
    what, _, number = text.partition("=")
    what = what.strip().lower()
    if what not in SHARES or not number.strip():
        raise ValueError(
            f"{text!r} is no limit: write cover=60, run=300, width=3/8, depth=1/4 or log=200."
        )
    share = _share(number) if SHARES[what] else None
    value = parse_length(number, units) if share is None else share
    if value <= 0:
        raise ValueError(f"{text!r}: a limit must be above zero.")
    return Rule(what, value, share is not None, "stated", OWN)


def length_of_limit(text: str) -> str:
    """The number of a limit as it was typed where it is a length; empty where it is a share."""
    what, _, number = text.partition("=")
    share = SHARES.get(what.strip().lower()) and _share(number) is not None
    return "" if share else number


def _share(text: str) -> float | None:
    """A share of the diameter from ``3/8`` or ``0.375``; None where it is a length."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?|\.\d+)(?:/(\d+))?\s*", text, re.ASCII)
    if not found or (found[2] and int(found[2]) == 0):
        return None
    value = float(found[1]) / float(found[2] or 1)
    return value if value <= LARGEST_SHARE else None


def rules_of(text: str, units: str = "mm") -> str:
    """The name of a set of `RULES`, in whatever case it is typed.

    Raises
    ------
    ValueError
        Where there is none of that name.
    """
    name = text.strip().lower()
    if name not in RULES:
        raise ValueError(f"{text!r} is none of {', '.join(RULES)}.")
    return name


def in_force(name: str, own: tuple[Rule, ...]) -> tuple[Rule, ...]:
    """The rules of a named set, those of the builder's own before them."""
    stated = {rule.what for rule in own}
    return own + tuple(rule for rule in RULES[name] if rule.what not in stated)
