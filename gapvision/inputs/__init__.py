"""What a person states, once or for a run, and the refusal of what cannot be.

Takes what was typed and the user's own preferences file; gives a checked `MeasureOptions`, and the
half diameters by station that the fit wants. Loads neither numpy nor OpenCV but for the diameters.
Read `options.py` first.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "joint_name": ["JointName"],
        "options": ["MeasureOptions", "check_options"],
        "preferences": ["Preferences", "load_preferences"],
        "rules": ["Rule"],
    },
)
