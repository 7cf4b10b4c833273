"""Disks that refuse: one that is full, one that may only be read."""

import os
import subprocess
import sys
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
