"""One photograph by itself: both outlines of the open joint, sub-pixel, with their uncertainty.

Takes a photograph and its cards; gives a `TracedPhoto`: the band rectified by its own camera, and the
`Trace` of both outlines, which `rows` makes rows of the fit. Read `traced_photo.py` first, then
`outlines.py`. The networks of both looks lie in `weights/`; `training` made them, is imported by
nobody and is not installed.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "outlines": ["Trace", "trace_outlines"],
        "rows": ["outlines_of"],
        "traced_photo": ["ReadPhoto", "TracedPhoto", "retrace", "trace_photo"],
    },
)
