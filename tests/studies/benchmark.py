"""Time of measuring one photograph against OpenCV's decoding of the same JPEG to colour.

    python tests/studies/benchmark.py PHOTO [--repeat 7] [--upper-diameter 300 --lower-diameter 310]

Prints the medians of both and their ratio: the part of the process after imports, without a picture.
"""

from __future__ import annotations

import argparse
import os
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does, before numpy loads

import cv2  # noqa: E402
import numpy as np  # noqa: E402

from gapvision.inputs.options import MeasureOptions  # noqa: E402
from gapvision.lengths import parse_diameter  # noqa: E402
from gapvision.spine import measure  # noqa: E402


def seconds(action, repeat: int) -> float:
    """Median wall time of an action, after one that is not counted."""
    action()
    taken = []
    for _ in range(repeat):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return float(np.median(taken))


def main() -> None:
    """Parse, time, print."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )  # noqa: E501
    ask.add_argument("photo", type=Path, nargs="+")
    ask.add_argument("--repeat", type=int, default=7)
    ask.add_argument("--upper-diameter", default="300")
    ask.add_argument("--lower-diameter", default="300")
    a = ask.parse_args()
    data = np.frombuffer(a.photo[0].read_bytes(), np.uint8)
    decode = seconds(lambda: cv2.imdecode(data, cv2.IMREAD_COLOR), a.repeat)
    options = MeasureOptions(
        tuple(a.photo),
        upper_diameter=parse_diameter(a.upper_diameter, "mm"),
        lower_diameter=parse_diameter(a.lower_diameter, "mm"),
    )
    whole = seconds(lambda: measure(options), a.repeat)
    print(f"decode  {decode * 1e3:7.1f} ms")
    print(f"measure {whole * 1e3:7.1f} ms for {len(a.photo)} photograph(s)")
    print(f"ratio   {whole / decode / len(a.photo):7.1f} a photograph")


if __name__ == "__main__":
    main()
