"""Joints measured by themselves, a process a core; what goes wrong with one stays with that one."""

from __future__ import annotations

import os
import signal
import threading
import time
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from gapvision.day.joints import DayJoint
from gapvision.errors import MeasurementError

if TYPE_CHECKING:
    from gapvision.archive.record import NewRecord

# What joblib's own cleaner says where this process was stopped at once; it cleans up all the same.
_QUIET = "ignore::UserWarning:joblib.externals.loky.backend.resource_tracker"
# What it says, in a thread of its own, where it replaces a process whose memory has grown: where warnings
# are errors that thread would end, and nobody would take an answer any more.
_REPLACED = "A worker stopped while some jobs were given to the executor"
STOPPED = "the program was stopped by the system, as where memory runs out"


@dataclass(frozen=True, eq=False, slots=True)
class Finished:
    """What came of a joint.

    Attributes
    ----------
    answer : dict or None
        Its JSON, of a refusal too; None where the program failed.
    record : NewRecord or None
        To be kept; None where that was not asked for, or there is nothing to keep.
    failed : str
        How the program failed; empty where it did not.
    lacked : str
        A sentence on what lacked to measure it at all; empty where nothing did.
    """

    answer: dict | None
    record: NewRecord | None = None
    failed: str = ""
    lacked: str = ""


Work = Callable[[DayJoint, bool], Finished]
Job = Callable[[int], Callable[[], Finished]]


def in_processes(
    numbers: Sequence[int], job: Job, processes: int, stop: Callable[[], bool]
) -> Iterator[tuple[int, Finished]]:
    """Each joint's number and what came of it, as it is finished, in any order.

    Parameters
    ----------
    numbers : sequence of int
    job : callable
        What is to be done for a number, without arguments, to be called in another process. Asked of it
        when that is about to begin, and maybe from another thread.
    processes : int
        How many at a time; of 1, in this process.
    stop : callable
        Asked before each joint is begun: whether to begin no more.

    Notes
    -----
    The threads of OpenCV and of the linear algebra are shared out among the processes: more of them
    than cores would only wait for each other. A process that the system kills takes those beside it
    along, so what was not finished then is measured again, one at a time.
    """
    processes = max(1, min(processes, len(numbers)))
    if processes == 1:
        for k in numbers:
            if stop():
                return
            yield k, job(k)()
        return
    left = dict.fromkeys(numbers)
    try:
        for k, finished in _pool(left, job, processes, stop):
            del left[k]
            yield k, finished
    except _Killed:
        for k in left:
            try:
                yield from _pool([k], job, processes, stop)
            except _Killed:
                yield k, Finished(None, failed=STOPPED)


def measured(joint: DayJoint, keep: bool) -> Finished:
    """One joint measured, refused, or the program's failure told."""
    from gapvision.answer.as_json import answer_json, refusal_json, stamped
    from gapvision.archive.record import new_record
    from gapvision.spine import measure

    now = datetime.now().astimezone().isoformat(timespec="seconds")
    try:
        measurement = measure(joint.options)
        record = new_record(joint.name, joint.options, measurement) if keep else None
        return Finished(stamped(answer_json(measurement), now), record)
    except MeasurementError as error:
        return Finished(stamped(refusal_json(error), now))
    except Exception as error:  # of one joint among a hundred; by itself it is told in full
        return Finished(None, failed=f"{type(error).__name__}: {error}")


class _Killed(Exception):
    """A process was killed from outside."""


def _pool(
    numbers: Iterable[int], job: Job, processes: int, stop: Callable[[], bool]
) -> Iterator[tuple[int, Finished]]:
    from joblib import Parallel, cpu_count, delayed, parallel_config
    from joblib.externals.loky.process_executor import BrokenProcessPool

    os.environ.setdefault("PYTHONWARNINGS", _QUIET)
    warnings.filterwarnings("ignore", _REPLACED, UserWarning)
    threads = max(1, cpu_count() // processes)
    tasks = (
        delayed(_numbered)(k, job(k), threads, os.getcwd()) for k in tuple(numbers) if not stop()
    )
    with parallel_config("loky", inner_max_num_threads=threads):
        parallel = Parallel(
            processes, return_as="generator_unordered", batch_size=1, pre_dispatch=processes
        )
        try:
            with _interrupt_ignored():
                finished = parallel(tasks)
            yield from finished
        except BrokenProcessPool:
            raise _Killed from None


@contextmanager
def _interrupt_ignored() -> Iterator[None]:
    """Processes begun meanwhile ignore Ctrl-C all their life: it is for the one that began them."""
    if threading.current_thread() is not threading.main_thread():
        yield  # where no signal is handled
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _numbered(k: int, job: Callable[[], Finished], threads: int, here: str) -> tuple[int, Finished]:
    """In a process of its own: one joint, with its share of the threads."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # of one begun later in another's place, too
    _end_with_parent()
    os.chdir(here)  # a process may be older than where this one is now
    cv2.setNumThreads(threads)
    return k, job()


@cache
def _end_with_parent() -> None:
    """Let this process end when the one that began it does, however that came to its end."""
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(1.0)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
