"""The tracer's networks, run by OpenCV, so that no learning library is needed."""

from __future__ import annotations

from functools import cache
from importlib import resources

import cv2
import numpy as np


@cache
def network(file: str) -> cv2.dnn.Net:
    """The network of a file of ``weights``; docs/tracer.md tells how it was made."""
    weights = resources.files("gapvision").joinpath(f"trace/weights/{file}").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))
