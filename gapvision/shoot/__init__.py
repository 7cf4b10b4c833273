"""Around the photographing: cards and slips to print, the plan of a shoot, the sorted camera roll.

Takes a `Site`, names of joints, or a folder of photographs; gives PDFs to print, a `Plan` with the
half-widths to expect, and a `Roll` of photographs by joint. Read `plan.py` first; `sheet.py`,
`slip.py` and `roll.py` stand each by itself.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "plan": ["Plan", "plan_shoot"],
        "roll": ["Roll", "sort_roll"],
        "sheet": ["write_cards"],
        "slip": ["Slip", "slips_pdf"],
        "ways": ["Site"],
    },
)
