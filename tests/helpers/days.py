"""What stands in for measuring the joints of a day; found by name in other processes too."""

from __future__ import annotations

import os
import signal
import time

from helpers.measured import answer

from gapvision.answer.as_json import answer_json, refusal_json, stamped
from gapvision.day.processes import Finished
from gapvision.errors import MeasurementError

WHEN = "2026-05-14T09:00:00+00:00"


def standing_in(joint, keep):
    """An answer, or by the words in a folder's name: doubtful, refused, or the program failed."""
    name = joint.folder.name
    if "refused" in name:
        error = MeasurementError("no-card", "level.jpg shows no card: hang one.")
        return Finished(stamped(refusal_json(error), WHEN))
    if "failed" in name:
        return Finished(None, failed="ValueError: this is a mistake")
    status = "doubtful" if "doubtful" in name else "measured"
    return Finished(stamped(answer_json(answer(status)), WHEN))


def killed(joint, keep):
    """The system takes the process away, as where memory runs out."""
    if "killed" in joint.folder.name:
        time.sleep(0.2)
        os.kill(os.getpid(), signal.SIGKILL)
    return standing_in(joint, keep)


def process_of(joint, keep):
    """Which process it was, and how many threads OpenCV may use in it."""
    import cv2

    time.sleep(0.3)  # so that no process is done before the others have begun
    return Finished(None, failed=f"{os.getpid()} {cv2.getNumThreads()}")


_kept = []


def grown(joint, keep):
    """Which process it was; from its second joint on it keeps far more memory than after its first."""
    time.sleep(1.1)  # the pool looks once a second
    _kept.append(bytes(0) if not _kept else b"x" * 350_000_000)
    return Finished(None, failed=f"{os.getpid()} {len(_kept)}")


def make_day(folder, *names):
    """A folder for each joint, with a file that is called a photograph."""
    for name in names:
        (folder / name).mkdir(parents=True)
        (folder / name / "level.jpg").write_bytes(name.encode())
    return folder


def killed_once(joint, keep):
    """The system takes away the first process that has such a joint; it leaves a mark beside the day."""
    (photograph,) = joint.options.photos
    mark = joint.folder.parent.parent / f"{joint.folder.name} began"
    if "once" in joint.folder.name and not mark.exists():
        mark.write_bytes(photograph.read_bytes())
        os.kill(os.getpid(), signal.SIGKILL)
    return killed(joint, keep)


def slow_process_of(joint, keep):
    """Which process it was."""
    time.sleep(0.2)
    return Finished(None, failed=str(os.getpid()))


def contents_of(joint, keep):
    """What its photographs hold, by what they are called there, and where they lie."""
    photos = joint.options.photos
    told = " ".join(f"{p.parent.name}/{p.name}={p.read_text()}" for p in photos)
    return Finished(None, failed=f"{told} in {photos[0]}")
