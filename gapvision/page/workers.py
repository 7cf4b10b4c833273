"""Work on photographs in processes of their own: limited in memory, warm, and killed when cancelled."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from typing import Any, TypeVar, cast

from anyio import (
    BrokenWorkerProcess,
    CancelScope,
    CapacityLimiter,
    create_task_group,
    to_process,
)

from gapvision.errors import MeasurementError
from gapvision.page.verdicts import warm_up

# The largest photograph that is taken, 60 megapixels, needs 1.7 GB; what is mapped and not used counts too.
MOST_MEMORY = 4 << 30
STOPPED = (
    "The program that looked at it was stopped, as where memory runs out or a picture is damaged: "
    "try again, or photograph it again."
)

T = TypeVar("T")


class Stopped(MeasurementError):
    """A worker was killed from outside, or by its limit."""


async def in_worker(limiter: CapacityLimiter, work: Callable[..., T], *args: Any) -> T:
    """What ``work``, a module's function, gives; where this is cancelled, its worker is killed.

    Raises
    ------
    Stopped
        Where the worker was killed, or there was not enough memory.
    MeasurementError
        As ``work``.
    """
    try:
        told, refused = await to_process.run_sync(
            _limited, work, args, cancellable=True, limiter=limiter
        )
    except (
        BrokenWorkerProcess,
        ProcessLookupError,
    ) as error:  # the second: when it was to be killed
        raise Stopped("stopped", STOPPED) from error
    if refused is None:
        return cast(T, told)
    raise Stopped(*refused) if refused[0] == "stopped" else MeasurementError(*refused)


def cores() -> int:
    """How many processes are worth while at a time."""
    return max(1, min(4, os.cpu_count() or 1))


async def warm(limiter: CapacityLimiter) -> None:
    """Begin every worker, and have it load what it needs, before the first photograph comes."""
    async with create_task_group() as tasks:
        for _ in range(int(limiter.total_tokens)):
            tasks.start_soon(_begun, limiter)


async def _begun(limiter: CapacityLimiter) -> None:
    # A worker that is cancelled before it is ready would be left behind, and not killed.
    with CancelScope(shield=True), suppress(BrokenWorkerProcess):
        await to_process.run_sync(_set_up, limiter=limiter)
    await in_worker(limiter, warm_up)


def _limited(work: Callable[..., T], args: tuple) -> tuple[T | None, tuple[str, str] | None]:
    """What the work gives, or the code and text of a refusal: those of errors cannot be pickled."""
    _set_up()
    try:
        return work(*args), None
    except MeasurementError as error:
        return None, (error.code, error.text)
    except MemoryError:
        return None, ("stopped", STOPPED)


@cache
def _set_up() -> None:
    """Once in each worker: its memory, its threads, and no ear for Ctrl-C, which is the server's."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        import resource
    except ImportError:  # Windows, which has no such limit
        pass
    else:
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        most = MOST_MEMORY if hard == resource.RLIM_INFINITY else min(MOST_MEMORY, hard)
        with suppress(ValueError, OSError):  # of systems that know the limit and will not have it
            resource.setrlimit(resource.RLIMIT_AS, (most, hard))
    import cv2

    cv2.setNumThreads(max(1, (os.cpu_count() or 1) // 2))
