"""Times of the archive with many joints, and its memory; no test, since machines differ.

    PYTHONPATH=tests python tests/studies/archive_benchmark.py [--joints 100000] [--folder DIR]

Makes up the joints straight in the tables (results as large as those of a joint of 1.5 m), then times
queries as `archive list` and `archive search` make them, adding joints, reading all of them, the check
of a part, and the start of `gapvision archive list` beside a bare typer program. Rows of a Markdown
table.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

from helpers.archives import jpeg, named, new_record

from gapvision.archive.query import Query, entries, unreadable
from gapvision.archive.record import SourceFile, add_record, words_of
from gapvision.archive.store import Archive, open_archive
from gapvision.files import sync_folder

BARE = """
import typer
app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None)
@app.command()
def one(n: int = 1) -> None:
    typer.echo("one")
@app.command()
def two(n: int = 1) -> None:
    typer.echo("two")
app(["one"])
"""
QUERIES = {
    "list": (Query(), 21),
    "list, one building": (Query(building="building 7"), 21),
    "list, one wall": (Query(building="building 7", wall="wall 3"), 21),
    "list, one joint": (Query(building="building 7", wall="wall 3", log="5"), 21),
    "list, doubtful": (Query(status="doubtful"), 21),
    "list, one old day": (Query(since_utc="2020-01-05", until_utc="2020-01-06"), 21),
    "list, gap of no joint": (Query(gap_mm=(200.0, None)), 21),
    "list, building of no joint, gap": (Query(building="nowhere", gap_mm=(1.0, None)), 21),
    "search, in all": (Query(text="wall"), 21),
    "search, two words": (Query(text="building 77 not-seen"), 21),
    "search, in none": (Query(text="moon"), 21),
    "search, in all, of a building": (Query(text="wall", building="building 7"), 21),
    "search, in all, of some gaps": (Query(text="wall", gap_mm=(59.0, None)), 21),
    "search, in all, of no gap": (Query(text="wall", gap_mm=(200.0, None)), 21),
}


def fill(archive: Archive, joints: int) -> None:
    """Rows of joints without photographs of their own: buildings of ten walls of ten logs."""
    new = new_record()
    stations = new.result["profile"]["station_mm"]
    new.result["profile"] = {
        key: values * 2 if key != "station_mm" else stations + [s + 1010 for s in stations]
        for key, values in new.result["profile"].items()
    }
    options, result = json.dumps(new.options), json.dumps(new.result)
    add_record(archive, new)
    db = archive.db
    db.execute("BEGIN IMMEDIATE")
    for n in range(2, joints + 1):
        job = f"building {n // 100}", f"wall {n // 10 % 10}", str(n % 10)
        day = f"{2020 + n // 20_000}-{n // 1700 % 12 + 1:02d}-{n // 60 % 28 + 1:02d}"
        db.execute(
            "INSERT INTO record VALUES (?, ?, ?, ?, 1, ?, ?, '0.1.0', ?, 76, ?, ?, 2, ?, 2, NULL)",
            (
                n, *job, f"{day}T12:00:00+00:00", f"{day}T12:00:00Z",
                "doubtful" if n % 7 == 0 else "measured", 40 + n % 30, 39 + n % 30, 10 + n % 50,
            ),
        )  # fmt: skip
        db.execute("INSERT INTO document VALUES (?, ?, ?)", (n, options, result))
        db.execute(
            "INSERT INTO record_file SELECT ?, 1, role, name, given, used, sha256 FROM record_file"
            " WHERE record = 1 AND position = 1",
            (n,),
        )
        text = words_of(named(new, *job).joint, new.result, ["photo0.jpg"])
        db.execute("INSERT INTO words (rowid, text) VALUES (?, ?)", (n, text))
    db.execute("COMMIT")


def adding(archive: Archive, repeat: int) -> tuple[list[float], list[float]]:
    """Seconds of adding a joint with a photograph of 2 MB, and of copying that by itself."""
    taken, copied = [], []
    template = new_record()
    for n in range(repeat):
        content = jpeg(f"{n} {time.time()}") * 60_000
        own = SourceFile(content, "own.jpg", "photograph", "photos", False)
        new = replace(named(template, f"added {n}"), files=(*template.files, own))
        start = time.perf_counter()
        add_record(archive, new)
        taken.append(time.perf_counter() - start)
        start = time.perf_counter()
        copy_alone(archive.folder / f"copy{n}", content)
        copied.append(time.perf_counter() - start)
    return taken, copied


def copy_alone(path: Path, content: bytes) -> None:
    """What any program must do to know these bytes, and a name of theirs, on the disk."""
    hashlib.sha256(content)
    with path.open("wb") as file:
        file.write(content)
        os.fsync(file.fileno())
    sync_folder(path.parent)


def starting(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def row(name: str, seconds: list[float], more: str = "") -> None:
    times = f"{median(seconds) * 1e3:.2f} | {min(seconds) * 1e3:.2f}"
    print(f"| {name} | {times} | {more} |", flush=True)


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--joints", type=int, default=100_000)
    ask.add_argument("--folder", type=Path)
    ask.add_argument("--repeat", type=int, default=15)
    a = ask.parse_args()
    with tempfile.TemporaryDirectory(dir=a.folder) as folder:
        with open_archive(Path(folder), create=True) as archive:
            fill(archive, a.joints)
            size = (archive.folder / "archive.sqlite").stat().st_size
            print(f"| {a.joints} joints, database {size / 1e6:.0f} MB | median ms | least ms | |")
            print("|---|---|---|---|", flush=True)
            before = peak_mb()
            for name, (query, limit) in QUERIES.items():
                taken = []
                for _ in range(a.repeat):
                    start = time.perf_counter()
                    found = len(list(entries(archive, query, limit)))
                    taken.append(time.perf_counter() - start)
                row(name, taken, f"{found} found")
            taken = []
            for _ in range(a.repeat):
                start = time.perf_counter()
                unreadable(archive)
                taken.append(time.perf_counter() - start)
            row("what no list can show, of all", taken, "told below lists that come to the end")
            start = time.perf_counter()
            count = sum(1 for _ in entries(archive, Query()))
            taken = [time.perf_counter() - start]
            grown = f"{count} found, memory + {peak_mb() - before:.1f} MB"
            row("all records, one by one", taken, grown)
            whole, copy = adding(archive, a.repeat)
            row("add, photograph of 2 MB", whole)
            row("copying that photograph", copy)
        script = str(Path(sys.executable).with_name("gapvision"))
        list_ = [script, "archive", "list", "--archive", folder]
        times = [(starting([sys.executable, "-c", BARE]), starting(list_)) for _ in range(a.repeat)]
        bare, list_ = map(list, zip(*times, strict=True))
        row("start of a bare typer program", bare)
        ratio = median(b / a for a, b in times)
        row(
            "start of archive list", list_, f"{ratio:.2f} times that, load {os.getloadavg()[0]:.1f}"
        )


if __name__ == "__main__":
    main()
