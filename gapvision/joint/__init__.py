"""All photographs of one joint: connected, fitted, doubted; the gap by station.

Takes `MeasureOptions` and the photographs' files; gives the fitted `Joint` with its covariance, the
`Profile` of gap and setting needed along the log, what is said of each photograph, and how far
photographs, readings and trial lines agree. Read `solve.py` first, then `model.py` and `gap.py`.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "gap": ["Profile", "gap_profile"],
        "gather": ["gather_photos"],
        "model": ["Joint"],
        "photo_results": ["CardResult", "PhotoResult"],
        "solve": ["Solved"],
    },
)
