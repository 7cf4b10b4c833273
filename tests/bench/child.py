"""One thing timed in a process of its own, so that its peak memory is its alone; prints JSON.

python -m bench.child {measure,calibrate} JOB, a JSON object
"""

from __future__ import annotations

import json
import os
import resource
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does, before numpy loads


def timed(base, action, repeat: int) -> dict:
    """Wall and processor seconds of both by turns; peak memory of the first round, not counted else."""
    out: dict[str, list[float]] = {"base": [], "base_cpu": [], "wall": [], "cpu": []}
    action()
    peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    base()
    for _ in range(repeat):
        for run, wall, cpu in ((base, "base", "base_cpu"), (action, "wall", "cpu")):
            start, start_cpu = time.perf_counter(), time.process_time()
            run()
            out[wall].append(time.perf_counter() - start)
            out[cpu].append(time.process_time() - start_cpu)
    return {**out, "peak_mb": peak_kb / 1024}


def measure_photos(photos, repeat, span_mm=None, **more):
    """Measuring photographs of one joint beside decoding them to colour."""
    import cv2
    import numpy as np

    from gapvision.inputs.options import MeasureOptions, Stretch
    from gapvision.lengths import parse_diameter
    from gapvision.spine import measure

    files = [np.frombuffer(Path(p).read_bytes(), np.uint8) for p in photos]
    stretch = Stretch() if span_mm is None else Stretch(*span_mm)
    options = MeasureOptions(
        tuple(Path(p) for p in photos), stretch=stretch,
        upper_diameter=parse_diameter("300", "mm"), lower_diameter=parse_diameter("300", "mm"),
    )  # fmt: skip

    def decode() -> None:
        for data in files:
            cv2.imdecode(data, cv2.IMREAD_COLOR)

    return timed(decode, lambda: measure(options), repeat)


def calibrate(photos, repeat):
    """A lens from simulated corners of the sheet, beside OpenCV's own fit to the same."""
    import cv2
    import numpy as np
    from helpers.sheet_views import SIZE, TRUE, seen

    from gapvision.photo.lens.fit import SheetView, fit_lens

    pairs = seen(np.random.default_rng(1), photos=photos)
    views = [SheetView(f"{k}.jpg", *pair) for k, pair in enumerate(pairs)]
    points, px = ([np.float32(pair[i]) for pair in pairs] for i in range(2))
    first = np.array([[TRUE["f"], 0, SIZE[0] / 2], [0, TRUE["f"], SIZE[1] / 2], [0, 0, 1.0]])

    def opencv() -> None:
        flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_ZERO_TANGENT_DIST
        cv2.calibrateCamera(points, px, SIZE, first.copy(), np.zeros(5), flags=flags)

    return timed(opencv, lambda: fit_lens(views, SIZE, TRUE["f"]), repeat)


if __name__ == "__main__":
    job = json.loads(sys.argv[2])
    print(json.dumps({"measure": measure_photos, "calibrate": calibrate}[sys.argv[1]](**job)))
