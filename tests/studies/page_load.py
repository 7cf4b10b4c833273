"""The page under load, and with faults: what is lost, what grows, and how long one phone waits. No test.

    PYTHONPATH=tests python tests/studies/page_load.py [--clients 20] [--minutes 10] [--folder DIR]

Serves the page as a program of its own. First one phone: how long a verdict and an answer take. Then
many at once, each sending photographs to a joint of its own: none may be lost or there twice. Then
faults for some minutes: workers killed, connections cut, joints measured, cancelled and removed, and
where it may mount one, a disk that fills up. Memory, open files and what is left behind are read from
/proc every few seconds, and told as the median of each fifth of the time.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import signal
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

import httpx
from helpers.disks import fill, small_disk
from helpers.pages import (
    APPEND,
    PHOTOS,
    begin,
    client,
    judged,
    measured,
    new_joint,
    program,
    raw,
    send,
    state_of,
    wait_for,
)

from gapvision.files import PART
from gapvision.page.drafts import UPLOADS

ROOT = Path(__file__).parents[2]
EVERY_S = 2.0  # between two looks at memory and files


def distinct(number: int) -> bytes:
    """A photograph that is like no other: bytes after a JPEG's end are no part of the picture."""
    return PHOTOS[number % len(PHOTOS)].read_bytes() + f"number {number}".encode()


# --- what the program takes -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Looked:
    """Memory of the program with its workers, MB; its own, MB; its open files; its workers; leftovers."""

    all_mb: float
    own_mb: float
    files: int
    workers: int
    left: int


def look(pid: int, drafts: Path) -> Looked:
    """What a program takes now."""
    workers = [p for p in map(int, filter(str.isdigit, os.listdir("/proc"))) if parent_of(p) == pid]
    own = memory_mb(pid)
    left = [p for p in drafts.rglob(f"{PART}*")] + list((drafts / UPLOADS).glob("*.part"))
    files = 0
    with suppress(OSError):
        files = len(os.listdir(f"/proc/{pid}/fd"))
    return Looked(own + sum(map(memory_mb, workers)), own, files, len(workers), len(left))


def parent_of(pid: int) -> int:
    with suppress(OSError, IndexError, ValueError):
        return int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])
    return 0


def memory_mb(pid: int) -> float:
    """A process's memory, what several share counted by its part."""
    with suppress(OSError):
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                return int(line.split()[1]) / 1024
    return 0.0


@contextmanager
def watched(pid: int, drafts: Path, every: float = EVERY_S) -> Iterator[list[Looked]]:
    """Look at a program again and again, beside what is done meanwhile."""
    seen, over = [], threading.Event()

    def watch() -> None:
        while not over.is_set():
            seen.append(look(pid, drafts))
            over.wait(every)

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        yield seen
    finally:
        over.set()
        watcher.join()


# --- one phone, many phones -----------------------------------------------------------------------


def one_phone(base: str) -> tuple[list[float], float]:
    """Seconds from each photograph's last byte to its verdict, and from Measure to the answer of three."""
    took = []
    with client(base) as page:
        joint = new_joint(page)
        for photo in PHOTOS:
            sha256 = send(page, joint, photo.read_bytes(), photo.name).json()["sha256"]
            sent = time.monotonic()
            wait_for(lambda s=sha256: verdict_of(page, joint, s))
            took.append(time.monotonic() - sent)
        before = time.monotonic()
        page.post(f"{joint}/measure")
        assert measured(page, joint)["state"] == "answered"
        return took, time.monotonic() - before


def verdict_of(page: httpx.Client, joint: str, sha256: str) -> dict | None:
    photos = state_of(page, joint)["photos"]
    return next((p["verdict"] for p in photos if p["sha256"] == sha256), None)


