"""A row of the table: a command, or something within a process, beside what runs by turns with it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

# A process's peak counts what the one that began it held then: so it is begun by one that holds little.
_SMALL = [sys.executable, "-I", "-S", "-c"]
_SMALL += [
    """
import os, sys, time
how, program, *more = sys.argv[1:]
quiet = [(os.POSIX_SPAWN_OPEN, n, os.devnull, os.O_RDWR, 0) for n in (1, 2) if how == "timed"]
begun = time.perf_counter()
pid = os.posix_spawnp(program, [program, *more], os.environ, file_actions=quiet)
_, status, used = os.wait4(pid, 0)
code = os.waitstatus_to_exitcode(status)
if how != "timed":
    sys.exit(code)
wall = time.perf_counter() - begun
print([wall, used.ru_utime + used.ru_stime, used.ru_maxrss, code])
"""
]
HEAD = """| | seconds | times | of processor time | peak MB | beside | aim | load |
|---|---|---|---|---|---|---|---|"""


@dataclass(frozen=True, slots=True)
class Line:
    """Medians of one thing: seconds, what it takes of its base by wall and by processor, MB at most."""

    name: str
    beside: str
    seconds: float | None = None
    ratio: float | None = None
    ratio_cpu: float | None = None
    peak_mb: float | None = None
    aim: str = ""
    load: float = field(default_factory=lambda: os.getloadavg()[0])

    def __str__(self) -> str:
        numbers = [
            "" if value is None else f"{value:{form}}"
            for value, form in (
                (self.seconds, ".3f"), (self.ratio, ".2f"), (self.ratio_cpu, ".2f"),
                (self.peak_mb, ".0f"),
            )
        ]  # fmt: skip
        return f"| {self.name} | {' | '.join(numbers)} | {self.beside} | {self.aim} | {self.load:.1f} |"


@dataclass(frozen=True, slots=True)
class Took:
    """Wall and processor seconds of a process, and the memory of it or of the largest that it began."""

    wall: float
    cpu: float
    peak_mb: float


def child(name: str, beside: str, aim: str, kind: str, **job: object) -> Line:
    """A line from `bench.child`."""
    load = os.getloadavg()[0]
    command = [*_SMALL, "", sys.executable, "-m", "bench.child", kind, json.dumps(job)]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    found = json.loads(told)
    ratios = (
        median(a / b for a, b in zip(found[one], found[base], strict=True))
        for one, base in (("wall", "base"), ("cpu", "base_cpu"))
    )
    return Line(name, beside, median(found["wall"]), *ratios, found["peak_mb"], aim, load)


def whole(
    name: str,
    bases: Mapping[str, Sequence[str]],
    command: Sequence[str],
    repeat: int,
    aims: Sequence[str] = (),
    warm: bool = True,
    check: bool = True,
    before: Callable[[], None] = lambda: None,
) -> Iterator[Line]:
    """Lines of a whole command beside others, all by turns.

    Parameters
    ----------
    bases : mapping of str to command
    aims : for each of them
    warm : whether to begin with a round that is not counted
    check : whether a command that fails is a mistake
    before : what is done before each
    """
    load = os.getloadavg()[0]
    took: dict[str, list[Took]] = {beside: [] for beside in (*bases, name)}
    for n in range(repeat + warm):
        for beside, run in {**bases, name: command}.items():
            before()
            one = _run(run, check)
            if n >= warm:
                took[beside].append(one)
    ours = took[name]
    for k, beside in enumerate(bases):
        pairs = list(zip(ours, took[beside], strict=True))
        yield Line(
            name, beside, median(t.wall for t in ours), median(a.wall / b.wall for a, b in pairs),
            median(a.cpu / b.cpu for a, b in pairs), max(t.peak_mb for t in ours),
            aims[k] if aims else "", load,
        )  # fmt: skip


def _run(command: Sequence[str], check: bool) -> Took:
    told = subprocess.run([*_SMALL, "timed", *command], check=True, capture_output=True, text=True)
    wall, cpu, peak_kb, code = json.loads(told.stdout)
    if check and code:
        raise SystemExit(f"It failed: {' '.join(command)}")
    return Took(wall, cpu, peak_kb / 1024)
