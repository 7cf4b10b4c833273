"""The pages against the program: every command and option is told, its examples are accepted."""

import doctest
import importlib
import json
import re
import shlex
import shutil
import subprocess
import textwrap
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

import gapvision.advice.shrinkage
import gapvision.answer.check
import gapvision.answer.report.sources
import gapvision.archive.store
import gapvision.day.joints
import gapvision.inputs.field_test
import gapvision.inputs.preferences
import gapvision.page.serve
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
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
MOST_BYTES = 12_000  # of DEVELOPERS.md: what one reads at a sitting
MODULES_WITH_EXAMPLES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in (ROOT / "gapvision").rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)
# README's pages for whoever measures; the other pages are for readers of the code and its results.
GUIDE = [
    ROOT / "README.md",
    *(
        ROOT / "docs" / f"{name}.md"
        for name in (
            "answer", "by_hand", "cautions", "day", "field_test", "keep", "limits", "measure", "page",
            "phone", "photograph", "plan", "preferences", "python", "report", "shrinkage", "slips",
        )
    ),
]  # fmt: skip
TOLD = "\n".join(page.read_text(encoding="utf-8") for page in GUIDE)
MOST_LINES = 150  # of README: whoever measures reads all of it
PAGES = [*ROOT.glob("*.md"), *ROOT.glob("*/README.md"), *(ROOT / "docs").glob("*.md")]


def shown(path):
    """A file's name as test reports show it."""
    return path.relative_to(ROOT).as_posix()


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
    """The command lines of the program in the guide's code blocks."""
    blocks = re.findall(r"^```\w*\n(.*?)^```", TOLD, re.DOTALL | re.MULTILINE)
    lines = "\n".join(blocks).replace("\\\n", " ").splitlines()
    return list(dict.fromkeys(line for line in lines if line.startswith("gapvision ")))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_told(command):
    assert re.search(rf"\bgapvision {command}\b", TOLD)


@pytest.mark.parametrize("command", sorted({command.split()[0] for command in COMMANDS}))
def test_every_command_is_in_the_readme(command):
    """Those of a group by the group's name."""
    assert re.search(rf"\bgapvision {command}\b", README)


@pytest.mark.parametrize("option", options())
def test_every_option_is_told(option):
    assert re.search(rf"{option}(?![\w-])", TOLD), f"{option} is in none of the guide's pages"


@pytest.mark.parametrize("page", GUIDE, ids=shown)
def test_no_option_is_told_that_is_not_there(page):
    known = {p.values[0] for p in options()} | {"--help", "--version"}
    text = page.read_text(encoding="utf-8")
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text)) <= known


def test_readme_is_short_and_leads_to_every_page_of_the_guide():
    assert len(README.splitlines()) <= MOST_LINES
    for page in GUIDE[1:]:
        assert f"]({shown(page)}" in README, shown(page)


def test_what_has_not_been_tried_stands_near_the_top():
    first = README.split("\n## ")[0]
    for words in ("rendered pictures", "No caliper has been held to a real joint yet", "95 %"):
        assert words in first


@pytest.mark.parametrize("command", [TO_USE, TO_CHANGE])
def test_both_set_up_commands_are_there_to_the_letter(command):
    assert f"```\n{command}\n```" in README


def test_continuous_integration_runs_what_the_readme_says():
    assert TO_CHANGE in (ROOT / ".ci/run").read_text(encoding="utf-8")


