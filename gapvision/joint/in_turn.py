"""Photographs one after the other, and yet two at work at once."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

import cv2

# Photographs: each has its picture in memory, 130 MB more of a joint at 8 megapixels.
AT_ONCE = 2

Given = TypeVar("Given")
Found = TypeVar("Found")


def in_turn(
    work: Callable[[Given], Found], given: Sequence[Given]
) -> Iterator[tuple[Given, Found]]:
    """Each of those given with what work makes of it, in their order.

    Another one is worked on meanwhile, if OpenCV has threads for it: decoding, the search for markers
    and the network let Python go on, and what Python does then leaves no core idle.

    Parameters
    ----------
    work : callable
        Called in other threads.
    given : sequence
    """
    if min(cv2.getNumThreads(), len(given)) < AT_ONCE:
        yield from ((each, work(each)) for each in given)
        return
    pool = ThreadPoolExecutor(AT_ONCE)
    begun: deque[tuple[Given, Future[Found]]] = deque()
    try:
        for each in given:
            begun.append((each, pool.submit(work, each)))
            if len(begun) > AT_ONCE:
                first, done = begun.popleft()
                yield first, done.result()
        yield from ((each, done.result()) for each, done in begun)
    finally:
        pool.shutdown(cancel_futures=True)
