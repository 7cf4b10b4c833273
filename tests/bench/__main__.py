"""Times, as ratios within one run, and peak memory of the whole program.

    PYTHONPATH=tests python -m bench [--only photo joint ...] [--repeat 7] [--joints 50]
                                     [--archive 1 1000 100000]

Each line is a process of its own. What it is compared with runs by turns with it, so that other work
on the machine weighs on both; medians are told, of wall and of processor time. The archive's own study
prints its table below.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from bench import pictures

HEAD = f"{'':42}{'seconds':>9}{'ratio':>8}{'of CPU':>8}{'peak MB':>9}  beside"
IMPORTS = "numpy, scipy.linalg, scipy.optimize, scipy.special, cv2, onnxruntime, PIL.Image, typer"
DECODE = f"import sys, {IMPORTS}; assert cv2.imread(sys.argv[1]) is not None"
ARCHIVE = Path(__file__).parents[1] / "studies" / "archive_benchmark.py"


@dataclass(frozen=True, slots=True)
class Line:
    """Medians of one thing: seconds, what it takes of its base by wall and by processor, MB at most."""

    name: str
    seconds: float
    ratio: float
    ratio_cpu: float
    peak_mb: float
    beside: str

    def __str__(self) -> str:
        peak = f"{self.peak_mb:9.0f}" if self.peak_mb else " " * 9
        return (
            f"{self.name:42}{self.seconds:9.3f}{self.ratio:8.1f}{self.ratio_cpu:8.1f}{peak}  "
            f"{self.beside}"
        )


def _line(name: str, beside: str, found: dict) -> Line:
    ratios = (
        median(a / b for a, b in zip(found[one], found[base], strict=True))
        for one, base in (("wall", "base"), ("cpu", "base_cpu"))
    )
    return Line(name, median(found["wall"]), *ratios, found["peak_mb"], beside)


def _child(name: str, beside: str, kind: str, **job) -> Line:
    """A line from `bench.child`."""
    command = [sys.executable, "-m", "bench.child", kind, json.dumps(job)]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return _line(name, beside, json.loads(told))


def _whole(name: str, beside: str, base: list[str], command: list[str], repeat: int) -> Line:
    """A line of whole processes by turns."""
    found: dict = {"base": [], "base_cpu": [], "wall": [], "cpu": [], "peak_mb": 0.0}
    for _ in range(repeat):
        for run, wall, cpu in ((base, "base", "base_cpu"), (command, "wall", "cpu")):
            before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
            subprocess.run(run, check=True, capture_output=True)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            found[wall].append(time.perf_counter() - start)
            spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            found[cpu].append(spent)
    return _line(name, beside, found)


def _program(*args: str) -> list[str]:
    return [sys.executable, "-c", "from gapvision.cli.main import main; main()", *args]


def start(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """Whole commands."""
    bare = [sys.executable, "-c", "import typer"]
    yield _whole("gapvision --help", "importing typer", bare, _program("--help"), a.repeat)
    photo = str(pictures.enlarged(folder, 12))
    decode = [sys.executable, "-c", DECODE, photo]
    told = _program("measure", photo, "--json", "-")
    beside = "importing the same, decoding"
    yield _whole("gapvision measure, 12 megapixels", beside, decode, told, a.repeat)


def photo(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """One photograph by its size."""
    for megapixels in (12, 24, 48):
        path = str(pictures.enlarged(folder, megapixels))
        name = f"one photograph, {megapixels} megapixels"
        yield _child(name, "decoding it", "measure", photos=[path], repeat=a.repeat)


def joint(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """Joints by their photographs."""
    for count in (1, 3, 15):
        place = folder / f"joint{count}"
        place.mkdir()
        paths = [str(p) for p in pictures.joint(place, count)]
        name = f"a joint, photographs of 8 megapixels: {count}"
        repeat = max(1, a.repeat // count)
        yield _child(name, "decoding them", "measure", photos=paths, repeat=repeat)


def stations(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """The whole log's seven photographs, over more and more of it."""
    paths = [str(p) for p in sorted((pictures.DEMO / "whole_log").glob("*.jpg"))]
    for span in (600, 1200, 2400):
        yield _child(
            f"seven photographs, {span} mm of the log", "decoding them", "measure", photos=paths,
            span_mm=[0, span], repeat=max(1, a.repeat // 4),
        )  # fmt: skip


def calibration(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """A lens."""
    for photos in (10, 20):
        name = f"a lens from {photos} photographs' corners"
        yield _child(name, "cv2.calibrateCamera", "calibrate", photos=photos, repeat=a.repeat)


def wall(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """A folder of joints: one process a core beside one process."""
    found: dict = {"base": [], "base_cpu": [], "wall": [], "cpu": [], "peak_mb": 0.0}
    for processes, of_wall, of_cpu in ((1, "base", "base_cpu"), (os.cpu_count(), "wall", "cpu")):
        place = folder / f"wall{processes}"
        place.mkdir()
        day = pictures.day(place, a.joints)
        before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        command = _program("measure", str(day), "--jobs", str(processes))
        subprocess.run(command, check=False, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        told = len(list(day.glob("*/gapvision.json")))
        if told != a.joints:
            raise SystemExit(f"Of {a.joints} joints {told} were measured.")
        found[of_wall].append(time.perf_counter() - begun)
        found[of_cpu].append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    yield _line(f"{a.joints} joints, {os.cpu_count()} processes", "one process", found)


def archive(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """The archive's own study, at each size."""
    for joints in a.archive:
        print(f"\nArchive of {joints} joints", flush=True)
        subprocess.run([sys.executable, str(ARCHIVE), "--joints", str(joints)], check=True)
    yield from ()


BENCHES: dict[str, Callable[[Path, argparse.Namespace], Iterator[Line]]] = {
    f.__name__: f for f in (start, photo, joint, stations, calibration, wall, archive)
}


def main() -> None:
    """Run what is asked for, a line as soon as it is known."""
    ask = argparse.ArgumentParser(
        prog="bench", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--only", nargs="+", choices=sorted(BENCHES), default=list(BENCHES))
    ask.add_argument("--repeat", type=int, default=7)
    ask.add_argument("--joints", type=int, default=50, help="of the wall")
    ask.add_argument("--archive", type=int, nargs="+", default=[1, 1000, 100_000])
    a = ask.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}\n{HEAD}", flush=True)
    for name in a.only:
        with tempfile.TemporaryDirectory() as folder:
            for line in BENCHES[name](Path(folder), a):
                print(line, flush=True)


if __name__ == "__main__":
    main()
