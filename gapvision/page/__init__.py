"""The page that a phone opens at the wall: served from this computer, with nothing from elsewhere.

Takes photographs as they arrive and what a person enters; gives a verdict of each photograph, the
answer, and records of the archive. What is at work is kept in the archive's folder `drafts`, so that a
program that ends loses nothing. Read `app.py` first, then `drafts.py` and `safety.py`.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={"app": ["page_app"], "drafts": ["Draft"]},
)
