"""Power fails while joints are kept and removed: what was told is looked for on the disk that is left.

    PYTHONPATH=tests python tests/studies/power_loss.py --cuts 400 --seed 1

A writer runs once under strace, which writes down every write, sync and change of a name. Then the power is
cut at random places of that record: what was brought to the disk before (fsync of the file, of the folder for
a name) stays; of later writes each is kept or dropped at random, of later names those up to a random one.
The folder that is left is opened by the program. Every joint that was told to be kept must be there, whole;
none that was told to be removed may be; preferences must be the old or the new ones. Exit status 1 if not.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from gapvision.archive.query import Query, entries, load_record
from gapvision.archive.store import open_archive
from gapvision.archive.verify import verify
from gapvision.errors import MeasurementError
from gapvision.inputs.preferences import load_preferences

CALLS = (
    "openat,write,pwrite64,fsync,fdatasync,rename,renameat,renameat2,link,linkat,unlink,unlinkat,"
    "ftruncate,mkdir,close,lseek"
)
JOINTS = 8
WRITER = """
import os, sys
from pathlib import Path
from helpers.archives import jpeg, new_record, named
from gapvision.archive.record import add_record
from gapvision.archive.remove import remove_record
from gapvision.archive.store import open_archive
from gapvision.inputs.preferences import change_preferences
folder = Path(sys.argv[1])
for n in range(int(sys.argv[2])):
    with open_archive(folder / "archive", create=True) as archive:
        record = add_record(archive, named(new_record((jpeg(n) * 900, jpeg(-1))), log=str(n))).record
        os.write(1, f"kept {record}\\n".encode())
        if n % 3 == 2:
            os.write(1, f"removing {record}\\n".encode())
            remove_record(archive, record, "nobody", "for the study")
            os.write(1, f"removed {record}\\n".encode())
    change_preferences({"printed_bar_mm": 100.0 + n}, {})
    os.write(1, f"bar {n}\\n".encode())
