"""Odd inputs at every entrance, many of them: what came of each, and the time and memory that it took.

    PYTHONPATH=tests python tests/studies/fuzzing.py --scale 20 --seed 1

tries twenty times what each line of the table below says; ``--only TEXT`` those entrances alone. Each
entrance has a process of its own. An input has failed where something other than a refusal is raised, an
answer is wrong, it takes more than 10 s of a core, or its process grows beyond 1 GB. A process that hangs
is ended after 300 s with its traceback. The failed inputs are told with the last line of the program in
their traceback; exit status 1 if there are any.
"""

from __future__ import annotations

import argparse
import faulthandler
import itertools
import os
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads

from helpers.fuzz.all import ENTRANCES
from hypothesis import HealthCheck, Phase, given, seed, settings

from gapvision.errors import MeasurementError

MOST_S, MOST_MB, HANGS_S = 10.0, 1000.0, 300.0
# Inputs of an entrance for each of --scale; those that take long are tried less often.
EACH = 100
PART = 250  # inputs of one process: hypothesis keeps them all, and memory is to be the program's
FEWER = {"a photograph of a joint with damaged bytes": 10, "a database's cells": 20, "commands": 40}


@dataclass
class Tally:
    """What came of an entrance's inputs; ``failed`` counts each kind, with one example."""

    name: str
    tried: int = 0
    slowest_s: float = 0.0
    most_mb: float = 0.0
    failed: Counter = field(default_factory=Counter)
    example: dict[str, str] = field(default_factory=dict)


def tried(name: str, many: int, at: int) -> Tally:
    """Try an entrance's inputs in this process."""
    entrance, tally = ENTRANCES[name], Tally(name)
    warnings.simplefilter("ignore")

    @seed(at)
    @settings(
        max_examples=many, deadline=None, database=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(entrance.strategy)
    def one(value):
        folder = Path(tempfile.mkdtemp(prefix="gapvision-fuzz-"))
        os.environ["GAPVISION_CONFIG_DIR"] = str(folder / "config")
        os.environ["GAPVISION_ARCHIVE"] = str(folder / "archive")
        faulthandler.dump_traceback_later(HANGS_S, exit=True)
        begun = time.process_time()
        why = ""
        try:
            entrance.check(value, folder)
        except MeasurementError:
            why = "a refusal where there is none to be"
        except BaseException as error:
            why = _told(error)
        took = time.process_time() - begun
        faulthandler.cancel_dump_traceback_later()
        shutil.rmtree(folder, ignore_errors=True)
        tally.tried += 1
        tally.slowest_s = max(tally.slowest_s, took)
        if took > MOST_S:
            why = why or f"took {took:.0f} s"
        if why:
            tally.failed[why] += 1
            tally.example.setdefault(why, repr(value)[:300])

    one()
    tally.most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if tally.most_mb > MOST_MB:
        tally.failed[f"grew to {tally.most_mb:.0f} MB"] += 1
    return tally


def _together(name: str, parts: list[Tally]) -> Tally:
    out = Tally(
        name, sum(t.tried for t in parts), max(t.slowest_s for t in parts),
        max(t.most_mb for t in parts),
    )  # fmt: skip
    for t in parts:
        out.failed.update(t.failed)
        out.example = t.example | out.example
    return out


def _told(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    own = [f for f in frames if "gapvision/" in f.filename and "/tests/" not in f.filename]
    last = (own or frames)[-1]
    where = f"{'/'.join(Path(last.filename).parts[-3:])}:{last.lineno}"
    return (
        f"{type(error).__name__} {str(error)[:90]!r} at {where}"
        if not isinstance(error, AssertionError)
        else f"wrong: {str(error)[:120]!r}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    names = [n for n in ENTRANCES if asked.only in n]
    parts = [
        (n, min(PART, many - at), asked.seed + at)
        for n in names
        for many in [round(asked.scale * FEWER.get(n, EACH))]
        for at in range(0, many, PART)
    ]
    with ProcessPoolExecutor(asked.jobs, max_tasks_per_child=1) as pool:
        tallies = []
        print(
            "| entrance | inputs | failed | slowest, s of a core | most, MB |\n|---|---|---|---|---|"
        )
        done = pool.map(tried, *zip(*parts, strict=True))
        for name, of_one in itertools.groupby(done, key=lambda t: t.name):
            t = _together(name, list(of_one))
            tallies.append(t)
            failed = sum(t.failed.values())
            print(
                f"| {t.name} | {t.tried} | {failed} | {t.slowest_s:.1f} | {t.most_mb:.0f} |",
                flush=True,
            )
    total, failed = sum(t.tried for t in tallies), sum(sum(t.failed.values()) for t in tallies)
    print(f"| all | {total} | {failed} | {max(t.slowest_s for t in tallies):.1f} "
          f"| {max(t.most_mb for t in tallies):.0f} |")  # fmt: skip
    for t in tallies:
        for why, times in t.failed.most_common():
            print(f"\n{t.name}: {times} times {why}\n    {t.example.get(why, '')}", file=sys.stderr)
    raise SystemExit(failed > 0)


if __name__ == "__main__":
    main()
