"""What is known of a photograph's lens: from Exif, from a calibration, or by calibrating it.

Takes what Exif says, a camera file, or photographs of the uncut card sheet; gives the prior of focal
length and distortion, and camera files. Read `prior.py` first; for a calibration `calibrate.py`,
whose function ``calibrate`` is the whole way.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "files": ["match_camera", "read_camera"],
        "calibration": ["Calibration"],
        "fit": ["fit_lens"],
        "prior": ["choose_lens", "lens_of"],
    },
)
