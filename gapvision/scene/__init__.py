"""Geometry alone: what stands in front of the camera, and how a camera sees it.

Takes and gives arrays, in mm of the world, px of the upright picture and rad; knows no file and no
pixel value. Read `camera.py` first, which states the frames, then `sections.py`: two logs' circles,
the gap between them and the groove.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "camera": ["Camera", "Lens"],
        "hung_card": ["HungCard"],
        "photo_rows": ["OutlineRows", "PhotoRows"],
        "priors": ["Beliefs", "Priors"],
        "sections": ["Sections"],
    },
)