"""
_LINE = re.compile(r"^(?:\d+ +)?(\w+)\((.*)\) += (-?\d+)")
_PATH = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')


@dataclass
class Step:
    """One thing that happened: ``write`` and ``cut`` of a file, ``sync``, or a change of names.

    ``file`` is a number that stays with a file whatever its name is; ``told`` is a line of the writer.
    """

    what: str
    file: int = -1
    at: int = 0
    data: bytes = b""
    folder: str = ""
    name: str = ""
    told: str = ""


@dataclass
class _Reader:
    """Files, and where each descriptor stands, as the record goes on."""

    inside: str
    names: dict[str, int] = field(default_factory=dict)
    opened: dict[int, tuple[int, str]] = field(default_factory=dict)  # descriptor -> file, path
    at: dict[int, int] = field(default_factory=dict)
    folders: set[str] = field(default_factory=set)
    files: int = 0


def steps_of(record: Path, inside: Path) -> list[Step]:
    """What strace wrote down that concerns a folder, in order."""
    reader = _Reader(str(inside))
    reader.folders.add(reader.inside)
    out: list[Step] = []
    for line in record.read_text(errors="replace").splitlines():
        if (found := _LINE.match(line)) and int(found[3]) >= 0:
            out += _steps(reader, found[1], found[2], int(found[3]))
    return out


def _plain(args: str) -> list[bytes]:
    return [bytes.fromhex(text.replace("\\x", "")) for text in _PATH.findall(args)]


def _steps(r: _Reader, call: str, args: str, result: int) -> Iterator[Step]:
    texts = _plain(args)
    paths = [os.path.abspath(t.decode(errors="replace")) for t in texts]
    own = [p for p in paths if p == r.inside or p.startswith(r.inside + "/")]
    if call == "openat":
        r.opened.pop(result, None)
        if own and os.path.basename(own[0]).endswith("-shm"):
            return  # shared memory: nobody relies on it after a restart
        if own and own[0] in r.folders:
            r.opened[result] = -1, own[0]
        elif own:
            if own[0] not in r.names:
                yield _named(r, own[0], r.files)
                r.files += 1
            r.opened[result] = r.names[own[0]], own[0]
            r.at[result] = 0
            if "O_TRUNC" in args:
                yield Step("cut", r.names[own[0]], 0)
    elif call == "mkdir" and own:
        r.folders.add(own[0])
        yield Step("folder", folder=os.path.dirname(own[0]), name=own[0])
    elif call in ("rename", "renameat", "renameat2", "link", "linkat") and len(own) == 2:
        yield _named(r, own[1], r.names[own[0]])
        if call.startswith("rename"):
            del r.names[own[0]]
            yield Step("gone", folder=os.path.dirname(own[0]), name=own[0])
    elif call in ("unlink", "unlinkat") and own and own[0] in r.names:
        del r.names[own[0]]
        yield Step("gone", folder=os.path.dirname(own[0]), name=own[0])
    else:
        yield from _of_descriptor(r, call, args, texts, result)


def _named(r: _Reader, path: str, file: int) -> Step:
    r.names[path] = file
    return Step("named", file, folder=os.path.dirname(path), name=path)


def _of_descriptor(
    r: _Reader, call: str, args: str, texts: list[bytes], result: int
) -> Iterator[Step]:
    fd = int(re.match(r"\d+", args)[0]) if args[:1].isdigit() else -1
    if call == "write" and fd == 1:
        yield Step("told", told=texts[0].decode().strip())
    file, path = r.opened.get(fd, (None, ""))
    if file is None:
        return
    if call == "close":
        del r.opened[fd]
    elif call in ("fsync", "fdatasync"):
        yield Step("sync", file, folder=path if file < 0 else "")
    elif call == "lseek":
        r.at[fd] = result
    elif call == "ftruncate":
        yield Step("cut", file, int(args.split(",")[1]))
    elif call == "write":
        yield Step("write", file, r.at[fd], texts[0][:result])
        r.at[fd] += result
    elif call == "pwrite64":
        yield Step("write", file, int(args.rsplit(",", 1)[1]), texts[0][:result])


def left_after(steps: list[Step], moments: random.Random, base: Path, to: Path) -> None:
    """Make the folder that is left where power fails after the last of some steps."""
    synced: dict[int, int] = {}
    folder_synced: dict[str, int] = {}
    for k, s in enumerate(steps):
        if s.what == "sync" and s.file >= 0:
            synced[s.file] = k
        elif s.what == "sync":
            folder_synced[s.folder] = k
    names_until = moments.randrange(len(steps) + 1)
    contents: dict[int, bytearray] = {}
    names: dict[str, int] = {}
    for k, s in enumerate(steps):
        if s.what in ("write", "cut"):
            kept = k <= synced.get(s.file, -1) or moments.random() < 0.5
            if kept:
                content = contents.setdefault(s.file, bytearray())
                if s.what == "cut":
                    del content[s.at :]
                content.extend(bytes(max(0, s.at + len(s.data) - len(content))))
                content[s.at : s.at + len(s.data)] = s.data
        elif s.what in ("named", "gone", "folder"):
            if k > max(folder_synced.get(s.folder, -1), names_until):
                continue
            place = to / Path(s.name).relative_to(base)
            if s.what == "folder":
                place.mkdir(parents=True, exist_ok=True)
            elif s.what == "named":
                names[s.name] = s.file
            else:
                names.pop(s.name, None)
    for name, file in names.items():
        place = to / Path(name).relative_to(base)
        if place.parent.is_dir():
            place.write_bytes(contents.get(file, b""))


def wrong_in(folder: Path, told: list[str]) -> str:
    """What is not as it was told; empty where all is."""
    said = [t.split() for t in told]
    kept = {t[1] for t in said if t[0] == "kept"} - {t[1] for t in said if t[0] == "removing"}
    removed = {t[1] for t in said if t[0] == "removed"}
    try:
        bar = load_preferences().printed_bar_mm
        bars = [100.0 + int(t[1]) for t in said if t[0] == "bar"]
        if bars and bar not in (bars[-1], bars[-1] + 1):
            return f"the printed bar is {bar} and not {bars[-1]}"
        with open_archive(folder / "archive") as archive:
            faults = verify(archive).faults
            there = {str(e.record) for e in entries(archive, Query())}
            for record in there:
                load_record(archive, int(record))
        if faults:
            return f"faults: {faults}"
    except MeasurementError as error:
        return "" if not said else f"{error.code}: {error.text}"
    lost, stayed = kept - there, removed & there
    return f"lost {sorted(lost)}, stayed {sorted(stayed)}" if lost or stayed else ""


def recorded(folder: Path, joints: int) -> list[Step]:
    """The steps of a writer that keeps and removes joints in a folder."""
    base, record = folder / "disk", folder / "strace"
    base.mkdir()
    tests = str(Path(__file__).parents[1])
    env = os.environ | {"GAPVISION_CONFIG_DIR": str(base), "PYTHONPATH": tests}
    command = ["strace", "-f", "-xx", "-s", "100000000", "-e", f"trace={CALLS}", "-o", str(record),
               sys.executable, "-c", WRITER, str(base), str(joints)]  # fmt: skip
    subprocess.run(command, env=env, check=True, stdout=subprocess.PIPE, timeout=300)
    return steps_of(record, base)


def tried(steps: list[Step], base: Path, cuts: int, seed: int) -> Iterator[tuple[int, str]]:
    """Of each power cut where it was, and what was wrong then."""
    moments = random.Random(seed)
    for _ in range(cuts):
        at = moments.randrange(1, len(steps) + 1)
        with tempfile.TemporaryDirectory() as left:
            left_after(steps[:at], moments, base, Path(left))
            os.environ["GAPVISION_CONFIG_DIR"] = left
            yield at, wrong_in(Path(left), [s.told for s in steps[:at] if s.what == "told"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--cuts", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if not shutil.which("strace"):
        raise SystemExit("strace is needed, which Linux alone has")
    with tempfile.TemporaryDirectory() as folder:
        steps = recorded(Path(folder), JOINTS)
        all_cuts = tried(steps, Path(folder) / "disk", asked.cuts, asked.seed)
        found = [(at, wrong) for at, wrong in all_cuts if wrong]
    syncs = sum(s.what == "sync" for s in steps)
    print(f"{asked.cuts} cuts among {len(steps)} steps, {syncs} of them syncs: {len(found)} wrong")
    for at, wrong in found:
        print(f"after step {at}: {wrong}")
    raise SystemExit(bool(found))


if __name__ == "__main__":
    main()
