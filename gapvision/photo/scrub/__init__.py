"""Photographs without location, serial numbers and owner; the picture stays bit for bit.

Takes the bytes of a file, gives those of another. What may stay is named, and all else goes: makers put
places and numbers where nobody looks for them, and so may anybody else. Read `kinds.py` first.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={"kinds": ["scrubbed"], "notes": ["NotScrubbable"]},
)
