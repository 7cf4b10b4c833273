"""Work on photographs in processes of their own: limited in memory, warm, and killed when cancelled."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from functools import cache
from typing import ParamSpec, TypeVar

from anyio import BrokenWorkerProcess, CapacityLimiter, to_process

from gapvision.errors import MeasurementError

# A photograph of 60 megapixels takes 1.2 GB at its worst; what is mapped and not used counts too.
MOST_MEMORY = 4 << 30
STOPPED = (
    "The program that looked at it was stopped, as where memory runs out or a picture is damaged: "
    "try again, or photograph it again."
)

P = ParamSpec("P")
T = TypeVar("T")


class Stopped(MeasurementError):
    """A worker was killed from outside, or by its limit."""


async def in_worker(limiter: CapacityLimiter, work: Callable[P, T], *args: P.args) -> T:
    """What ``work`` gives, computed in a worker; where this is cancelled, the worker is killed.

    ``work`` must be a function of a module, and raise nothing that is to be told.

    Raises
    ------
    Stopped
        Where the worker was killed.
    """
    try:
        return await to_process.run_sync(_limited, work, args, cancellable=True, limiter=limiter)
    except (BrokenWorkerProcess, MemoryError) as error:
        raise Stopped("stopped", STOPPED) from error


def workers() -> CapacityLimiter:
    """As many workers at a time as cores, but no more than four."""
    return CapacityLimiter(max(1, min(4, os.cpu_count() or 1)))


def _limited(work: Callable[..., T], args: tuple) -> T:
    _set_up()
    return work(*args)


@cache
def _set_up() -> None:
    """Once in each worker: its memory, its threads, and no ear for Ctrl-C, which is the server's."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        most = MOST_MEMORY if hard == resource.RLIM_INFINITY else min(MOST_MEMORY, hard)
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))
    except (ImportError, ValueError, OSError):
        pass  # this system has no such limit
    import cv2

    cv2.setNumThreads(1 if (os.cpu_count() or 1) <= 2 else 2)
