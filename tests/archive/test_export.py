"""Exports: what a person without the program finds, and what does not leave the house."""

import base64
import csv
import hashlib
import io
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from helpers.archives import named, new_record
from helpers.phones import SECRETS, exif_of_a_phone
from helpers.phones import jpeg as phone_jpeg

from gapvision.archive.export import export
from gapvision.archive.originals import path_of
from gapvision.archive.outcome import Caliper, Outcome, add_outcome
from gapvision.archive.query import Query, entries
from gapvision.archive.record import SourceFile, add_record
from gapvision.archive.store import open_archive
from gapvision.archive.table import BOM, RECORD_HEAD, record_row, write_csv
from gapvision.errors import MeasurementError

# RFC 4180, section 2: the whole file, with the byte order mark that spreadsheets want before it.
FIELD = r'(?:"(?:[^"]|"")*"|[^",\r\n]*)'
RFC_4180 = re.compile(rf"(?:{FIELD}(?:,{FIELD})*\r\n)+")


@pytest.fixture
def archive(tmp_path):
    """Two joints of photographs as a phone takes them, with a picture; one has an outcome."""
    with open_archive(tmp_path / "kept", create=True) as opened:
        for n, log in enumerate(("3", '=4, "butt"')):
            new = named(new_record((phone_jpeg(comment=b"%d" % n),)), log=log)
            picture = SourceFile(phone_jpeg(), "picture.jpg", "picture")
            add_record(opened, replace(new, files=(*new.files, picture)))
        values = (Caliper(0.0, 30.0, 0.5),)
        add_outcome(opened, 1, Outcome("2026-05-20", 49.0, remarks="dry, good", values=values))
        yield opened


def refused(code):
    return pytest.raises(MeasurementError, check=lambda error: error.code == code)


def files_of(target):
    if target.suffix == ".zip":
        with zipfile.ZipFile(target) as packed:
            assert packed.testzip() is None
            return {name: packed.read(name) for name in packed.namelist()}
    return {str(p.relative_to(target)): p.read_bytes() for p in target.rglob("*") if p.is_file()}


def rows_of(content):
    text = content.decode("utf-8")
    assert text.startswith(BOM) and RFC_4180.fullmatch(text[1:])
    return list(csv.DictReader(io.StringIO(text[1:], newline="")))


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_all_is_there_and_agrees(archive, tmp_path, name):
    done = export(archive, Query(), tmp_path / name)
    files = files_of(tmp_path / name)
    assert (done.records, done.photographs, done.left_out, done.lost) == (2, 2, (), ())
    records = rows_of(files["records.csv"])
    assert [r["set to (mm)"] for r in records] == ["49.0", "49.0"]
    assert [r["log"] for r in records] == ['\'=4, "butt"', "3"]  # no formula
    photographs = rows_of(files["photographs.csv"])
    for row in photographs:
        assert hashlib.sha256(files[row["file"]]).hexdigest() == row["SHA-256 of this file"]
        assert row["SHA-256 of the original"] != row["SHA-256 of this file"]
    outcomes = rows_of(files["outcomes.csv"])
    assert [(o["what"], o["value (mm)"]) for o in outcomes] == [
        ("setting used", "49.0"), ("caliper", "30.0"), ("remarks", ""),
    ]  # fmt: skip
    folder = photographs[-1]["file"].partition("/")[0]
    record = json.loads(files[f"{folder}/record.json"])
    assert (record["log"], record["result"]["setting"]["set_to_mm"]) == ("3", 49.0)
    assert record["files"][0]["exported"] == photographs[-1]["file"].partition("/")[2]
    profile = rows_of(files[f"{folder}/profile.csv"])
    gaps = [float(row["gap (mm)"]) for row in profile]
    assert np.allclose(gaps, record["result"]["profile"]["gap_mm"])
    report = files[f"{folder}/report.html"].decode("utf-8")
    for said in ("Lake house", "north", "49\xa0mm", "dry, good", "data:image/jpeg"):
        assert said in report
    readme = files["README.txt"].decode("utf-8")
    assert max(map(len, readme.splitlines())) <= 82
    wall = "wall-001-Lake-house-wall-north.html"
    for top in {n.partition("/")[0] for n in files if "/" not in n} - {"README.txt", wall}:
        assert top in readme
    assert "\nwall-...html " in readme
    drawn = files[wall].decode("utf-8")
    for said in ("All logs", ">3</td>", ">=4, &#34;butt&#34;</td>"):
        assert said in drawn


