"""The picture of a measurement: the photograph with what was traced, and strips of numbers below it.

Takes a `Measurement` and the photograph's file; gives the picture as an array or a file. Read
`picture.py` first: it stacks the strips, each of which is a module.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "picture": ["draw_picture", "write_picture"],
    },
)
