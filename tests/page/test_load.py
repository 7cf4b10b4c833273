"""Many phones at once, and a page that is disturbed: nothing lost, nothing twice, nothing that grows.

A short variant of tests/studies/page_load.py, which does it for ten minutes with the program itself.
"""

import os
import random
from pathlib import Path

import pytest
from helpers.pages import client, serving, state_of
from studies.page_load import Faults, disturb, growth, look, lost_or_twice, many_phones, watched

from gapvision.page import uploads
from gapvision.page.uploads import remove_stale

proc = pytest.mark.skipif(
    not Path("/proc/self/smaps_rollup").exists(), reason="reads Linux's /proc"
)


async def _at_once(*_):
    return {"ok": True, "text": "seen", "details": {}}, b""


async def _nothing(*_):
    pass


@pytest.fixture
def served(tmp_path, monkeypatch):
    """A page that looks at no photograph: what is sent is what is tried."""
    monkeypatch.setattr("gapvision.page.app.warm", _nothing)
    monkeypatch.setattr("gapvision.page.jobs._looked_at", _at_once)
    monkeypatch.setattr(uploads, "FREE_KEPT", 0)
    with serving(tmp_path / "archive") as it:
        yield it


def test_twenty_phones_with_five_photographs_each(served):
    base, drafts = served
    wanted = many_phones(base, 20, 5)
    assert len(wanted) == 20 and not lost_or_twice(base, wanted)
    with client(base) as page:
        numbers = [[p["number"] for p in state_of(page, joint)["photos"]] for joint in wanted]
    assert all(sorted(found) == [1, 2, 3, 4, 5] for found in numbers)
    assert not list((drafts / "uploads").glob("*.part"))


@proc
def test_faults_leave_no_file_open_and_none_behind(served, monkeypatch):
    base, drafts = served
    for act in ("measures", "cancels", "kills_a_worker"):  # which tests of their own try
        monkeypatch.setattr(f"studies.page_load.{act}", lambda *_: None)
    faults = Faults(base, os.getpid(), None, random.Random(2))
    with watched(os.getpid(), drafts, 0.1) as seen:
        assert disturb(faults, 6.0) == []
    assert faults.number > 10
    files = growth(seen, "files")
    assert files[-1] <= files[1] + 8
    assert max(s.left for s in seen) <= 4 and look(os.getpid(), drafts).left == 0
    monkeypatch.setattr(uploads, "KEPT_S", -1.0)
    remove_stale(drafts)
    assert not list((drafts / "uploads").iterdir())
