"""Joints measured on the workers of a Dask scheduler: on one's own machines, or on rented ones.

The scheduler shares the joints out, and repeats elsewhere what a worker had that died. Here they are only
handed to it, a few more than there are workers to take them, so that neither it nor this process
has to hold the photographs of thousands.

joblib's backend for Dask is not used: as of joblib 1.6 it waits for ever for a task that killed its workers.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from itertools import islice
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from gapvision.day.processes import STOPPED, Finished, Job
from gapvision.errors import MeasurementError

if TYPE_CHECKING:
    from distributed import Client, Future

ANSWER_S = 5.0  # for the scheduler; with what it takes to give up, within ten
WAIT_S = 8.0  # for a first worker
POLL_S = 0.1
LONG_S = 5.0  # without an answer; then it is asked whether there is a worker at all
AHEAD = 2  # joints under way for each that can be measured at once: the next one waits beside it
PARCELS = "1 TB"  # a task has its photographs in it, of which Dask would warn
ALONE = "No worker is left: start one (dask worker), and it goes on. Ctrl-C ends it."
# What the last digits of an answer depend on, besides the program.
LIBRARIES = ("numpy", "scipy", "opencv-python-headless", "onnxruntime", "pillow", "pillow-heif")

_one = threading.Lock()  # a joint at a time in a process, however many threads its worker has


@dataclass(frozen=True, eq=False, slots=True)
class Cluster:
    """A scheduler that this process is joined to.

    Attributes
    ----------
    client : Client
    shared : bool
        Whether photographs lie at the same paths there.
    tell : callable
        What is done with a sentence while joints are under way, as that their workers are gone.
    """

    client: Client
    shared: bool
    tell: Callable[[str], None]


@contextmanager
def joined(address: str, shared: bool, tell: Callable[[str], None]) -> Iterator[Cluster]:
    """Be a client of the scheduler at an address, such as ``tcp://10.0.0.5:8786``; ``tell`` as there.

    Raises
    ------
    MeasurementError
        ``no-dask`` where it is not installed; ``no-cluster`` where nobody answers in `ANSWER_S`;
        ``no-certificate`` where TLS is asked for without one; ``no-workers``; ``cluster-differs`` where
        one has another program.
    """
    try:
        import dask
        from distributed import Client, Security
    except ImportError:
        text = "--cluster needs Dask: install it by pip install 'gapvision[cluster]'."
        raise MeasurementError("no-dask", text) from None
    if address.startswith("tls:") and not Security().get_connection_args("client")["ssl_context"]:
        text = (
            f"{address} wants certificates: tell Dask's configuration (distributed.comm.tls) yours."
        )
        raise MeasurementError("no-certificate", text)
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # all is told in sentences
    with dask.config.set({"distributed.admin.large-graph-warning-threshold": PARCELS}):
        try:
            client = Client(address, timeout=ANSWER_S, set_as_default=False)
        except (OSError, RuntimeError, TypeError, ValueError) as error:
            raise MeasurementError(
                "no-cluster",
                f"No Dask scheduler answers at {address} ({type(error).__name__}): start one by dask "
                "scheduler, and name its address, as tcp://10.0.0.5:8786.",
            ) from None
        try:
            _check_workers(client)
            yield Cluster(client, shared, tell)
        finally:
            client.close(timeout=WAIT_S)


def on_cluster(
    cluster: Cluster, numbers: Sequence[int], job: Job, stop: Callable[[], bool]
) -> Iterator[tuple[int, Finished]]:
    """Each joint's number and what came of it, as it is finished, in any order.

    Parameters
    ----------
    cluster : Cluster
    numbers, job, stop
        As of `in_processes`; what ``job`` gives is called on a worker.

    Raises
    ------
    MeasurementError
        ``cluster-differs`` where a worker came by that has another program; ``cluster-lost`` where the
        scheduler is gone. What was told by then stands.

    Notes
    -----
    A joint whose workers are killed again and again is given up by the scheduler, and with it, maybe,
    one that waited beside it each time. So those are tried once more, one at a time.

    Where no worker is left one is waited for, and that is told, until ``stop`` says otherwise.
    """
    killed = []
    for k, finished in _told(cluster, numbers, job, stop):
        if finished is None:
            killed.append(k)
        else:
            yield k, finished
    for k in killed:
        for _, finished in _told(cluster, [k], job, stop):
            yield k, finished or Finished(None, failed=STOPPED)


def _told(
    cluster: Cluster, numbers: Sequence[int], job: Job, stop: Callable[[], bool]
) -> Iterator[tuple[int, Finished | None]]:
    """As `on_cluster`, with None for what the scheduler gave up."""
    from distributed import as_completed

    client, waiting = cluster.client, iter(numbers)
    begun: dict[Future, int] = {}
    running = as_completed(loop=client.loop)

    def begin() -> None:
        more = AHEAD * max(1, sum(client.nthreads().values())) - len(begun)
        for k in islice(waiting, max(0, more)) if not stop() else ():
            future = client.submit(_there, job(k), _versions(), key=f"joint-{uuid4().hex}")
            begun[future] = k
            running.add(future)

    with _lost_in_words():
        begin()
    while begun:
        with _lost_in_words():
            if not _one_is_ready(running, cluster, stop):
                return
        future = next(running)
        k = begun.pop(future)
        with _lost_in_words():
            came = _came(future)
        yield k, came
        del future  # and so the scheduler forgets it
        with _lost_in_words():
            begin()


def _one_is_ready(running: Any, cluster: Cluster, stop: Callable[[], bool]) -> bool:
    """Wait for the next answer; False where no worker is left to give one, and none is to be begun."""
    asked, alone = time.monotonic(), False
    while not running.has_ready():
        time.sleep(POLL_S)
        if time.monotonic() - asked < LONG_S and not (stop() and alone):
            continue
        asked, before = time.monotonic(), alone
        alone = not cluster.client.nthreads()
        if alone and stop():
            return False
        if alone and not before:
            cluster.tell(ALONE)
    return True


def _came(future: Future) -> Finished | None:
    """What came of one; None where the scheduler gave it up."""
    from distributed.scheduler import KilledWorker

    if future.status not in ("finished", "error"):
        raise CancelledError(future.key)
    error = future.exception() if future.status == "error" else None
    if isinstance(error, KilledWorker):
        return None
    if error is not None:
        if isinstance(error, ModuleNotFoundError):
            raise _differs(f"A worker lacks what gapvision needs ({error})")
        return Finished(None, failed=f"{type(error).__name__}: {error}")
    found = future.result()
    if isinstance(found, str):
        raise _differs(found)
    return found


@contextmanager
def _lost_in_words() -> Iterator[None]:
    try:
        yield
    except (OSError, CancelledError):  # no file is read here but in `job`, which tells of it itself
        raise MeasurementError(
            "cluster-lost",
            "The Dask scheduler is gone: start it again, and this too; what was told stays told.",
        ) from None


def _there(job: Callable[[], Finished], versions: dict[str, str]) -> Finished | str:
    """On a worker: what comes of one joint, or how this machine differs from the client's."""
    import cv2

    if differs := _difference(_versions(), versions):
        return differs
    with _one:
        cv2.setNumThreads(1)  # there is a worker a core
        return job()


