"""Imports point one way, those of types and inside functions included: the contracts of pyproject.toml."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LINT = (
    "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"
)


def lint(folder: Path) -> subprocess.CompletedProcess:
    """import-linter over the package ``gapvision`` of a folder, by that folder's pyproject.toml."""
    return subprocess.run(
        [sys.executable, "-c", LINT], cwd=folder, capture_output=True, text=True, timeout=120,
        env=os.environ | {"PYTHONPATH": str(folder), "COLUMNS": "100"},
    )  # fmt: skip


def test_imports_point_one_way():
    done = lint(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("scene/camera", "from gapvision.joint.model import Joint", "Imports point one way"),
        ("photo/light", "def late():\n    import gapvision.photo.pose", "One photograph"),
        ("spine", "from gapvision.trace.training.train import main", "imported by nothing"),
        ("joint/model", "from gapvision.joint.solve import BEYOND_MM", "A joint"),
    ],
)
def test_an_import_the_wrong_way_is_noticed(tmp_path, module, line, contract):
    """The contracts hold what they say: each of these lines would break one."""
    (tmp_path / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    for source in (ROOT / "gapvision").rglob("*.py"):
        copy = tmp_path / source.relative_to(ROOT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(source.read_bytes())
    wrong = tmp_path / f"gapvision/{module}.py"
    wrong.write_text(f"{wrong.read_text(encoding='utf-8')}\n\n{line}\n", encoding="utf-8")
    done = lint(tmp_path)
    assert done.returncode == 1, done.stdout + done.stderr
    broken = [text for text in done.stdout.splitlines() if text.endswith("BROKEN")]
    assert any(contract in text for text in broken), done.stdout
