"""A whole day's joints: a folder of folders, each joint measured by itself, several at once.

Takes a folder and what was asked of all its joints; gives each joint's answer, written beside its
photographs, and one table. Read `joints.py` first, then `run.py`.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "joints": ["DayJoint", "joints_of"],
        "run": ["Outcome", "run_day"],
        "text": ["day_text"],
    },
)