def test_there_are_examples():
    shown = " ".join(examples())
    assert all(
        f"gapvision {command} " in shown
        for command in ("measure", "card", "plan", "camera", "preferences", "report", "sort")
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
    (tmp_path / "day/3").mkdir(parents=True)
    (tmp_path / "day/3/photo.jpg").touch()
    monkeypatch.setattr(gapvision.day.joints, "joints_of", measure)
    monkeypatch.setattr(gapvision.shoot.plan, "plan_shoot", measure)
    monkeypatch.setattr(gapvision.advice.shrinkage, "shrink", measure)
    monkeypatch.setattr(gapvision.answer.check, "load_answer", measure)
    monkeypatch.setattr(gapvision.photo.lens.calibrate, "calibrate", measure)
    monkeypatch.setattr(gapvision.archive.store, "open_archive", measure)
    monkeypatch.setattr(gapvision.page.serve, "drafts_folder", measure)
    monkeypatch.setattr(gapvision.answer.report.sources, "read_json", measure)
    monkeypatch.setattr(gapvision.shoot.slip, "slips_pdf", measure)
    monkeypatch.setattr(gapvision.photo.photo, "photo_paths", measure)
    monkeypatch.setattr(gapvision.inputs.field_test, "forms_in", measure)
    monkeypatch.setattr(gapvision.inputs.field_test, "write_template", measure)
    monkeypatch.setattr(gapvision.photo.lens.files, "camera_paths", lambda: done.append(line) or [])
    monkeypatch.setattr(
        gapvision.inputs.preferences, "preferences_text", lambda *args: done.append(line) or ""
    )
    monkeypatch.setattr(sheet, "write_cards", lambda *args, **kwargs: done.append(kwargs))
    result = CliRunner().invoke(cli.app, shlex.split(line)[1:])
    assert len(done) == 1 and result.exit_code in (0, terminal.INTERRUPTED), result.output


def test_links_between_pages_lead_somewhere():
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        for target, anchor in re.findall(r"\]\(([^)#\s]*)#?([^)\s]*)\)", text):
            if "://" in target:
                continue
            there = page.parent / target if target else page
            assert there.exists(), f"{page.name}: {target}"
            assert not anchor or anchor in anchors(there), f"{page.name}: {target}#{anchor}"


def anchors(page):
    """What a heading can be linked by: lower case, hyphens between words, no other marks."""
    heads = re.findall(r"^#+ (.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}


def module_paths():
    """Every module of the program and the tests, as ``/gapvision/joint/fit.py``."""
    folders = (ROOT / "gapvision", ROOT / "tests")
    return {f"/{path.relative_to(ROOT).as_posix()}" for f in folders for path in f.rglob("*.py")}


@pytest.mark.parametrize("page", [*PAGES, *sorted((ROOT / "gapvision").rglob("*.py"))], ids=shown)
def test_every_module_that_is_named_exists(page):
    """In pages, docstrings and comments: ``fit.py``, or with folders before it."""
    named = set(re.findall(r"(?<![\w*])[\w/]+\.py\b", page.read_text(encoding="utf-8")))
    paths = module_paths()
    missing = [name for name in named if not any(path.endswith(f"/{name}") for path in paths)]
    assert not missing, f"{shown(page)} names {missing}"


@pytest.mark.parametrize("path", sorted((ROOT / "gapvision").rglob("*.py")), ids=shown)
def test_every_name_of_another_module_exists(path):
    """In docstrings: `fit.fit_joint`, `gapvision.joint.fit`; a class's own names are not looked up."""
    modules = {p.removesuffix(".py").removesuffix("/__init__") for p in module_paths()}
    for named in re.findall(
        r"`((?:gapvision\.[a-z_.]+\.)?[a-z_]+\.\w+)`", path.read_text(encoding="utf-8")
    ):
        ending = named.rpartition(".")[2]
        if ending in ("onnx", "json", "toml", "md", "py") or named.startswith("np."):
            continue
        module, _, name = named.rpartition(".")
        dotted, inside = (f"/{part.replace('.', '/')}" for part in (named, module))
        if any(m.endswith(dotted) for m in modules):
            continue
        sources = [ROOT / f"{m[1:]}.py" for m in modules if m.endswith(inside)]
        texts = [p.read_text(encoding="utf-8") for p in sources if p.is_file()]
        told = rf"^(?:(?:def|class) {name}\b|{name}\b.* = )"
        assert any(re.search(told, text, re.MULTILINE) for text in texts), f"{shown(path)}: {named}"


STAGES = ("", "inputs/", "scene/", "photo/", "trace/", "joint/", "advice/")


@pytest.mark.parametrize("folder", STAGES)
def test_developers_page_names_every_stage(folder):
    """The table of a package whose modules are the data's way is whole."""
    lead = f"**`{folder[:-1]}`:" if folder else "**The spine"
    table = DEVELOPERS.split(lead)[1].split("\n**")[0]
    for path in (ROOT / "gapvision" / folder).glob("*.py"):
        assert path.name == "__init__.py" or f"`{path.name}`" in table, path.name


def test_developers_page_is_short():
    assert len(DEVELOPERS.encode()) <= MOST_BYTES


def test_every_page_is_in_the_guide_or_the_developers_list():
    for page in (ROOT / "docs").glob("*.md"):
        assert page in GUIDE or f"(docs/{page.name})" in DEVELOPERS, page.name


@pytest.mark.parametrize("module", MODULES_WITH_EXAMPLES)
def test_examples_in_docstrings_are_true(module):
    assert doctest.testmod(importlib.import_module(module)).failed == 0


def python_example(text):
    (example,) = re.findall(r"from pathlib import Path\n.*?U95_mm\)", text, re.DOTALL)
    return textwrap.dedent(f"    {example}" if "\n    " in example else example)


def test_the_example_from_python_answers_as_the_command_line(tmp_path, monkeypatch, capsys):
    """The guide's five lines over the bundled photographs; the package's docstring has the same."""
    example = python_example(TOLD)
    assert example == python_example(gapvision.__doc__)
    assert sum(bool(line.strip()) for line in example.splitlines()) <= 5
    monkeypatch.chdir(tmp_path)
    shutil.copytree(ROOT / "gapvision/cli/demo_photos", "photos", ignore=skip_folders)
    exec(example, {})
    status, *numbers = capsys.readouterr().out.split()
    done = CliRunner().invoke(cli.app, ["measure", "photos", "--json", "-"])
    told = json.loads(done.stdout)
    gap = told["widest_gap"]
    expected = told["setting"]["set_to_mm"], gap["value_mm"], gap["U95_mm"]
    assert status == told["status"]
    assert [float(n) for n in numbers] == pytest.approx(expected, abs=1e-4)


def skip_folders(folder, names):
    return [name for name in names if (Path(folder) / name).is_dir()]


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
