"""Kill processes that keep joints, at random moments, and tell what each was told had been kept.

    PYTHONPATH=tests python tests/studies/archive_killing.py FOLDER KILLS SEED

A process of its own, since it forks: a child that starts anew would spend its life importing. Each
child keeps joints one after the other (and removes every second one) and writes a line when the
archive has said so; after a random time it is killed by SIGKILL, which no program can answer.
Prints a line for each thing that was acknowledged: ``kept RECORD NUMBER`` or ``removed RECORD``.
"""

import os
import random
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

from helpers.archives import jpeg, named, new_record

from gapvision.archive.record import NewRecord, SourceFile, add_record
from gapvision.archive.remove import remove_record
from gapvision.archive.store import open_archive

LONGEST = 5.0  # of a child's life, in the times that keeping one joint takes on this machine


def keep_on(folder: Path, template: NewRecord, number: int, out: int) -> None:
    """Keep joints until killed: two photographs each, of which all have one in common."""
    with open_archive(folder, create=True) as archive:
        while True:
            number += 1
            own = SourceFile(jpeg(number) * 50, "own.jpg", "photograph", "photos", False)
            new = replace(named(template, log=str(number)), files=(*template.files, own))
            record = add_record(archive, new).record
            os.write(out, f"kept {record} {number}\n".encode())
            if number % 2 == 0:
                os.write(out, f"removing {record}\n".encode())
                remove_record(archive, record, "nobody", "for the test")
                os.write(out, f"removed {record}\n".encode())


def seconds_to_keep_one(folder: Path, template: NewRecord) -> float:
    """Median of a few, each with opening the archive, as in a child's life."""
    taken = []
    for n in range(1, 8):
        start = time.perf_counter()
        with open_archive(folder, create=True) as archive:
            own = SourceFile(jpeg(-n) * 50, "own.jpg", "photograph", "photos", False)
            record = add_record(archive, replace(template, files=(*template.files, own))).record
        taken.append(time.perf_counter() - start)
        print(f"kept {record} {template.joint.log}")
    return median(taken)


def main() -> None:
    folder, kills, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    moments = random.Random(seed)
    template = new_record()
    longest_s = LONGEST * seconds_to_keep_one(folder, template)
    for n in range(kills):
        ours, theirs = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(ours)
            keep_on(folder, template, n * 100_000, theirs)
        os.close(theirs)
        time.sleep(moments.uniform(0, longest_s))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with os.fdopen(ours, encoding="ascii") as told:
            for line in told:
                if line.endswith("\n"):
                    print(line, end="")


if __name__ == "__main__":
    main()
