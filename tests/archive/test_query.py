"""Lists, searches and single records; removing; the check of a whole archive."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from helpers.archives import JOINT, files_in, jpeg, keep, named, new_record
from helpers.options import options_with

from gapvision.advice.caution import told
from gapvision.answer.text import answer_text
from gapvision.archive.originals import Removal, path_of
from gapvision.archive.outcome import Outcome, outcomes_of
from gapvision.archive.query import Query, entries, load_record, read_file, unreadable
from gapvision.archive.record import (
    add_record,
    in_utc,
    options_json,
    options_of,
    plain_result,
    source_files,
)
from gapvision.archive.remove import remove_record
from gapvision.archive.store import DATABASE, open_archive
from gapvision.archive.text import changes_text, list_text, record_text
from gapvision.archive.verify import verify
from gapvision.errors import MeasurementError
from gapvision.inputs.corrections import Correction
from gapvision.inputs.joint_name import JointName
from gapvision.inputs.options import GROUPS, MeasureOptions
from gapvision.inputs.rules import parse_limit
from gapvision.joint.photo_results import Lack, PhotoResult
from gapvision.lengths import parse_diameter, parse_reading, parse_trial
from gapvision.quantity import Quantity


@pytest.fixture
def archive(tmp_path):
    with open_archive(tmp_path / "kept", create=True) as opened:
        yield opened


@pytest.fixture
def three(archive):
    """A measured, a doubtful and a measured joint, of two walls."""
    low = {"setting": Quantity(28.0, 0.5, 1.0), "set_to_mm": 30.0}
    tight = new_record(widest_gap=Quantity(12.0, 0.5, 1.0), **low)
    doubtful = new_record((jpeg(2),), status="doubtful", widest_gap=Quantity(44.5, 2.0, 4.0))
    for new in (named(tight), named(doubtful, log="4"), named(new_record(), wall="süd", log="4")):
        add_record(archive, new)
    return archive


def refused(code):
    return pytest.raises(MeasurementError, check=lambda error: error.code == code)


def numbers(archive, **query):
    return [e.record for e in entries(archive, Query(**query))]


# What a broken cell may hold; SQLite's own writing would make the number 12 of the text.
ODD = (None, 7, -(2**63), 1e9, -1e9, 9e999, 1.5, "", "12", "abc", b"", b"12")


def is_sound(value, kind, nullable):
    if value is None:
        return nullable
    if kind == "REAL":
        return isinstance(value, int | float) and abs(value) <= 1e9
    return isinstance(value, str if kind == "TEXT" else int)


def test_cells_of_another_kind_than_their_column_are_found(archive, three, tmp_path):
    """As they lie in the file: filled while no column had a kind."""
    columns = archive.db.execute("PRAGMA table_info(record)").fetchall()
    row = archive.db.execute("SELECT * FROM record WHERE record = 1").fetchone()
    broken, sound = [], set()
    for place, name, kind, not_null, *_ in columns[1:]:
        for value in ODD if name != "status" else ():
            broken.append((len(broken) + 1, *row[1:place], value, *row[place + 1 :]))
            if is_sound(value, kind, not not_null):
                sound.add(len(broken))
    file = tmp_path / "broken"
    db = sqlite3.connect(file)
    db.execute(
        f"CREATE TABLE record (record INTEGER PRIMARY KEY, {', '.join(c[1] for c in columns[1:])})"
    )
    db.executemany(f"INSERT INTO record VALUES ({', '.join('?' * len(columns))})", broken)
    db.execute("PRAGMA writable_schema = ON")
    kinds = ", ".join(f"{name} {kind}" for _, name, kind, *_ in columns[1:])
    db.execute(
        "UPDATE sqlite_master SET sql = ?",
        (f"CREATE TABLE record (record INTEGER PRIMARY KEY, {kinds})",),
    )
    db.commit()
    db.close()
    with closing(sqlite3.connect(file)) as db:
        found = unreadable(replace(archive, db=db))
    assert set(found) == {*range(1, len(broken) + 1)} - sound and 20 < len(sound) < 100


# --- lists and searches ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, [3, 2, 1]),
        ({"building": "lake HOUSE"}, [3, 2, 1]),
        ({"wall": "north"}, [2, 1]),
        ({"building": "Lake house", "wall": "north", "log": "4"}, [2]),
        ({"status": "doubtful"}, [2]),
        ({"gap_mm": (38.0, None)}, [3, 2]),
        ({"gap_mm": (None, 38.0)}, [3, 1]),
        ({"setting_mm": (29.0, 30.0)}, [1]),
        ({"since_utc": "2000-01-01T00:00:00Z"}, [3, 2, 1]),
        ({"until_utc": "2000-01-01T00:00:00Z"}, []),
        ({"text": "nort"}, [2, 1]),
        ({"text": "SUD"}, [3]),  # accents and capitals do not count
        ({"text": "lake one-height"}, [3, 2, 1]),  # a caution's code
        ({"text": "lake moon"}, []),
        ({"text": 'lake" OR "moon'}, []),  # no command of the search engine
        ({"text": "lake NOT north *"}, [2, 1]),  # "not" is in a caution's text
        ({"text": "north", "status": "doubtful"}, [2]),
        ({"records": (1, 3, 9)}, [3, 1]),
    ],
)
def test_what_is_found(three, query, found):
    assert numbers(three, **query) == found


def test_a_limit_gives_the_latest(three):
    assert [e.record for e in entries(three, Query(), 2)] == [3, 2]


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_list_fits_a_terminal(three, units):
    long = JointName("A building with a very long name", "the north-eastern wall", "17 and a half")
    add_record(three, replace(new_record(), joint=long))
    lines = list_text(entries(three, Query()), units, more=True).splitlines()
    assert max(map(len, lines)) <= 80
    assert sum("DOUBTFUL" in line for line in lines) == 2  # the row, and what it means
    assert "The latest 4" in lines[-1]
    assert list_text([], units, more=False) == "No record is as asked for."


def test_a_record_is_shown_whole(three):
    told = (Outcome("2026-05-20", 49.0, remarks="dry"),)
    record = load_record(three, 2)
    text = record_text(record, told, [load_record(three, 1).entry], "mm")
    assert max(map(len, text.splitlines())) <= 80
    assert text.splitlines()[0] == "Record 2: Lake house, wall north, log 4, revision 1."
    for part in (
        "MEASURE AGAIN",
        record.photographs[0].sha256,
        "Remarks           dry",
        "1 (30 mm)",
    ):
        assert part in text


def test_the_stored_answer_reads_as_it_did(archive):
    from helpers.joints import joint

    new = new_record()
    record = load_record(archive, add_record(archive, new).record)
    assert record.result == new.result
    shown = answer_text(joint(first=-500.0, last=500.0), "mm").splitlines()[:5]
    assert record_text(record, (), [], "mm").splitlines()[3:8] == shown


def test_records_that_are_not_there(three):
    for number in (4, 0, -1, 10**30):
        with refused("no-record"):
            load_record(three, number)


def test_photographs_are_read_back_and_checked(three):
    (file,) = load_record(three, 2).photographs
    assert read_file(three, file) == jpeg(2)
    path_of(three, file.sha256).write_bytes(jpeg(3))
    with refused("photo-damaged"):
        read_file(three, file)
    path_of(three, file.sha256).unlink()
    with refused("photo-missing"):
        read_file(three, file)


# --- what is kept ---------------------------------------------------------------------------------


# docs/archive.md has them side by side; records of every version so far have no other.
STORED_OPTIONS = {
    "inside_cards", "cover_mm", "card_on", "upper_diameter", "lower_diameter", "from_mm", "to_mm",
    "printed_bar_mm", "camera", "wall_thickness_mm", "readings", "trials", "units",
    "scriber_largest_mm", "scriber_step_mm", "lower_to_mm", "covers_mm", "rules", "limits",
    "heights_at_mm", "underscribe_mm", "calibrations", "corrections",
}  # fmt: skip


def test_all_options_come_back(tmp_path):
    camera = tmp_path / "phone.toml"
    camera.write_text("focal_px = 3000.0\n", encoding="utf-8")
    options = options_with(
        (tmp_path / "a.jpg",),
        inside=(tmp_path / "b.jpg",),
        inside_cards=(5, 6),
        cover_mm=63.5,
        card_on="lower",
        upper_diameter=parse_diameter("290@-750,310@750"),
        lower_diameter=parse_diameter("290,310"),
        from_mm=-400.0,
        to_mm=1100.0,
        printed_bar_mm=99.4,
        camera=camera,
        wall_thickness_mm=330.0,
        readings=(parse_reading("41.5@1200~0.3"), parse_reading("40@widest")),
        trials=(parse_trial("49:78@310"),),
        units="in",
        scriber_largest_mm=150.0,
        scriber_step_mm=0.5,
        lower_to_mm=50.0,
        covers_mm=(60.0, 75.0),
        rules="ilba-2000",
        limits=(parse_limit("width=3/8"),),
        heights_at_mm=(-500.0, 500.0),
        underscribe_mm=3.0,
        corrections={
            "ab" * 32: Correction(
                upper=(((10.5, 20.0), (30.0, 21.0)),), lower=(((9.0, 8.0),),),
                not_gap=((-40.0, 60.5),), u_mm=0.5,
            ),
            "cd" * 32: Correction(dropped=True),
        },
    )  # fmt: skip
    unset = MeasureOptions(photos=())
    pairs = [(options, unset), *((getattr(options, g), getattr(unset, g)) for g in GROUPS)]
    same = [f for a, b in pairs for f in a.__slots__ if getattr(a, f) == getattr(b, f)]
    assert not same, "an option that this test does not try"
    kept = json.loads(json.dumps(options_json(options, ())))
    assert set(kept) == STORED_OPTIONS
    assert kept["camera"] == {"name": "phone.toml", "toml": "focal_px = 3000.0\n"}
    assert options_of(kept, options.photos, options.inside, camera) == options
    # Of an older program, and of a newer one.
    del kept["wall_thickness_mm"]
    kept["moon"] = "full"
    old = options_of(kept, options.photos, options.inside, camera)
    assert old == options_with(base=options, wall_thickness_mm=None)


def test_options_of_another_type_are_no_options():
    for damaged in ({"cover_mm": "wide"}, {"readings": [{"value_mm": None}]}, {"trials": 3}):
        with pytest.raises(ValueError, match=next(iter(damaged))):
            options_of(damaged, (), (), None)


def test_a_folder_is_kept_file_by_file_and_unreadable_ones_are_not(tmp_path):
    folder = tmp_path / "joint"
    folder.mkdir()
    for name in ("a.jpg", "dark.jpg", "b.jpg"):
        (folder / name).write_bytes(jpeg())
    (folder / "empty.jpg").touch()
    shown = [
        PhotoResult(str(folder / "a.jpg"), "1" * 64, "outside", True),
        PhotoResult(
            str(folder / "dark.jpg"), "", "outside", False, Lack("no-card", {"text": "Too dark."})
        ),
        PhotoResult(
            str(folder / "empty.jpg"), "", "outside", False, Lack("no-card", {"text": "Empty."})
        ),
        PhotoResult(str(folder / "b.jpg"), "2" * 64, "inside", True),
    ]
    options = MeasureOptions((folder,), inside=(folder / "b.jpg",))
    files = source_files(options, shown, b"picture")
    assert [(f.name, f.role, f.given, f.used, f.sha256) for f in files] == [
        ("a.jpg", "photograph", "photos", True, "1" * 64),
        ("dark.jpg", "photograph", "photos", False, None),
        ("b.jpg", "photograph", "inside", True, "2" * 64),
        ("picture.jpg", "picture", "", True, None),
    ]


def test_no_folder_of_this_computer_is_kept():
    paths = "joint/a.jpg", "joint/far/b.jpg"
    answer = {
        "photos": [{"file": p, "lacked": f"There is no file {p}: look."} for p in paths],
        "cautions": [{"code": "left-out", "text": f"{paths[1]} is left out."}],
    }
    assert plain_result(answer) == {
        "photos": [
            {"file": name, "lacked": f"There is no file {name}: look."}
            for name in ("a.jpg", "b.jpg")
        ],
        "cautions": [{"code": "left-out", "text": "b.jpg is left out."}],
    }


# --- removing -------------------------------------------------------------------------------------


def test_a_removed_record_leaves_a_tombstone_and_no_photograph(three):
    before = files_in(three.folder)
    assert remove_record(three, 2, "the carpenter", "wrong wall") == Removal(1)
    assert numbers(three) == [3, 1] and numbers(three, text="north") == [1]
    assert set(files_in(three.folder).values()) == {jpeg()} < set(before.values())
    with refused("no-record") as error:
        load_record(three, 2)
    for part in ("Lake house, wall north, log 4", "the carpenter", "wrong wall"):
        assert part in error.value.text
    assert not verify(three).faults
    assert keep(three, jpeg(2)) == 4  # its number never comes back


def test_a_shared_photograph_stays_until_its_last_record_goes(three):
    assert remove_record(three, 1, "me", "") == Removal(0)
    assert jpeg() in files_in(three.folder).values() and not verify(three).faults
    assert remove_record(three, 3, "me", "") == Removal(1)


def test_revisions_do_not_come_back_either(archive):
    first = add_record(archive, new_record())
    remove_record(archive, first.record, "me", "")
    assert add_record(archive, new_record()).revision == 2


def test_what_is_removed_is_gone_from_the_database_too(archive):
    new = named(new_record(), building="Secretplace")
    record = add_record(archive, new).record
    archive.db.execute("UPDATE document SET options = ?", (json.dumps({"x": "Hiddenword"}),))
    remove_record(archive, record, "me", "")
    raw = b"".join(p.read_bytes() for p in archive.folder.glob("archive.sqlite*"))
    assert b"Hiddenword" not in raw
    assert b"Secretplace" in raw  # the tombstone says what it was


# --- checking -------------------------------------------------------------------------------------


def test_a_whole_archive(three):
    found = verify(three)
    assert (found.records, found.files, found.faults, found.halves, found.unclaimed) == (
        3,
        2,
        (),
        (),
        (),
    )


def damage_photo(archive):
    path_of(archive, load_record(archive, 2).files[0].sha256).write_bytes(b"x")


def lose_photo(archive):
    path_of(archive, load_record(archive, 2).files[0].sha256).unlink()


def statement(sql):
    def run(archive):
        archive.db.execute("PRAGMA foreign_keys = OFF")
        archive.db.execute("PRAGMA ignore_check_constraints = ON")
        archive.db.execute(sql)

    return run


@pytest.mark.parametrize(
    ("damage", "match"),
    [
        (damage_photo, "record 2, photo0.jpg: photos/.*instead of"),
        (lose_photo, "record 2, photo0.jpg: photos/.* is missing"),
        (statement("UPDATE record SET set_to_mm = 94 WHERE record = 2"), "Record 2: .*differ"),
        (statement("UPDATE record SET kept_at = 'today' WHERE record = 2"), "Record 2: its time"),
        (statement("UPDATE record SET kept_utc = '2000' WHERE record = 2"), "Record 2: its time"),
        (statement("UPDATE document SET result = '{' WHERE record = 2"), "Record 2 cannot be read"),
        (
            statement("UPDATE document SET result = json_remove(result, '$.profile') WHERE record = 2"),
            "record 2 is damaged",
        ),
        (statement("UPDATE document SET options = '{\"readings\": 3}' WHERE record = 2"), "options"),
        (statement("DELETE FROM document WHERE record = 2"), "Record 2"),
        (statement("DELETE FROM record_file WHERE record = 2"), "photographs are not those"),
        (statement("DELETE FROM content WHERE sha256 IN (SELECT sha256 FROM record_file WHERE"
                   " record = 2)"), "names something that content does not have"),
        (statement("DELETE FROM words WHERE rowid = 2"), "Record 2: .*words"),
        (statement("UPDATE content SET bytes = bytes + 1"), "bytes, and it has"),
        (statement("INSERT INTO outcome VALUES (1, 2, 'now', '2026-05-20', 0, 1, 1, '')"), "time now"),
        (statement("INSERT INTO outcome VALUES (1, 2, '2026-05-20T10:00:00Z', 'May', 0, 1, 1, '')"),
         "date May"),
    ],
)  # fmt: skip
def test_each_fault_is_named(three, damage, match):
    damage(three)
    faults = verify(three).faults
    assert faults
    with pytest.raises(AssertionError, match=match):
        raise AssertionError("\n".join(faults))


def test_a_damaged_database_page_is_named_or_refused(archive):
    """SQLite's own integrity check, on a file of which a page in the middle was overwritten."""
    for n in range(30):
        keep(archive, jpeg(n))
    archive.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path = archive.folder / DATABASE
    archive.db.close()
    raw = bytearray(path.read_bytes())
    size = int.from_bytes(raw[16:18], "big")
    middle = len(raw) // size // 2 * size
    raw[middle : middle + size] = b"\xa5" * size
    path.write_bytes(raw)
    try:
        with open_archive(archive.folder) as opened:
            assert verify(opened).faults
    except MeasurementError as error:
        assert error.code == "archive-damaged"