def many_phones(base: str, clients: int, each: int) -> dict[str, set[str]]:
    """Send at once; the hashes that each joint must have by now."""
    wanted: dict[str, set[str]] = {}

    def phone(number: int) -> None:
        with client(base) as page:
            joint = new_joint(page, log=str(number))
            contents = [distinct(1000 * number + k) for k in range(each)]
            wanted[joint] = {hashlib.sha256(c).hexdigest() for c in contents}
            for content in contents:
                assert send(page, joint, content).status_code == 200

    phones = [threading.Thread(target=phone, args=(k,)) for k in range(clients)]
    for each_phone in phones:
        each_phone.start()
    for each_phone in phones:
        each_phone.join()
    return wanted


def lost_or_twice(base: str, wanted: dict[str, set[str]]) -> list[str]:
    """A word on each joint that has not exactly what was sent."""
    found = []
    with client(base) as page:
        for joint, hashes in wanted.items():
            told = [p["sha256"] for p in state_of(page, joint)["photos"]]
            if sorted(told) != sorted(hashes):
                found.append(f"{joint}: {len(hashes)} sent, {len(told)} there")
    return found


# --- faults ---------------------------------------------------------------------------------------


@dataclass(eq=False, slots=True)
class Faults:
    """What was done to a page, and what it should have by now."""

    base: str
    pid: int
    disk: Path | None
    chance: random.Random
    joints: dict[str, set[str]] = field(default_factory=dict)
    done: dict[str, int] = field(default_factory=dict)
    number: int = 0


def disturb(faults: Faults, seconds: float, most_joints: int = 6) -> list[str]:
    """Do one thing after another for a while; what was lost, in words."""
    end, lost = time.monotonic() + seconds, []
    acts = [
        sent_whole,
        sent_whole,
        cut_off,
        sent_again,
        measures,
        cancels,
        kills_a_worker,
        fills_the_disk,
    ]
    while time.monotonic() < end:
        with client(faults.base) as page:
            if len(faults.joints) > most_joints:
                joint = next(iter(faults.joints))
                lost += lost_or_twice(faults.base, {joint: faults.joints.pop(joint)})
                page.post(f"{joint}/remove")
            if not faults.joints or faults.chance.random() < 0.15:
                faults.joints[new_joint(page)] = set()
            act = faults.chance.choice(acts)
            act(faults, page, faults.chance.choice(list(faults.joints)))
            faults.done[act.__name__] = faults.done.get(act.__name__, 0) + 1
    return lost + lost_or_twice(faults.base, faults.joints)


def next_photo(faults: Faults) -> bytes:
    faults.number += 1
    return distinct(faults.number)


def sent_whole(faults: Faults, page: httpx.Client, joint: str) -> None:
    answer = send(page, joint, next_photo(faults))
    assert answer.status_code == 200, answer.text
    faults.joints[joint].add(answer.json()["sha256"])


def cut_off(faults: Faults, page: httpx.Client, joint: str) -> None:
    """A connection that breaks, and the photograph that goes on over the next one."""
    content = next_photo(faults)
    upload = begin(page, joint, content)
    headers = APPEND | {"Upload-Offset": "0", "Content-Length": len(content)}
    with raw(
        faults.base, "PATCH", upload, headers, content[: faults.chance.randrange(len(content))]
    ):
        time.sleep(0.05)
    come = int(page.head(upload).headers["upload-offset"])
    rest = page.patch(upload, content=content[come:], headers=APPEND | {"Upload-Offset": str(come)})
    assert rest.status_code == 200, rest.text
    faults.joints[joint].add(rest.json()["sha256"])


def sent_again(faults: Faults, page: httpx.Client, joint: str) -> None:
    if faults.number:
        answer = send(page, joint, distinct(faults.number))
        faults.joints[joint].add(answer.json()["sha256"])


def measures(faults: Faults, page: httpx.Client, joint: str) -> None:
    page.post(f"{joint}/measure")
    measured(page, joint)


def cancels(faults: Faults, page: httpx.Client, joint: str) -> None:
    page.post(f"{joint}/measure")
    time.sleep(faults.chance.random())
    page.post(f"{joint}/cancel")
    assert measured(page, joint)["state"] in ("collecting", "answered", "refused")


