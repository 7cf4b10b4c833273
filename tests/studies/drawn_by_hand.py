"""How well a setting is known where an outline was put right by hand. Run by hand; it takes minutes.

    PYTHONPATH=tests python tests/studies/drawn_by_hand.py [--seeds 5]

The demo's level photograph; the network is made to take another edge, 10 mm off, for one log round the
place that decides. A line is drawn through the right one with 1.2 mm of waver at points 36 mm apart and
0.7 mm in common, sds. Printed: by how much the setting is then off what it was before, and how often
its half-width holds the truth.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from itertools import product

import numpy as np
from helpers.demo import TRUTH, options
from helpers.misled import drawn, misled

from gapvision.answer.outlines_json import outlines_answer
from gapvision.inputs.corrections import corrections_of
from gapvision.spine import measure
from gapvision.trace import traced_photo

WAVER_MM, COMMON_MM = 1.2, 0.7
BEYOND_MM = 50.0  # drawn past what is wrong
OFF_ROWS = 10


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=5)
    seeds = parser.parse_args().seeds
    untouched = measure(options("photo0.jpg"))
    photo = json.loads(json.dumps(outlines_answer(untouched)))["photos"][0]
    station = np.array(photo["outlines"]["blocks"]["station_mm"])
    upper = np.array(photo["outlines"]["upper"])
    px_per_mm = np.ptp(upper[:, 0]) / np.ptp(station)
    real = traced_photo.second_look
    print(f"untouched {untouched.setting.value_mm:.2f} +- {untouched.setting.U95_mm:.2f}")
    print("log    mm  rows   wrong     off what it was   U95   holds  status")
    for log, length in product(("upper", "lower"), (150, 400)):
        rows = -OFF_ROWS if log == "upper" else OFF_ROWS  # into the log: the gap looks wider
        middle = untouched.deciding_place.station_mm
        first, last = middle - length / 2, middle + length / 2
        blocks = slice(*np.searchsorted(station, (first, last)))
        traced_photo.second_look = lambda *band, args=(log, blocks, rows): misled(
            *real(*band), *args
        )
        wrong = measure(options("photo0.jpg")).setting.value_mm - untouched.setting.value_mm
        off, u95, holds, status = [], [], [], []
        for seed in range(seeds):
            common = np.random.default_rng([9, seed]).normal(0, COMMON_MM) * px_per_mm
            line = drawn(
                photo, log, first - BEYOND_MM, last + BEYOND_MM, common, WAVER_MM * px_per_mm,
                seed=seed,
            )  # fmt: skip
            corrections = corrections_of({photo["sha256"]: {log: [line]}})
            m = measure(replace(options("photo0.jpg"), corrections=corrections))
            off.append(m.setting.value_mm - untouched.setting.value_mm)
            u95.append(m.setting.U95_mm)
            holds.append(abs(m.setting.value_mm - TRUTH["setting_mm"]) <= m.setting.U95_mm)
            status.append(m.verdict.kind)
        traced_photo.second_look = real
        print(
            f"{log} {length:5d} {rows:5d} {wrong:7.2f}   {np.mean(off):6.2f} {np.std(off):5.2f} "
            f"{np.abs(off).max():5.2f}  {np.median(u95):5.2f}  {sum(holds)}/{seeds}  {sorted({*status})}",
            flush=True,
        )


if __name__ == "__main__":
    main()