# --- measuring again ------------------------------------------------------------------------------


def test_what_changed_is_told(three):
    old = load_record(three, 2)
    new = new_record((jpeg(2),), set_to_mm=50.0, cautions=(told("not-seen", "Look."),)).result
    text = changes_text(old, new, "9.9.9", "mm")
    assert max(map(len, text.splitlines())) <= 80
    rows = {line[2:20].strip(): line[20:] for line in text.splitlines()[2:]}
    assert rows["Program"].split() == [old.entry.program, "9.9.9"]
    assert rows["Status"].split() == ["doubtful", "measured"]
    assert rows["Set to"].split() == ["49", "mm", "50", "mm"]
    assert rows["Setting needed"].endswith("the same")
    assert (rows["Now cautioned"], rows["No more cautioned"]) == ("not-seen", "end, one-height")


def test_utc_of_another_zone():
    assert in_utc("2026-05-14T00:30:00+02:00") == "2026-05-13T22:30:00Z"


def test_sqlite_reads_it_without_this_program(three):
    """What docs/archive.md promises: plain tables, times that SQLite's own functions understand."""
    three.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with sqlite3.connect(three.folder / DATABASE) as db:
        rows = db.execute(
            "SELECT building, set_to_mm, datetime(kept_at) = datetime(kept_utc),"
            " json_extract(result, '$.setting.set_to_mm') FROM record JOIN document USING (record)"
            " ORDER BY record"
        ).fetchall()
    db.close()
    assert rows == [(JOINT.building, s, 1, s) for s in (30.0, 49.0, 49.0)]
    assert not outcomes_of(three, 1)