def _check_workers(client: Client) -> None:
    """Refuse a cluster without workers, or with one that would answer otherwise than this machine."""
    try:
        client.wait_for_workers(1, timeout=WAIT_S)
    except TimeoutError:
        text = "The Dask scheduler has no workers: start them by dask worker, on each machine."
        raise MeasurementError("no-workers", text) from None
    for worker, found in client.run(_asking(), LIBRARIES, on_error="return").items():
        if not isinstance(found, dict):
            raise _differs(f"The worker {worker} cannot tell its versions ({found})")
        if differs := _difference(found, _versions()):
            raise _differs(differs)


@cache
def _versions() -> dict[str, str]:
    return _asking()(LIBRARIES)


def _asking() -> Callable[[Sequence[str]], dict[str, str]]:
    """What tells a machine's versions; made here, so that one without gapvision can be asked too."""

    def versions(libraries: Sequence[str]) -> dict[str, str]:
        from importlib.metadata import PackageNotFoundError, version
        from platform import node

        found = {"": node()}
        for name in ("gapvision", *libraries):
            try:
                found[name] = version(name)
            except PackageNotFoundError:
                found[name] = ""
        try:
            import gapvision  # noqa: F401  # a worker that cannot would end without a word
        except ImportError:
            found["gapvision"] = ""
        return found

    return versions


def _difference(there: dict[str, str], here: dict[str, str]) -> str:
    """How a worker's versions differ; empty where they do not."""
    for name, ours in here.items():
        if name and (theirs := there[name]) != ours:
            has = f"has {name} {theirs}" if theirs else f"lacks {name}"
            return f"The worker on {there['']} {has}, and here is {ours}"
    return ""


def _differs(why: str) -> MeasurementError:
    text = (
        f"{why}: install the same gapvision[cluster] on every machine, and start its workers again."
    )
    return MeasurementError("cluster-differs", text)
