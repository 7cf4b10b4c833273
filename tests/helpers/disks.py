"""Disks that refuse: one that is full, one that may only be read."""

import os
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

TESTS = Path(__file__).parents[1]
LIMIT = 5000  # bytes that a file may have under `under_a_limit`

_LIMITED = """
import resource, sys
from gapvision.errors import MeasurementError
resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, resource.RLIM_INFINITY))
try:
{code}
except MeasurementError as error:
    print(error.code, error.text)
"""


def under_a_limit(code, *args, limit=LIMIT):
    """Run Python code in a process whose files may not grow, as on a disk that fills up.

    What it raises as `MeasurementError` is printed, the code first.
    """
    indented = "\n".join(f"    {line}" for line in code.splitlines())
    return subprocess.run(
        [sys.executable, "-c", _LIMITED.format(limit=limit, code=indented), *map(str, args)],
        env=os.environ | {"PYTHONPATH": str(TESTS)},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@contextmanager
def small_disk(place, mebibytes=16):
    """A disk of its own in memory, mounted at a new folder; None where nobody may mount one."""
    place.mkdir()
    size = f"size={mebibytes}m"
    command = ["mount", "-t", "tmpfs", "-o", size, "gapvision-test", place]
    try:
        mounted = subprocess.run(command, capture_output=True, timeout=20, check=False)
    except OSError:
        mounted = None
    if mounted is None or mounted.returncode:
        yield None
        return
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], timeout=20, check=True)


def fill(disk):
    """Write until there is no byte left; the file that has them."""
    path = disk / "fill"
    try:
        with path.open("wb", buffering=0) as file:
            while True:
                file.write(bytes(4096))
    except OSError:
        return path


def remount(disk, how):
    """Make a `small_disk` read-only, ``"ro"``, or writable again, ``"rw"``."""
    subprocess.run(["mount", "-o", f"remount,{how}", disk], timeout=20, check=True)