def kills_a_worker(faults: Faults, page: httpx.Client, joint: str) -> None:
    page.post(f"{joint}/measure")
    time.sleep(0.3 * faults.chance.random())
    for pid in map(int, filter(str.isdigit, os.listdir("/proc"))):
        if parent_of(pid) == faults.pid:
            with suppress(OSError):
                os.kill(pid, signal.SIGKILL)
    measured(page, joint)


def fills_the_disk(faults: Faults, page: httpx.Client, joint: str) -> None:
    """No room for a photograph, which then comes all the same."""
    if faults.disk is None:
        return
    content = next_photo(faults)
    upload = begin(page, joint, content)
    filling = fill(faults.disk)
    refused = page.patch(upload, content=content, headers=APPEND | {"Upload-Offset": "0"})
    filling.unlink()
    assert refused.status_code in (200, 507), refused.text
    come = int(page.head(upload).headers["upload-offset"])
    rest = page.patch(upload, content=content[come:], headers=APPEND | {"Upload-Offset": str(come)})
    assert rest.status_code == 200, rest.text
    faults.joints[joint].add(rest.json()["sha256"])


def growth(seen: list[Looked], of: str) -> list[float]:
    """Medians of each fifth of the time: the first one is warming up."""
    values = [getattr(s, of) for s in seen]
    part = max(1, len(values) // 5)
    return [median(values[k * part : (k + 1) * part] or values) for k in range(5)]


# --- all of it ------------------------------------------------------------------------------------


@contextmanager
def place(folder: Path | None, megabytes: int) -> Iterator[tuple[Path, Path | None]]:
    """Where the archive goes: a disk of its own that may be filled up, or a folder."""
    with tempfile.TemporaryDirectory(dir=folder) as parent:
        if folder is not None:
            yield Path(parent), None
            return
        with small_disk(Path(parent) / "disk", megabytes) as disk:
            yield disk or Path(parent), disk


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--clients", type=int, default=20)
    asked.add_argument("--each", type=int, default=5)
    asked.add_argument("--minutes", type=float, default=10.0)
    asked.add_argument("--folder", type=Path, help="Instead of a disk in memory.")
    given = asked.parse_args()
    port = free_port()
    base = f"http://127.0.0.1:{port}"
    with place(given.folder, 1600) as (folder, disk):
        archive = folder / "archive"
        log = Path(tempfile.gettempdir()) / "page_load.log"
        with (
            log.open("w", encoding="utf-8") as said,
            program(archive, port, env={"PYTHONPATH": str(ROOT)}, log=said) as process,
        ):
            drafts = archive / "drafts"
            time.sleep(8)  # until the workers are warm, as they are by the first photograph
            took, answer = one_phone(base)
            print(
                f"one phone: verdicts {', '.join(f'{s:.2f}' for s in took)} s, answer {answer:.2f} s"
            )
            with watched(process.pid, drafts, 0.25) as seen:
                before = time.monotonic()
                wanted = many_phones(base, given.clients, given.each)
                sent = time.monotonic() - before
                with client(base) as page:
                    for joint in wanted:
                        judged(page, joint, 900, 0.5)
                all_s = time.monotonic() - before
            print(
                f"{given.clients} x {given.each}: sent in {sent:.1f} s, judged in {all_s:.1f} s, "
                f"lost or twice: {lost_or_twice(base, wanted) or 'none'}, at most "
                f"{max(s.all_mb for s in seen):.0f} MB, of it the server {max(s.own_mb for s in seen):.0f}"
            )
            with client(base) as page:
                for joint in wanted:
                    page.post(f"{joint}/remove")
            faults = Faults(base, process.pid, disk, random.Random(1))
            with watched(process.pid, drafts) as seen:
                lost = disturb(faults, 60 * given.minutes)
            print(
                f"faults, {given.minutes:g} min: {json.dumps(faults.done)}, lost: {lost or 'none'}"
            )
            print(f"  said meanwhile: {log.stat().st_size} bytes in {log}")
            for of in ("own_mb", "all_mb", "files", "workers", "left"):
                fifths = " ".join(f"{value:8.1f}" for value in growth(seen, of))
                print(f"  {of:8} {fifths}, at most {max(getattr(s, of) for s in seen):.1f}")


if __name__ == "__main__":
    main()
