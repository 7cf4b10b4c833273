"""docs/archive.md against the tables themselves."""

import re
import sqlite3
from pathlib import Path

import pytest

from gapvision.archive.schema import STEPS, bring_up

PAGE = (Path(__file__).parents[2] / "docs" / "archive.md").read_text(encoding="utf-8")
HIDDEN = re.compile(r"sqlite_|words_")  # SQLite's own


@pytest.fixture(scope="module")
def db():
    opened = sqlite3.connect(":memory:", isolation_level=None)
    bring_up(opened)
    yield opened
    opened.close()


def documented():
    """Columns by table, in the order of the page."""
    sections = re.findall(r"^### (\w+)\n(.*?)(?=^##)", PAGE, re.DOTALL | re.MULTILINE)
    return {
        table: [c for c in re.findall(r"^\| (\w+) \|", text, re.MULTILINE) if c != "column"]
        for table, text in sections
    }


def test_tables_and_columns_are_those_of_the_page(db):
    names = [n for (n,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    real = {
        name: [row[1] for row in db.execute(f"PRAGMA table_info({name})")]
        for name in names
        if not HIDDEN.match(name)
    }
    assert real == documented()


def test_version_is_that_of_the_page(db):
    assert f"version {len(STEPS)} of the tables" in PAGE
    assert dict(db.execute("SELECT key, value FROM meta")) == {
        "format": "gapvision-archive",
        "version": str(len(STEPS)),
    }


def test_lengths_carry_their_unit(db):
    for table in documented():
        for _, name, kind, *_ in db.execute(f"PRAGMA table_info({table})"):
            assert (kind == "REAL") == name.endswith("_mm"), f"{table}.{name}"