def test_a_wall_is_drawn_of_several_logs_by_the_latest_of_each(archive, tmp_path):
    add_record(archive, named(new_record((phone_jpeg(),), set_to_mm=55.0)))  # log 3 again
    add_record(archive, named(new_record((phone_jpeg(),)), wall="south"))
    export(archive, Query(), tmp_path / "out")
    (wall,) = (c.decode() for n, c in files_of(tmp_path / "out").items() if n.startswith("wall-"))
    assert wall.count(">3</td>") == 1 and ">SET 55\xa0mm</td>" in wall
    export(archive, Query(records=(1, 3)), tmp_path / "one")  # two records of one log
    assert not any(name.startswith("wall-") for name in files_of(tmp_path / "one"))


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_nothing_tells_where_or_by_whose_phone(archive, tmp_path, name):
    export(archive, Query(), tmp_path / name)
    for file, content in files_of(tmp_path / name).items():
        assert not any(secret in content for secret in (*SECRETS, b"GPSLatitude")), file


def test_with_location_they_go_out_as_they_are(archive, tmp_path):
    export(archive, Query(records=(1,)), tmp_path / "out", with_location=True)
    files = files_of(tmp_path / "out")
    (photograph,) = (c for name, c in files.items() if "/photographs/" in name)
    assert photograph == phone_jpeg(comment=b"0") and exif_of_a_phone().tobytes() in photograph
    assert b"may tell where they were taken" in files["README.txt"]


def test_what_cannot_be_stripped_is_left_out_and_said(archive, tmp_path):
    content = b"RIFF----WEBP"
    new = new_record((content,))
    add_record(archive, replace(new, files=(replace(new.files[0], name="a.webp"),)))
    done = export(archive, Query(records=(3,)), tmp_path / "out")
    assert (done.photographs, len(done.left_out)) == (0, 1) and "a.webp" in done.left_out[0]
    files = files_of(tmp_path / "out")
    assert not any("/photographs/" in name for name in files)
    assert rows_of(files["photographs.csv"])[0]["left out because"]
    assert b"a.webp" in files["README.txt"]
    assert export(archive, Query(records=(3,)), tmp_path / "as-it-is", True).photographs == 1


def test_a_damaged_archive_still_exports_the_rest(archive, tmp_path):
    sha256 = hashlib.sha256(phone_jpeg(comment=b"0")).hexdigest()
    path_of(archive, sha256).write_bytes(b"rot")
    done = export(archive, Query(), tmp_path / "out")
    assert (done.records, done.photographs) == (2, 1)
    assert done.lost == ("record 1: photo0.jpg is missing or damaged in the archive.",)
    for content in files_of(tmp_path / "out").values():
        assert str(tmp_path).encode() not in content


def test_nothing_is_overwritten_and_nothing_half_is_left(archive, tmp_path, monkeypatch):
    (tmp_path / "out.zip").write_text("mine")
    with refused("file-exists"):
        export(archive, Query(), tmp_path / "out.zip")
    assert (tmp_path / "out.zip").read_text() == "mine"
    with refused("no-folder"):
        export(archive, Query(), tmp_path / "no" / "out")
    with refused("nothing-found"):
        export(archive, Query(wall="west"), tmp_path / "none")
    from gapvision.archive import packing as archive_packing

    def full(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(archive_packing, "_into_folder", full)
    with refused("not-written"):
        export(archive, Query(), tmp_path / "half")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["kept", "out.zip"]
    assert len(list(entries(archive, Query()))) == 2  # and the archive can still be read


def test_a_table_is_read_back_by_the_standard_library(archive):
    """Through `csv`, whose default dialect is RFC 4180's."""
    file = io.BytesIO()
    found = list(entries(archive, Query()))
    assert write_csv(file, RECORD_HEAD, map(record_row, found)) == 2
    rows = rows_of(file.getvalue())
    assert [int(r["record"]) for r in rows] == [e.record for e in found]
    assert rows[0]["kept (ISO 8601)"] == found[0].kept_at
    assert all("(mm)" in head for head in RECORD_HEAD if "set" in head or "gap" in head)


# --- names, unpackers, and what killed runs leave --------------------------------------------------

LONG = "Гараж у реки 🏠 " + "jäätynyt " * 20
AWKWARD = [
    "IMG 1.JPG", "..", ".", "a" * 250 + ".jpg", "ö" * 120 + ".jpeg", "x." + "y" * 200, "CON",
    "a/b\\c:d*.jpg",
]  # fmt: skip


@pytest.fixture
def awkward(tmp_path):
    """A record whose joint and photographs have names that hardly any disk takes."""
    with open_archive(tmp_path / "kept", create=True) as opened:
        contents = tuple(phone_jpeg(comment=b"%d" % n) for n in range(len(AWKWARD)))
        new = named(new_record(contents), building=LONG[:80], wall="北の壁", log="Ł 3/4")
        files = tuple(replace(f, name=n) for f, n in zip(new.files, AWKWARD, strict=True))
        for _ in range(2):
            add_record(opened, replace(new, files=files))
        add_record(
            opened, named(replace(new, files=files), building=LONG[:80], wall="北の壁", log="2")
        )
        yield opened


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_names_are_short_and_of_signs_that_all_disks_take(awkward, tmp_path, name):
    done = export(awkward, Query(), tmp_path / name)
    assert (done.records, done.photographs, done.lost) == (3, 3 * len(AWKWARD), ())
    for path in files_of(tmp_path / name):
        for part in path.split("/"):
            assert re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9_.-]*[A-Za-z0-9_-]", part), path
            assert len(part.encode()) <= 80
    given = {row["name as given"] for row in rows_of(files_of(tmp_path / name)["photographs.csv"])}
    assert given == set(AWKWARD)  # the tables still have them


