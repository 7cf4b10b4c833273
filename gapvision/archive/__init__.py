"""Joints kept with their photographs, and what came of them.

Takes a measurement, its options and its files; gives records: listed, found, exported, verified,
and compared with what was told later; `day.again` measures them again. A folder with an SQLite
database, whose format is told in docs/archive.md. Read `store.py` first, then `record.py` and
`query.py`; ``export`` and ``verify`` are functions in modules of their names.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "outcome": ["add_outcome"],
        "query": ["Query", "entries", "load_record"],
        "record": ["add_record", "new_record"],
        "store": ["Archive", "open_archive"],
    },
)
