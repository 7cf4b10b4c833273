"""The pages against the program: every command and option is told, its examples are accepted."""

import re
import shlex
import subprocess
from pathlib import Path

import pytest
import typer

import gapvision.advice.shrinkage
import gapvision.answer.check
import gapvision.answer.report.sources
import gapvision.archive.store
import gapvision.inputs.preferences
import gapvision.photo.lens.calibrate
import gapvision.photo.lens.files
import gapvision.photo.photo
import gapvision.shoot.plan
import gapvision.shoot.slip
import gapvision.spine
from gapvision.cli import main as cli
from gapvision.cli import terminal

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def commands(group, lead=""):
    """Every command by its words: ``archive list`` is one of the group ``archive``."""
    found = {}
    for name, command in group.commands.items():
        inner = getattr(command, "commands", None)
        found |= commands(command, f"{lead}{name} ") if inner else {f"{lead}{name}": command}
    return found


COMMANDS = commands(typer.main.get_command(cli.app))

TO_USE = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/gapvision demo"
TO_CHANGE = (
    "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/python -m pytest"
)
# Folders of one machine, written so that this file does not hold what it looks for.
MACHINE_PATHS = re.compile(
    "|".join(f"/{name}/" for name in ("work", "home", "root", "Users"))
    + "|" + r"\.\./" + "shared|[A-Z]:.Users"
)  # fmt: skip


def options():
    return [
        pytest.param(option, id=f"{name} {option}")
        for name, command in COMMANDS.items()
        for parameter in command.params
        for option in parameter.opts
        if option.startswith("--") and option != "--help"
    ]


def examples():
    """The command lines of the program in README's code blocks."""
    blocks = re.findall(r"^```\w*\n(.*?)^```", README, re.DOTALL | re.MULTILINE)
    lines = "\n".join(blocks).replace("\\\n", " ").splitlines()
    return [line for line in lines if line.startswith("gapvision ")]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command):
    assert re.search(rf"\bgapvision {command}\b", README)


@pytest.mark.parametrize("option", options())
def test_every_option_is_in_the_readme(option):
    assert re.search(rf"{option}(?![\w-])", README), f"{option} is not in README.md"


def test_readme_names_no_option_that_is_not_there():
    known = {p.values[0] for p in options()} | {"--help", "--version"}
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", README)) <= known


@pytest.mark.parametrize("command", [TO_USE, TO_CHANGE])
def test_both_set_up_commands_are_there_to_the_letter(command):
    assert f"```\n{command}\n```" in README


def test_continuous_integration_runs_what_the_readme_says():
    assert TO_CHANGE in (ROOT / ".ci/run").read_text(encoding="utf-8")


def test_there_are_examples():
    shown = " ".join(examples())
    assert all(
        f"gapvision {command} " in shown
        for command in ("measure", "card", "plan", "camera", "preferences")
    )


@pytest.mark.parametrize("line", examples())
def test_examples_are_accepted(line, monkeypatch, tmp_path):
    """Each is parsed by the program itself, and what it would do stands in for doing it."""
    from gapvision.shoot import sheet

    done = []

    def measure(options, *more, **changes):
        done.append(options)
        raise KeyboardInterrupt

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(gapvision.spine, "measure", measure)
    monkeypatch.setattr(gapvision.shoot.plan, "plan_shoot", measure)
    monkeypatch.setattr(gapvision.advice.shrinkage, "shrink", measure)
    monkeypatch.setattr(gapvision.answer.check, "load_answer", measure)
    monkeypatch.setattr(gapvision.photo.lens.calibrate, "calibrate", measure)
    monkeypatch.setattr(gapvision.archive.store, "open_archive", measure)
    monkeypatch.setattr(gapvision.answer.report.sources, "read_json", measure)
    monkeypatch.setattr(gapvision.shoot.slip, "slips_pdf", measure)
    monkeypatch.setattr(gapvision.photo.photo, "photo_paths", measure)
    monkeypatch.setattr(gapvision.photo.lens.files, "camera_paths", lambda: done.append(line) or [])
    monkeypatch.setattr(
        gapvision.inputs.preferences, "preferences_text", lambda *args: done.append(line) or ""
    )
    monkeypatch.setattr(sheet, "write_cards", lambda *args, **kwargs: done.append(kwargs))
    from typer.testing import CliRunner

    result = CliRunner().invoke(cli.app, shlex.split(line)[1:])
    assert len(done) == 1 and result.exit_code in (0, terminal.INTERRUPTED), result.output


def test_links_between_pages_lead_somewhere():
    for page in [*ROOT.glob("*.md"), *ROOT.glob("*/README.md")]:
        text = page.read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", text):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_no_tracked_file_names_a_machine_s_folders():
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    for name in listed.stdout.decode().split("\0")[:-1]:
        path = ROOT / name
        if not path.is_file():
            continue
        found = MACHINE_PATHS.search(path.read_bytes().decode("utf-8", "replace"))
        assert not found, f"{name} names {found[0]}"