def test_zips_need_nothing_that_old_unpackers_lack(awkward, tmp_path):
    """No ZIP64, no names but in ASCII, no sizes that follow the data; and the usual unpacker agrees."""
    target = tmp_path / "out.zip"
    export(awkward, Query(), target)
    content = target.read_bytes()
    with zipfile.ZipFile(target) as packed:
        for info in packed.infolist():
            assert info.extract_version <= 20 and info.flag_bits == 0 and not info.extra
            assert content[info.header_offset + 4 : info.header_offset + 6] == b"\x14\0"
    if shutil.which("unzip"):
        subprocess.run(["unzip", "-q", target, "-d", tmp_path / "un"], check=True, timeout=60)
        assert len(list((tmp_path / "un").glob("0*"))) == 3


@pytest.mark.parametrize("year", [1970, 2110])
def test_a_clock_that_is_wrong_stops_no_zip(archive, tmp_path, monkeypatch, year):
    from gapvision.archive import packing as archive_packing

    class Clock(datetime):
        @classmethod
        def now(cls, tz=None):
            return cls(year, 1, 1)

    monkeypatch.setattr(archive_packing, "datetime", Clock)
    assert export(archive, Query(), tmp_path / "out.zip").records == 2


KILLED = """
import os, sys
from pathlib import Path
from gapvision.archive import packing
from gapvision.archive.export import export
from gapvision.archive.query import Query
from gapvision.archive.store import open_archive

def kill(*args):
    os.kill(os.getpid(), 9)

with open_archive(Path(sys.argv[1])) as archive:
    packing.move_new = kill
    if sys.argv[2].endswith(".zip"):
        import gapvision.files
        gapvision.files.os.fsync = kill
    export(archive, Query(), Path(sys.argv[2]))
"""


@pytest.mark.skipif(os.name == "nt", reason="signals")
@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_what_a_killed_export_left_is_gone_after_the_next(archive, tmp_path, name):
    before = sorted(p.name for p in tmp_path.iterdir())
    subprocess.run(
        [sys.executable, "-c", KILLED, archive.folder, tmp_path / name], timeout=60, check=False
    )
    assert len(list(tmp_path.iterdir())) == len(before) + 1  # photographs, for anybody to see
    export(archive, Query(records=(1,)), tmp_path / f"other-{name}")
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*before, f"other-{name}"])


def test_a_picture_of_a_foreign_archive_is_freed_too(archive, tmp_path):
    """What an archive calls the picture that was drawn may be anybody's photograph."""
    export(archive, Query(), tmp_path / "out")
    for content in files_of(tmp_path / "out").values():
        assert not any(secret in content for secret in SECRETS)
    reports = [c for n, c in files_of(tmp_path / "out").items() if n.endswith("report.html")]
    for report in reports:
        for image in re.findall(rb"base64,([A-Za-z0-9+/=]+)", report):
            assert not any(secret in base64.b64decode(image) for secret in SECRETS)
