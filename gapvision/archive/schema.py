"""The tables of an archive, version by version; docs/archive.md tells what each column means.

A version that has left the house is never edited. A change of the tables is one more step at the end
of `STEPS`, which every older archive then goes through when it is opened.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

APPLICATION_ID = (
    0x67617076  # "gapv": by it SQLite, and `file`, tell one kind of database from another
)

# COLLATE NOCASE: North and north are one wall. AUTOINCREMENT: a removed record's number never
# comes back. The wide JSON stands in a table of its own, so that lists need not step over it.
_VERSION_1 = """
PRAGMA application_id = 1734439030;
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

CREATE TABLE record (
    record INTEGER PRIMARY KEY AUTOINCREMENT,
    building TEXT NOT NULL COLLATE NOCASE CHECK (building <> ''),
    wall TEXT NOT NULL COLLATE NOCASE CHECK (wall <> ''),
    log TEXT NOT NULL COLLATE NOCASE CHECK (log <> ''),
    revision INTEGER NOT NULL CHECK (revision >= 1),
    kept_at TEXT NOT NULL,
    kept_utc TEXT NOT NULL,
    program TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('measured', 'doubtful')),
    cover_mm REAL NOT NULL,
    set_to_mm REAL NOT NULL,
    setting_mm REAL NOT NULL,
    setting_U95_mm REAL,
    widest_gap_mm REAL NOT NULL,
    widest_gap_U95_mm REAL,
    remeasured INTEGER REFERENCES record (record) ON DELETE SET NULL,
    UNIQUE (building, wall, log, revision)
);
CREATE INDEX record_building ON record (building);
CREATE INDEX record_wall ON record (building, wall);
CREATE INDEX record_remeasured ON record (remeasured) WHERE remeasured IS NOT NULL;

CREATE TABLE document (
    record INTEGER PRIMARY KEY REFERENCES record (record) ON DELETE CASCADE,
    options TEXT NOT NULL,
    result TEXT NOT NULL
);

CREATE TABLE content (
    sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
    bytes INTEGER NOT NULL CHECK (bytes > 0),
    suffix TEXT NOT NULL
);

CREATE TABLE record_file (
    record INTEGER NOT NULL REFERENCES record (record) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('photograph', 'picture')),
    name TEXT NOT NULL,
    given TEXT NOT NULL CHECK (given IN ('photos', 'inside', '')),
    used INTEGER NOT NULL CHECK (used IN (0, 1)),
    sha256 TEXT NOT NULL REFERENCES content (sha256),
    PRIMARY KEY (record, position)
);
CREATE INDEX record_file_content ON record_file (sha256);

CREATE TABLE outcome (
    outcome INTEGER PRIMARY KEY AUTOINCREMENT,
    record INTEGER NOT NULL REFERENCES record (record) ON DELETE CASCADE,
    added_at TEXT NOT NULL,
    date TEXT NOT NULL,
    instead INTEGER NOT NULL CHECK (instead IN (0, 1)),
    setting_used_mm REAL,
    narrowest_cover_mm REAL,
    remarks TEXT NOT NULL
);
CREATE INDEX outcome_record ON outcome (record);

CREATE TABLE outcome_value (
    outcome INTEGER NOT NULL REFERENCES outcome (outcome) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('caliper', 'trial', 'open')),
    station_mm REAL NOT NULL,
    to_mm REAL,
    value_mm REAL,
    u_mm REAL,
    setting_mm REAL,
    u_setting_mm REAL,
    PRIMARY KEY (outcome, position)
);

CREATE TABLE tombstone (
    record INTEGER PRIMARY KEY,
    building TEXT NOT NULL COLLATE NOCASE,
    wall TEXT NOT NULL COLLATE NOCASE,
    log TEXT NOT NULL COLLATE NOCASE,
    revision INTEGER NOT NULL,
    kept_at TEXT NOT NULL,
    removed_at TEXT NOT NULL,
    removed_by TEXT NOT NULL,
    reason TEXT NOT NULL,
    files TEXT NOT NULL
);
CREATE INDEX tombstone_job ON tombstone (building, wall, log);

CREATE TABLE leftover (sha256 TEXT PRIMARY KEY) WITHOUT ROWID;

CREATE VIRTUAL TABLE words USING fts5 (text, tokenize = 'unicode61 remove_diacritics 2');

INSERT INTO meta VALUES ('format', 'gapvision-archive');
"""

STEPS: tuple[str, ...] = (_VERSION_1,)


def version_of(db: sqlite3.Connection) -> int:
    """The version of an archive's tables; 0 where there are none yet."""
    return db.execute("PRAGMA user_version").fetchone()[0]


def is_ours(db: sqlite3.Connection) -> bool:
    """Whether a database is an archive, or nothing yet."""
    if db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID:
        return True
    return version_of(db) == 0 and not has_tables(db)


def has_tables(db: sqlite3.Connection) -> bool:
    """Whether a database holds anything."""
    return db.execute("SELECT 1 FROM sqlite_schema").fetchone() is not None


def bring_up(db: sqlite3.Connection) -> None:
    """Bring the tables to the present version, inside the caller's transaction.

    A step that fails leaves the archive as it was, since `user_version` belongs to the transaction.
    """
    for number, step in enumerate(STEPS[version_of(db) :], version_of(db) + 1):
        for statement in _statements(step):
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {number}")
        db.execute("INSERT OR REPLACE INTO meta VALUES ('version', ?)", (str(number),))


def what_differs(db: sqlite3.Connection) -> str:
    """What of the tables is not as this version has it, in a few words; empty where all is."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as right:
        bring_up(right)
        wanted = _tables(right)
    found = _tables(db)
    for name, sql in wanted.items():
        if found.get(name) != sql:
            return (
                f"the table {name} is missing" if name not in found else f"table {name} is another"
            )
    trigger = db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchone()
    return f"it has a trigger, {trigger[0]!r:.40}" if trigger else ""


def _tables(db: sqlite3.Connection) -> dict[str, str]:
    """Statements by the names of tables, but for those that belong to an index of words."""
    rows = db.execute(
        "SELECT name, sql FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'words\\_%'"
        " ESCAPE '\\' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
    )
    return {name: " ".join((sql or "").split()) for name, sql in rows}


def _statements(script: str) -> list[str]:
    """The statements of a script one by one; `executescript` would end the transaction."""
    found, statement = [], ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            found.append(statement)
            statement = ""
    return found
