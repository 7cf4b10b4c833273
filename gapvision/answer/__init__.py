"""A `Measurement` told: as text, as JSON and back, as a picture and as a report.

Takes a `Measurement` or the JSON that was written of one; gives strings, dicts, pictures and pages.
Nothing is computed here that the answer does not hold, but for `check.py`, which holds caliper
readings against it. Read `text.py` and `as_json.py` first; the picture is in `picture`, HTML and PDF
are in `report`.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "as_json": ["answer_json", "measurement_of", "read_json"],
        "picture.picture": ["draw_picture"],
        "report.html": ["joint_html"],
        "report.pdf": ["joint_pdf"],
        "text": ["answer_text"],
    },
)
