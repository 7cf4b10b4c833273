"""Every command with odd texts in its options; what is measured is answered at once, by a made-up joint."""

from __future__ import annotations

import json
import os
from contextlib import chdir
from functools import cache
from pathlib import Path
from unittest.mock import patch

from helpers.archives import keep
from helpers.commands import run
from helpers.fuzz.entrance import Entrance, odd_texts
from helpers.joints import joint
from helpers.phones import saved
from hypothesis import strategies as st
from typer.main import get_command

from gapvision.answer.as_json import answer_json
from gapvision.archive.store import open_archive
from gapvision.cli.main import app

# Files are named from these alone: an odd text as a name could lead out of the empty folder.
FILES = (
    "joint.json",
    "photo.jpg",
    "joint.toml",
    "new.json",
    "new.pdf",
    "new.html",
    "new.jpg",
    "missing",
)
_NAMES_FILE = ("FILE", "DIR", "FOLDER", "PHOTO", "JSON")
USUAL = (
    "76", "3in", "290,310", "41.5@120", "41.5@widest", "49:78@310", "1", "1,2", "Barn", "30..45", "20ft",
    "2026-05-14", "cover=60", "9999-12-31", "0001-01-01", "1" * 20, "-1", "0", "mm", "in", "lower", "a4",
    "pine", "1-12", "0.1,2",
)  # fmt: skip
NEVER = ("demo", "page")  # one measures for seconds whatever it is told, one serves until stopped


@cache
def _commands() -> dict[tuple[str, ...], list]:
    """Each command's parameters by the words that call it."""
    found = {}

    def walk(group, lead=()):
        for name, command in group.commands.items():
            if hasattr(command, "commands"):
                walk(command, (*lead, name))
            elif name not in NEVER:
                found[*lead, name] = list(command.params)

    walk(get_command(app))
    return found


@st.composite
def _typed(draw) -> list[str]:
    words = draw(st.sampled_from(sorted(_commands())))
    typed = [*words]
    for p in _commands()[words]:
        option = p.opts[0].startswith("-")
        if option and not p.required and draw(st.integers(0, 3)):
            continue
        if getattr(p, "is_flag", False):
            typed.append(p.opts[0])
            continue
        named = any(part in (p.metavar or "").upper() for part in _NAMES_FILE) or not p.metavar
        files = st.sampled_from(FILES)
        value = draw(files if named else st.one_of(st.sampled_from(USUAL), odd_texts))
        value = value.replace("\0", "")  # no shell can hand it over
        typed += [f"{p.opts[0]}={value}"] if option and p.opts[0].startswith("--") else [value]
    return typed


def _check_typed(typed: list[str], folder: Path) -> None:
    inside = folder / "a" / "b"
    inside.mkdir(parents=True)
    (inside / "joint.json").write_text(json.dumps(answer_json(joint())))
    (inside / "photo.jpg").write_bytes(saved("JPEG"))
    (inside / "joint.toml").write_text('building = "Barn"\nwall = "north"\nlog = "3"\n')
    own = {"GAPVISION_CONFIG_DIR": str(folder / "c"), "GAPVISION_ARCHIVE": str(folder / "kept")}
    with (
        chdir(inside),
        patch.dict(os.environ, own),
        patch("gapvision.spine.measure", lambda options, progress=None: joint()),
    ):
        with open_archive(folder / "kept", create=True) as archive:
            keep(archive)
        result = run(*typed)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code in (0, 1, 2), f"exit status {result.exit_code}"
    if result.exit_code:
        assert result.stderr.strip(), "refused without a word"
    assert "Traceback" not in result.output


ENTRANCES = {"commands": Entrance(_typed(), _check_typed, 25)}
