"""What the builder is to do, and to beware of.

Takes the fitted `Joint` and its profile; gives the `Decision` (scribe or lower first, other covers,
what follows, limits) and the cautions, each with the photograph or reading that would cure it.
Read `decision.py` first, then `cautions.py`, and `verdict.py` for what all of it comes to.
`shrinkage.py` stands by itself.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "caution": ["Caution"],
        "cautions": ["find_cautions"],
        "decision": ["Decision", "decide"],
        "shrinkage": ["shrink"],
    },
)
