"""What was traced in photographs as they came, kept in memory until their joint is measured."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, field

MOST = 120_000_000  # bytes: of 12 megapixels each has some 9 MB; without it the answer takes longer


@dataclass(eq=False, slots=True)
class Looks:
    """Pickled `Look`s by the photographs' hashes, those used last at the end.

    They come from this program's own workers through their pipes, and go back the same way.
    """

    by_hash: OrderedDict[str, bytes] = field(default_factory=OrderedDict)
    size: int = 0


def remember(looks: Looks, sha256: str, pickled: bytes) -> None:
    """Keep one, and forget those not used for longest where they are too many."""
    _forget(looks, sha256)
    looks.by_hash[sha256] = pickled
    looks.size += len(pickled)
    while looks.size > MOST and len(looks.by_hash) > 1:
        _forget(looks, next(iter(looks.by_hash)))


def remembered(looks: Looks, hashes: Iterable[str]) -> dict[str, bytes]:
    """Those of some photographs, as far as they are there."""
    found = {}
    for sha256 in hashes:
        if sha256 in looks.by_hash:
            looks.by_hash.move_to_end(sha256)
            found[sha256] = looks.by_hash[sha256]
    return found


def _forget(looks: Looks, sha256: str) -> None:
    looks.size -= len(looks.by_hash.pop(sha256, b""))
