"""What is said to a builder: in words of the trade, short, and the same wherever it is said."""

import ast
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers import joints
from helpers.answers import NOT_SEEN, joint
from helpers.decisions import Stacked, decided
from helpers.findings import (
    CLEAN,
    THREE_HEIGHTS,
    findings,
    long_log,
    photo,
)
from typer.main import get_command
from typer.testing import CliRunner

import gapvision
from gapvision.advice.caution import Caution
from gapvision.advice.cautions import decision_cautions, find_cautions
from gapvision.advice.to_do import find_to_do
from gapvision.advice.verdict import kind_of
from gapvision.answer.as_json import answer_json, measurement_of
from gapvision.answer.decision_text import details_text
from gapvision.answer.evidence_text import evidence_text
from gapvision.answer.picture.picture import draw_picture
from gapvision.answer.report.words import headline, to_do
from gapvision.answer.text import answer_text
from gapvision.answer.to_do_text import to_do_text
from gapvision.answer.verdict_text import crayon_line, first_line, reason_text
from gapvision.cli import main as cli
from gapvision.inputs.options import Stretch
from gapvision.joint.photo_results import LineStep
from gapvision.quantity import Quantity

PACKAGE = Path(gapvision.__path__[0])
# Words of laboratories and of surveyors, each of which has a plain one.
FORBIDDEN = re.compile(
    r"\bE_n\b|principal point|\bk[12]\b|\bresiduals?\b|\bstations?\b|\boutliers?\b|covariance|"
    r"\bsigma\b|standard uncertaint|chi.square|reprojection|homography|\bbias\b|\brms\b|\+-",
    re.IGNORECASE,
)
OLD = re.compile(
    r"lower bound|LOWER IT FIRST|MEASURED:|DOUBTFUL:|set the points to \d|half-widths \(|"
    r"or lower first|only a lower"
)


# --- as it stands in the source -------------------------------------------------------------------

SCREENS = (
    *(PACKAGE / "answer").glob("*text.py"),
    *(PACKAGE / "answer" / "picture").glob("*.py"),
    *(PACKAGE / "answer" / "report").glob("*.py"),
    *(PACKAGE / "day").glob("*.py"),
    *(PACKAGE / "cli").rglob("*.py"),
    *(PACKAGE / "shoot").glob("*.py"),
    *(PACKAGE / "archive").glob("*text.py"),
    *(PACKAGE / "joint").glob("*.py"),
    *(PACKAGE / "photo").glob("*.py"),
    PACKAGE / "photo" / "lens" / "text.py",
    PACKAGE / "inputs" / "options.py",
    PACKAGE / "errors.py",
    PACKAGE / "phrases.py",
)


