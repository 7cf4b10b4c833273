"""Times, as ratios within one run, and peak memory of the whole program, as rows of a Markdown table.

    PYTHONPATH=tests python -m bench [--only photo joint ...] [--repeat 7] [--joints 50]
                                     [--archive 1 1000 100000]

Each line is a process of its own. What it is compared with runs by turns with it, so that other work
on the machine weighs on both; medians are told, of wall and of processor time, and the machine's load
as the line was begun. The archive's own study prints its rows below.
"""

from __future__ import annotations

import argparse
import compileall
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import gapvision
from bench import pictures
from bench.line import HEAD, Line, child, whole

LIBRARIES = "numpy, scipy.linalg, scipy.optimize, scipy.special, cv2, onnxruntime, PIL.Image, typer"
LOADED = "numpy, cv2, onnxruntime, PIL.Image, typer"  # by a plain measurement; SciPy no longer is
ARCHIVE = Path(__file__).parents[1] / "studies" / "archive_benchmark.py"
READ = """
import sys
from pathlib import Path
for path in Path(sys.argv[1]).rglob("*"):
    if path.is_file():
        with path.open("rb", buffering=0) as file:
            while file.read(1 << 20):
                pass
"""


def decoding(libraries: str, photo: str) -> list[str]:
    """A process that loads these and decodes a photograph."""
    code = f"import sys, {libraries}; assert cv2.imread(sys.argv[1]) is not None"
    return [sys.executable, "-c", code, photo]


def program(*args: str) -> list[str]:
    return [sys.executable, "-c", "from gapvision.cli.main import main; main()", *args]


def start(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """Whole commands."""
    bare = {"importing typer": [sys.executable, "-c", "import typer"]}
    yield from whole("gapvision --help", bare, program("--help"), a.repeat)
    photo = str(pictures.enlarged(folder, 12))
    bases = {
        "importing all its libraries, decoding": decoding(LIBRARIES, photo),
        "importing those that it loads, decoding": decoding(LOADED, photo),
    }
    told = program("measure", photo, "--json", "-")
    name = "gapvision measure, 12 megapixels"
    yield from whole(name, bases, told, a.repeat, ("2", ""))


def photo(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """One photograph by its size."""
    for megapixels in (12, 24, 48):
        path = str(pictures.enlarged(folder, megapixels))
        name = f"one photograph, {megapixels} megapixels"
        aim = "8, better 5" if megapixels == 12 else "600 MB" * (megapixels == 48)
        yield child(name, "decoding it", aim, "measure", photos=[path], repeat=a.repeat)
    heights = [str(pictures.enlarged(folder, 12, f"photo{k}.jpg")) for k in range(3)]
    name = "three heights, 12 megapixels each"
    yield child(name, "decoding them", "8", "measure", photos=heights, repeat=a.repeat)


def joint(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """Joints by their photographs, and how time and memory grow with them."""
    lines = {}
    for count in (1, 3, 15):
        place = folder / f"joint{count}"
        place.mkdir()
        paths = [str(p) for p in pictures.joint(place, count)]
        repeat = max(1, a.repeat // count)
        name = f"a joint of {count}, photographs of 8 megapixels"
        lines[count] = child(name, "decoding them", "", "measure", photos=paths, repeat=repeat)
        yield lines[count]
    for what, aim in (("seconds", "5"), ("peak_mb", "1.3")):
        grown = getattr(lines[15], what) / getattr(lines[3], what)
        name = "a joint of 15: " + ("memory" if what == "peak_mb" else "time")
        yield Line(name, "a joint of 3", ratio=grown, aim=aim)


def stations(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """The whole log's seven photographs, over more and more of it."""
    paths = [str(p) for p in sorted((pictures.DEMO / "whole_log").glob("*.jpg"))]
    for span in (600, 1200, 2400):
        yield child(
            f"seven photographs, {span} mm of the log", "decoding them", "", "measure",
            photos=paths, span_mm=[0, span], repeat=max(1, a.repeat // 4),
        )  # fmt: skip


def calibration(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """A lens."""
    for photos in (10, 20):
        name = f"a lens from {photos} photographs' corners"
        yield child(name, "cv2.calibrateCamera", "", "calibrate", photos=photos, repeat=a.repeat)


def wall(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """A folder of joints: a process a core beside one process, of one thread and of as many as it likes."""
    cores = os.cpu_count() or 1

    def day(kind: str, jobs: int) -> list[str]:
        place = folder / kind
        place.mkdir()
        return program("measure", str(pictures.day(place, a.joints)), "--jobs", str(jobs))

    bases = {
        "one process on one core": ["taskset", "-c", "0", *day("core", 1)],
        "one process": day("one", 1),
    }
    name = f"{a.joints} joints, {cores} processes"
    aims = (f"{1 / (0.9 * cores):.2f}", "")
    lines = list(whole(name, bases, day("all", cores), 1, aims, warm=False, check=False))
    told = len(list(folder.glob("*/day/*/gapvision.json")))
    if told != 3 * a.joints:
        raise SystemExit(f"Of {3 * a.joints} joints {told} were measured.")
    yield from lines


def verify(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """The check of an archive, its files read from the disk."""
    place = folder / "archive"
    mb = pictures.archive(place, a.photographs)

    def from_disk() -> None:
        for path in place.rglob("*"):
            if path.is_file():
                with path.open("rb") as file:
                    os.fsync(file.fileno())
                    os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)

    name = f"archive verify, {mb:.0f} MB"
    bases = {"reading them": [sys.executable, "-c", READ, str(place)]}
    command = program("archive", "verify", "--archive", str(place))
    yield from whole(name, bases, command, a.repeat, before=from_disk)


def archive(folder: Path, a: argparse.Namespace) -> Iterator[Line]:
    """The archive's own study, at each size."""
    for joints in a.archive:
        print(flush=True)
        subprocess.run([sys.executable, str(ARCHIVE), "--joints", str(joints)], check=True)
    yield from ()


BENCHES: dict[str, Callable[[Path, argparse.Namespace], Iterator[Line]]] = {
    f.__name__: f for f in (start, photo, joint, stations, calibration, wall, verify, archive)
}


def machine() -> str:
    """What the table was made on."""
    name = platform.processor() or platform.machine()
    told = Path("/proc/cpuinfo")
    for line in told.read_text().splitlines() if told.is_file() else ():
        if line.startswith("model name"):
            name = line.partition(":")[2].strip()
    return f"{os.cpu_count()} cores ({name}), Python {platform.python_version()}"


def main() -> None:
    """Run what is asked for, a line as soon as it is known."""
    ask = argparse.ArgumentParser(
        prog="bench", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--only", nargs="+", choices=sorted(BENCHES), default=list(BENCHES))
    ask.add_argument("--repeat", type=int, default=7)
    ask.add_argument("--joints", type=int, default=50, help="of the wall")
    ask.add_argument("--photographs", type=int, default=400, help="of the archive that is verified")
    ask.add_argument("--archive", type=int, nargs="+", default=[1, 1000, 100_000])
    a = ask.parse_args()
    compileall.compile_dir(Path(gapvision.__file__).parent, quiet=1)  # as pip leaves a program
    print(f"{machine()}, load {os.getloadavg()[0]:.1f}\n\n{HEAD}", flush=True)
    for name in a.only:
        with tempfile.TemporaryDirectory() as folder:
            for line in BENCHES[name](Path(folder), a):
                print(line, flush=True)
    print(f"\nLoad at the end {os.getloadavg()[0]:.1f}", flush=True)


if __name__ == "__main__":
    main()
