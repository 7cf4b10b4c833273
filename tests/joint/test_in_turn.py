"""Photographs worked on two at a time, and told in their order."""

import threading
import time

import cv2
import pytest

from gapvision.joint.in_turn import AT_ONCE, in_turn


@pytest.fixture(params=(1, 2), ids=("one thread", "two threads"))
def threads(request):
    before = cv2.getNumThreads()
    cv2.setNumThreads(request.param)
    yield request.param
    cv2.setNumThreads(before)


class Work:
    """Squares numbers, the first one slowly, and counts how many at once."""

    def __init__(self) -> None:
        self.now = self.most = self.done = 0
        self.lock = threading.Lock()

    def __call__(self, number: int) -> int:
        with self.lock:
            self.now += 1
            self.most = max(self.most, self.now)
        time.sleep(0.05 if number == 0 else 0.005)
        with self.lock:
            self.now -= 1
            self.done += 1
        if number == 7:
            raise ValueError("seven")
        return number**2


def test_they_come_in_order_and_no_more_than_two_are_at_work(threads):
    work = Work()
    assert list(in_turn(work, range(6))) == [(n, n**2) for n in range(6)]
    assert work.most == min(threads, AT_ONCE)


def test_none_and_one(threads):
    assert list(in_turn(Work(), [])) == []
    assert list(in_turn(Work(), [3])) == [(3, 9)]


def test_what_goes_wrong_is_told_in_its_place_and_the_rest_is_let_be(threads):
    work, told = Work(), []
    with pytest.raises(ValueError, match="seven"):
        for _, square in in_turn(work, range(20)):
            told.append(square)
    assert told == [n**2 for n in range(7)]
    assert work.now == 0 and work.done <= 8 + AT_ONCE


def test_who_stops_asking_waits_for_what_is_at_work_alone(threads):
    work = Work()
    turn = in_turn(work, range(20))
    next(turn)
    turn.close()
    assert work.now == 0 and work.done <= 1 + 2 * AT_ONCE
