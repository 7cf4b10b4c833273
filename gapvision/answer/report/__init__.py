"""A joint or a whole wall to read, print and sign: one HTML file, or a PDF.

Takes the JSON of measurements, by `sources.py` a `JointReport` each; gives a page that needs nothing
beside it. Read `words.py` first: what is said and in which order; HTML and PDF draw the same.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "html": ["joint_html", "wall_html"],
        "joint": ["JointReport"],
        "pdf": ["joint_pdf", "wall_pdf"],
        "sources": ["report_of_json"],
    },
)
