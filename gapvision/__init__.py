"""From phone photographs of an open log joint to the setting of the scriber's points.

The way of the data is the way of the packages: `inputs` (what a person states), `photo` (one file),
`trace` (both outlines in it), `joint` (all photographs in one fit), `advice` (what to do and to
beware of), `answer` (told as text, JSON, picture and report). `spine` calls them in this order: read
`gapvision/spine.py` first. `scene` is the geometry below them; `shoot`, `archive` and `cli` are around.

As a library, in mm::

    from pathlib import Path
    from gapvision import MeasureOptions, measure

    joint = measure(MeasureOptions(photos=(Path("photos"),), cover_mm=76))
    print(joint.status, joint.set_to_mm, joint.widest_gap.value_mm, joint.widest_gap.U95_mm)

A joint that cannot be measured raises a `MeasurementError`, with a code and one sentence on what to
do; its kinds are in `gapvision/errors.py`. Names load what they need on first use.
"""

from __future__ import annotations

import lazy_loader

__version__ = "0.1.0"

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "spine": ["measure"],
        "inputs.options": ["MeasureOptions"],
        "measurement": ["Measurement"],
        "errors": ["MeasurementError"],
    },
)
