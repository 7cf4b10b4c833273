"""Power fails, and what no sync brought to the disk is gone: what was told stays true."""

import shutil

import pytest
from studies.power_loss import recorded, tried

pytestmark = pytest.mark.skipif(not shutil.which("strace"), reason="strace is not installed")


@pytest.fixture(scope="module")
def writing(tmp_path_factory):
    folder = tmp_path_factory.mktemp("power")
    return recorded(folder, 4), folder / "disk"


def test_what_was_told_is_on_the_disk_whenever_power_fails(writing, monkeypatch, tmp_path):
    monkeypatch.setenv("GAPVISION_CONFIG_DIR", str(tmp_path))
    steps, base = writing
    assert {"kept", "removed"} <= {s.told.split()[0] for s in steps if s.what == "told"}
    assert [(at, wrong) for at, wrong in tried(steps, base, 60, 5) if wrong] == []


@pytest.mark.parametrize("left_out", ["files", "folders"])
def test_without_the_syncs_it_would_not_be(writing, monkeypatch, tmp_path, left_out):
    """The test before can fail: each kind of sync is needed."""
    monkeypatch.setenv("GAPVISION_CONFIG_DIR", str(tmp_path))
    steps, base = writing
    fewer = [s for s in steps if s.what != "sync" or (s.file < 0) != (left_out == "folders")]
    assert any(wrong for _, wrong in tried(fewer, base, 60, 5))
