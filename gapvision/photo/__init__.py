"""One photograph's file: its pixels, what Exif tells, the cards in it and where they hang.

Takes a path; gives a `Photo`, the cards seen in it with their corners in px, and cameras and
cards placed in the world by them. The package `lens` gives the prior of its focal length and
distortion. Read `photo.py` first, then `cards.py` and `pose.py`.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "cards": ["CardSighting", "read_cards"],
        "lens.calibrate": ["calibrate"],
        "lens.prior": ["choose_lens"],
        "photo": ["Photo", "load_photo"],
        "pose": ["place_cards"],
    },
)