def sentences(path):
    """The texts of a module that hold a space, but for docstrings and comments of the camera file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    owners = (ast.Module, ast.FunctionDef, ast.ClassDef)
    silent = {id(n.body[0].value) for n in ast.walk(tree)
              if isinstance(n, owners) and n.body and isinstance(n.body[0], ast.Expr)}  # fmt: skip
    silent |= {
        id(argument) for n in ast.walk(tree)
        if isinstance(n, ast.Call) and getattr(n.func, "attr", "") == "comment" for argument in n.args
    }  # fmt: skip
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) else None
        if isinstance(text, str) and id(node) not in silent and " " in text.strip():
            yield text


@pytest.mark.parametrize("path", SCREENS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_laboratory_s_or_surveyor_s_word_in_a_sentence(path):
    found = [s for s in sentences(path) if FORBIDDEN.search(s)]
    assert not found


TOLD = ("answer/report/known.py", "archive/learned_text.py")


@pytest.mark.parametrize("path", TOLD)
def test_a_half_width_is_a_plus_minus_to_a_builder(path):
    texts = [*sentences(PACKAGE / path)]
    assert any("±" in s for s in texts) and not any("half-width" in s.lower() for s in texts)


def test_the_search_finds_such_words(tmp_path):
    (tmp_path / "a.py").write_text('"""A residual."""\nx = f"at station {3} mm"\ny = "k1"\n')
    assert [s for s in sentences(tmp_path / "a.py") if FORBIDDEN.search(s)] == ["at station "]


def commands(group, before=()):
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, (*before, name))
        else:
            yield (*before, name)


@pytest.mark.parametrize("command", [*commands(get_command(cli.app))], ids=" ".join)
def test_no_such_word_in_a_help_text(command, plain_terminal):
    text = CliRunner().invoke(cli.app, [*command, "--help"]).stdout
    assert "Usage" in text
    assert not FORBIDDEN.search(text.replace("--standard", "")), FORBIDDEN.findall(text)


# --- as it is said --------------------------------------------------------------------------------


def steep(x):
    return 60.0 + 0.03 * np.asarray(x)


def even(x):
    return 30.0 + 0.0 * np.asarray(x)


def around(gap, units="mm", cautions=(), status="measured", f=None, **options):
    """An answer around a decision, with what is to be done of its cautions."""
    d = decided(Stacked(gap), 90.0 if gap is steep else 60.0, units=units, **options)
    base = joints.joint(first=-500.0, last=500.0)
    told = (*cautions, *decision_cautions(d))
    kind, _ = kind_of(status == "doubtful", told, d)
    widest = float(gap(np.array([-500.0, 500.0])).max())
    return replace(
        base, status=status, cover_mm=76.2, widest_gap=Quantity(widest, 0.5, 1.0), units=units,
        set_to_mm=90.0 if gap is steep else 60.0, cautions=told, decision=d,
        to_do=find_to_do(f or findings(), told, d, kind),
    )  # fmt: skip


def worst():
    """A joint of which nearly everything is wrong, from a level sweep of 6 m."""
    peaks = [(600.0 + 1100.0 * k, 12.0) for k in range(5)]
    f = long_log(peaks, left_out=(photo("gone.jpg", 0.0),))
    sweep = replace(f.photos[0], steps=(LineStep("lower", 900.0, 12.0),))
    seen = f.shown.copy()
    seen[100:120] = seen[300:320] = seen[500:520] = False
    options = replace(CLEAN, stretch=Stretch(), upper_diameter=None, lower_diameter=None)
    return replace(f, photos=(sweep, *f.photos[1:]), shown=seen, seen=seen, options=options)


def doubtful_cautions(f):
    return tuple(c for c in find_cautions(f) if c.code != "left-out")


ANSWERS = {
    "set": lambda units: around(even, units),
    "at-least": lambda units: around(
        even, units, (Caution("not-seen", -300.0, -200.0, doubtful=True,
                              facts={"hidden": False}),), "doubtful",
    ),
    "measure-again": lambda units: around(
        even, units, doubtful_cautions(worst()), "doubtful", worst(), rules="ilba-2000",
    ),
    "lower-first": lambda units: around(steep, units, rules="ilba-2000", underscribe_mm=6.35,
                                        heights_at_mm=(0.0,), covers_mm=(60.0, 90.0)),
    "one-photograph": lambda units: around(
        even, units, find_cautions(findings(photos=THREE_HEIGHTS[:1], u95=3.4)),
        f=findings(photos=THREE_HEIGHTS[:1], u95=3.4),
    ),
}  # fmt: skip


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("kind", ANSWERS)
def test_nothing_of_it_is_said_in_an_answer(kind, units, said):
    m = ANSWERS[kind](units)
    assert m.verdict.kind in (kind, "set")
    draw_picture(m, lambda _: np.zeros(joints.PHOTO_SHAPE, np.uint8), units)
    texts = [tell(m, units) for tell in (answer_text, evidence_text, details_text, crayon_line)]
    for text in (*texts, *said, *(c["text"] for c in answer_json(m)["cautions"])):
        assert not FORBIDDEN.search(text), text
        assert not OLD.search(text), text


# As long as a screen may be: without the line that says where the picture is.
MOST_LINES = {"set": 11, "at-least": 19, "measure-again": 19, "lower-first": 19,
              "one-photograph": 12}  # fmt: skip


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("kind", ANSWERS)
def test_the_first_screen_is_short(kind, units):
    m = ANSWERS[kind](units)
    lines = answer_text(m, units).splitlines()
    assert len(lines) <= MOST_LINES[kind]
    assert max(map(len, lines)) <= 80
    assert len(m.verdict.to_do) <= 3


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("kind", ANSWERS)
def test_screen_picture_slip_report_and_json_say_the_same_in_the_same_order(kind, units, said):
    from gapvision.answer.report.joint import JointReport
    from gapvision.inputs.joint_name import JointName

    m = ANSWERS[kind](units)
    steps = [to_do_text(s, m.cards, units) for s in m.verdict.to_do]
    order = [first_line(m, units), reason_text(m, units), *steps]
    draw_picture(m, lambda _: np.zeros(joints.PHOTO_SHAPE, np.uint8), units)
    written = answer_json(m)
    told = JointReport(JointName("", "", ""), "", "", written, units=units)
    head, items = headline(told), to_do(told)
    page = " ".join([head.large, head.reason, *(items.items if items else ())])
    for text in (
        answer_text(m, units),
        " ".join(said).replace("LOWER FIRST ", "LOWER FIRST: "),
        page,
    ):
        text = " ".join(text.split())
        at = [text.find(" ".join(part.split())) for part in order]
        assert -1 not in at and at == sorted(at), (text, order)
    assert written["first_line"] == order[0] and written["verdict"] == m.verdict.kind
    assert [s["text"] for s in written["to_do"]] == steps
    back = measurement_of(written)
    assert answer_text(back, units) == answer_text(m, units)


def test_a_file_of_before_is_told_without_what_it_lacks():
    written = answer_json(joint("doubtful"))
    for key in ("verdict", "verdict_because", "first_line", "ready_to_scribe", "to_do", "units"):
        del written[key]
    for caution in written["cautions"]:
        del caution["doubtful"]
    back = measurement_of(written)
    assert answer_text(back).startswith("AT LEAST 58 mm\n")
    assert "1. " not in answer_text(back)
    assert NOT_SEEN.code in [c.code for c in back.cautions]
