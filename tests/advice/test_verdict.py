"""What an answer comes to, and when it is ready to scribe."""

import ast
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import gapvision.advice
from gapvision.advice.caution import Caution, told
from gapvision.advice.verdict import MAY_DOUBT, NOT_SEEN, kind_of, verdict_of
from gapvision.quantity import Place

AT = Place(310.0, 2, 310.0)
UNSEEN = Caution("not-seen", 0.0, 100.0, doubtful=True)


def decision(ready=True, left=0.0, right=0.0, stated=True, chances=()):
    """Of a decision what the verdict looks at."""
    notches = SimpleNamespace(stated=stated, left_mm=left, right_mm=right)
    judged = tuple(SimpleNamespace(chance=c) for c in chances)
    return SimpleNamespace(lowering=SimpleNamespace(ready=ready, notches=notches), judged=judged)


LOWER = decision(ready=False, right=11.0)


@pytest.mark.parametrize(
    ("cautions", "decided", "kind", "because"),
    [
        ((), decision(), "set", ""),
        ((Caution("one-height"),), decision(), "set", ""),
        ((UNSEEN,), decision(), "at-least", "not-seen"),
        ((UNSEEN,), None, "at-least", "not-seen"),
        ((UNSEEN, Caution("log-moved", doubtful=True)), decision(), "measure-again", "log-moved"),
        ((Caution("of-tomorrow", doubtful=True),), decision(), "measure-again", "of-tomorrow"),
        (
            (Caution("log-moved", doubtful=True), Caution("reading-disagrees", doubtful=True)),
            decision(),
            "measure-again",
            "reading-disagrees",
        ),
        ((Caution("misfit", doubtful=True),), LOWER, "measure-again", "misfit"),
        ((), LOWER, "lower-first", ""),
        ((UNSEEN,), LOWER, "lower-first", ""),
        # Wider than the scriber opens, and no notch that could be deepened.
        ((Caution("scriber-too-small"),), decision(ready=False), "set", ""),
    ],
)
def test_the_kind(cautions, decided, kind, because):
    doubtful = any(c.doubtful for c in cautions)
    assert kind_of(doubtful, cautions, decided) == (kind, because)
    verdict = verdict_of(doubtful, cautions, decided, AT)
    assert verdict.has_setting == (kind in ("set", "at-least"))
    assert verdict.notches_mm == ((0.0, 11.0) if kind == "lower-first" else (0.0, 0.0))
    assert verdict.as_far_as_seen == (UNSEEN in cautions)


def test_what_was_read_back_is_rather_measured_again_for_nothing():
    bent, unseen = told("card-bent", "Bent."), told("not-seen", "A hole.")
    assert kind_of(True, (unseen, bent), None)[0] == "measure-again"
    assert kind_of(True, (unseen, told("one-height", "One.")), None)[0] == "at-least"
    assert kind_of(True, (), None) == ("measure-again", "")
    assert kind_of(False, (bent,), None)[0] == "set"
    # A file that tells which of them doubts is taken at its word.
    sure = replace(bent, doubtful=False), replace(unseen, doubtful=True)
    assert kind_of(True, sure, None)[0] == "at-least"


@pytest.mark.parametrize(
    ("cautions", "decided", "ready"),
    [
        ((), decision(), True),
        ((Caution("bridged", 0.0, 20.0),), decision(chances=(0.2,)), True),
        ((), None, False),
        ((), SimpleNamespace(lowering=None, judged=()), False),
        ((), decision(stated=False), False),  # nobody knows that it reaches to the notches
        ((UNSEEN,), decision(), False),
        ((Caution("scriber-too-small"),), decision(), False),
        ((Caution("reading-disagrees"),), decision(), False),
        ((Caution("station-origin"),), decision(), False),
        ((Caution("perhaps-origin"),), decision(), False),
        ((), decision(chances=(0.01, 0.6)), False),
        ((), LOWER, False),
    ],
)
def test_ready_to_scribe(cautions, decided, ready):
    verdict = verdict_of(any(c.doubtful for c in cautions), cautions, decided, AT)
    assert verdict.ready == ready


def doubting_codes():
    """The codes of the cautions that may be doubtful, as they stand in the calls of `Caution`."""
    for path in Path(gapvision.advice.__path__[0]).glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Caution"
            if called and any(k.arg == "doubtful" for k in node.keywords):
                code = node.args[0]
                yield code.value if isinstance(code, ast.Constant) else code.id


def test_old_files_know_the_cautions_that_doubted():
    """Else an old file's contradiction would be told as a bound. Newer ones tell it themselves."""
    by_name = {"reading-disagrees", "trial-disagrees"}
    assert NOT_SEEN in MAY_DOUBT and MAY_DOUBT - by_name <= set(doubting_codes())


def test_a_stretch_that_a_caution_has_not_is_no_station():
    assert Caution("bridged", 10.0, 20.0).stretch_mm == (10.0, 20.0)
    with pytest.raises(ValueError, match="misfit has no stretch"):
        _ = Caution("misfit").stretch_mm
